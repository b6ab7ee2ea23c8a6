"""A front and a side cut through the place looked at: the jaw plane is laid by its line in them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import Signal
from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from app.background.tasks import Latest
from app.case.session import Session
from app.pictures.flat_view import FlatKind, FlatView
from core.drawing import Sides, patient_letters
from core.geometry import PictureGrid
from core.image.volume import Volume
from core.proposing.crowns import miss_fields
from core.structures import Tapered
from core.words.catalogue import say

CUT_PIXEL_MM = 0.4
CUT_SLAB_MM = 2.0
CUT_HEIGHT_MM = 70.0
MARGIN_MM = 4.0
SEEN_MM = 34.0
"""Height that is in sight at first: crowns and the ridge below them."""

UPWARD = np.array([0.0, 0.0, 1.0])
RIGHT: dict[FlatKind, NDArray[np.float64]] = {
    # Seen from the front: the patient's right on the left. From the left: the face on the left.
    "front cut": np.array([1.0, 0.0, 0.0]),
    "side cut": np.array([0.0, 1.0, 0.0]),
}


@dataclass(frozen=True, slots=True, eq=False)
class _Cut:
    grid: PictureGrid
    grey: NDArray[np.float32]


class LevelCuts(QWidget):
    """Both cuts under their names, with the ways to set the plane without a hand.

    Signals
    -------
    asked(key)
        ``stent``, ``roots`` or ``proposed``: take the plane from there.
    """

    asked = Signal(str)

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self.front, self.side = FlatView("front cut"), FlatView("side cut")
        self.views = (self.front, self.side)
        self._work = Latest(self._show, parent=self)
        self._cut_of: tuple[object, ...] = ()
        self.stent = self._button(say("pictures.level_cuts.from-the-stent-axis"), "stent")
        self.roots = self._button(say("pictures.level_cuts.from-the-roots"), "roots")
        self.proposed = self._button(say("pictures.level_cuts.as-proposed"), "proposed")
        top = QHBoxLayout()
        top.setSpacing(8)
        heading = QLabel(say("pictures.level_cuts.jaw-plane"))
        heading.setObjectName("heading")
        top.addWidget(heading)
        words = QLabel(say("pictures.level_cuts.drag-the-jaw-planes-line"))
        words.setObjectName("quiet")
        top.addWidget(words)
        self.misses = QLabel()
        top.addWidget(self.misses, 1)
        for button in (self.stent, self.roots, self.proposed):
            top.addWidget(button)
        row = QHBoxLayout()
        row.setSpacing(6)
        for view in self.views:
            row.addWidget(view, 1)
        column = QVBoxLayout(self)
        column.setContentsMargins(8, 3, 8, 5)
        column.setSpacing(3)
        column.addLayout(top)
        column.addLayout(row, 1)
        for signal in (session.scan_changed, session.plan_changed, session.place_changed):
            signal.connect(self.refresh)

    def refresh(self) -> None:
        """Cut anew where the place changed; while a line is dragged the cuts stand still."""
        session = self._session
        plan, volume = session.plan, session.volume
        self.stent.setEnabled(bool(plan.stent_axes))
        roots = [s for s in plan.structures if isinstance(s, Tapered) and s.kind == "root"]
        self.roots.setEnabled(bool(roots))
        self.proposed.setEnabled(plan.level is None and session.plane_is_found)
        found = session.plane_misses
        self.misses.setText(
            say("pictures.level_cuts.off-the-teeth", **miss_fields(found)) if found else ""
        )
        if volume is None:
            self._work.drop()
            self._cut_of = ()
            for view in self.views:
                view.clear()
            return
        wanted = (volume, session.station_mm, session.arch, session.window)
        if not self.isVisible() or session.dragging or wanted == self._cut_of:
            return
        self._cut_of = wanted
        grids = self._grids(volume)
        self._work.ask(lambda _task: [_cut(volume, kind, grid) for kind, grid in grids.items()])

    def showEvent(self, event: QShowEvent) -> None:
        """Catch up with what changed while it was away."""
        super().showEvent(event)
        self.refresh()

    def _grids(self, volume: Volume) -> dict[FlatKind, PictureGrid]:
        """Upright cuts through the place looked at, as wide as the scan."""
        session = self._session
        k, j, i = volume.shape
        corners = volume.mm(
            np.array([[a, b, c] for a in (0, i - 1) for b in (0, j - 1) for c in (0, k - 1)])
        )
        middle = (corners.min(axis=0) + corners.max(axis=0)) / 2
        size = np.ptp(corners, axis=0) + MARGIN_MM
        arch = session.arch
        at = middle if arch is None else arch.frame(session.station_mm).origin
        origins = {
            "front cut": (middle[0], at[1], at[2]),
            "side cut": (at[0], middle[1], at[2]),
        }
        return {
            kind: PictureGrid.of_size(
                origin=origins[kind],
                right=RIGHT[kind],
                up=UPWARD,
                size_mm=(float(size[axis]), CUT_HEIGHT_MM),
                pixel_mm=CUT_PIXEL_MM,
            )
            for axis, kind in enumerate(RIGHT)
        }

    def _show(self, cuts: list[tuple[FlatKind, _Cut]]) -> None:
        for (_, cut), view in zip(cuts, self.views, strict=True):
            new = not view.has_picture
            view.sides = Sides(
                left=patient_letters(-cut.grid.right),
                right=patient_letters(cut.grid.right),
                top=patient_letters(UPWARD),
                bottom=patient_letters(-UPWARD),
            )
            view.title = view.kind.capitalize()
            view.show_picture(cut.grid, cut.grey, self._session.window)
            if new:
                view.fit_mm = (cut.grid.cols * CUT_PIXEL_MM, SEEN_MM)
                view.fit()
            view.zoomed.emit()

    def _button(self, words: str, key: str) -> QPushButton:
        button = QPushButton(words)
        button.setObjectName("fold")
        button.clicked.connect(partial(self.asked.emit, key))
        return button


def _cut(volume: Volume, kind: FlatKind, grid: PictureGrid) -> tuple[FlatKind, _Cut]:
    return kind, _Cut(grid, volume.picture(grid, slab_mm=CUT_SLAB_MM))
