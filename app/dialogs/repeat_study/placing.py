"""Placing the marks of a repeat study: one section after the other, with nothing on it.

No place, no number of the section, no earlier mark, nothing of the plan: only grey values. What is
placed on the section itself is shown until it is left. Every section that is left is on the disk.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QWidget

from app.case.session import Session
from app.dialogs.base import Dialog
from app.pictures.draft import Draft
from app.pictures.flat_view import FlatView
from app.pictures.hit import Hit
from app.pictures.places import pixel_mm
from app.tools.base import Desk
from app.widgets import style
from core.arch import Arch
from core.drawing import Dot, Label, Line
from core.geometry import Array
from core.image import sampling
from core.image.section import across_arch_grid
from core.image.volume import Volume
from core.pictures.overlay import picture_height_mm
from core.trust.repeatability import RepeatReading, RepeatStudy
from core.words.catalogue import message, say

SECTION_MM = (46.0, 46.0)
NUDGE_MM, FAST_MM = 0.2, 2.0
_ARROWS = {
    Qt.Key.Key_Left: (-1.0, 0.0),
    Qt.Key.Key_Right: (1.0, 0.0),
    Qt.Key.Key_Up: (0.0, 1.0),
    Qt.Key.Key_Down: (0.0, -1.0),
}


class Scan(NamedTuple):
    """The open scan, its arch, and the height of the pictures' middle."""

    volume: Volume
    arch: Arch
    height_mm: Callable[[float], float]


def scan_of(session: Session) -> Scan | None:
    """What sections are cut from; None where there is no scan or arch."""
    volume, arch, plan = session.volume, session.arch, session.guide
    if volume is None or arch is None:
        return None
    return Scan(volume, arch, lambda station: picture_height_mm(plan, arch, station))


class RepeatPlacing(Dialog):
    """Sections in shuffled order until all are done, or the person stops.

    Parameters
    ----------
    study : RepeatStudy
        With its design; readings that are there stay.
    person : str
    keep : callable
        Is given the study each time that a section is done.
    """

    heading = message("dialogs.repeat_study.placing.repeat-study")
    accept_words = message("dialogs.repeat_study.placing.next-section")
    least_width = 760

    def __init__(
        self,
        session: Session,
        desk: Desk,
        parent: QWidget | None,
        *,
        study: RepeatStudy,
        person: str,
        keep: Callable[[RepeatStudy], None],
    ) -> None:
        super().__init__(session, desk, parent)
        if study.design is None:
            raise ValueError("a study needs a design before marks are placed")
        self.study, self.person, self.design = study, person, study.design
        self._keep = keep
        self._scan = scan_of(session)
        self._left = list(study.left_of(person))
        self._all = len(self.design.stations) * self.design.rounds
        self.placed: list[Array] = []
        self._cross: tuple[float, float] | None = None
        self.cancel.setText(say("dialogs.repeat_study.placing.stop-here"))
        self.asks = QLabel("")
        self.asks.setFont(style.font(15, bold=True))
        self.count = QLabel("")
        self.count.setObjectName("quiet")
        row = QHBoxLayout()
        row.addWidget(self.asks, 1)
        row.addWidget(self.count)
        self.body.addLayout(row)
        self.view = FlatView("section")
        self.view.fit_mm = SECTION_MM
        self.view.setMinimumSize(430, 430)
        self.view.setAccessibleName(
            say("dialogs.repeat_study.placing.section-without-anything-drawn-on")
        )
        self.view.pressed.connect(self._pressed)
        self.body.addWidget(self.view, 1)
        self.words(
            say("dialogs.repeat_study.placing.click-or-move-the-cross"),
            quiet=True,
        )
        self.back = QPushButton(say("dialogs.repeat_study.placing.take-back"))
        self.back.setAutoDefault(False)
        self.back.clicked.connect(self._take_back)
        low = QHBoxLayout()
        low.addWidget(self.back)
        low.addStretch(1)
        self.body.addLayout(low)
        self._show()

    def is_complete(self) -> bool:
        """Every mark of this section is placed."""
        return len(self.placed) == len(self.design.marks)

    def _accepted(self) -> None:
        if not self.is_complete():
            return
        name, number = self._left.pop(0)
        new = tuple(
            RepeatReading(person=self.person, section=name, mark=mark, round=number, point=point)
            for mark, point in zip(self.design.marks, self.placed, strict=True)
        )
        self.study = replace(self.study, readings=(*self.study.readings, *new))
        self._keep(self.study)
        if self._left:
            self._show()
        else:
            self.accept()

    def _show(self) -> None:
        """Cut the next section; nothing of the one before stays."""
        self.placed, self._cross = [], None
        if self._scan is None or not self._left:
            return
        station = self.design.station_of(self._left[0][0])
        grid = across_arch_grid(
            self._scan.arch,
            station,
            size_mm=SECTION_MM,
            pixel_mm=pixel_mm(self._scan.volume),
            centre_height_mm=self._scan.height_mm(station),
        )
        self.view.show_picture(grid, sampling.picture(self._scan.volume, grid), self.session.window)
        self.view.fit()
        self._draw()

    def _draw(self) -> None:
        """The marks of this section alone, and the cross."""
        count, marks = len(self.placed), self.design.marks
        self.asks.setText(
            say("dialogs.repeat_study.placing.all-placed")
            if count == len(marks)
            else say("dialogs.repeat_study.placing.place", marks=marks[count])
        )
        self.count.setText(
            say(
                "dialogs.repeat_study.placing.section-of",
                all=self._all - len(self._left) + 1,
                all2=self._all,
            )
        )
        lines, dots, labels = [], [], []
        up = 14 * self.view.mm_per_pixel()
        for mark, point in zip(marks, self.placed, strict=False):
            u, v, _ = (float(x) for x in self.view.uv_mm(point[None, :])[0])
            dots.append(Dot(at=(u, v)))
            labels.append(Label(text=mark, at=(u, v + up), style="name"))
        if self._cross is not None:
            u, v = self._cross
            arm = 12 * self.view.mm_per_pixel()
            lines.append(Line(style="mark", points=np.array([[u - arm, v], [u + arm, v]])))
            lines.append(Line(style="mark", points=np.array([[u, v - arm], [u, v + arm]])))
        self.view.show_draft(Draft(lines=tuple(lines), dots=tuple(dots), labels=tuple(labels)))
        self.back.setEnabled(count > 0)
        self.check()

    def _pressed(self, hit: Hit) -> None:
        if hit.button == Qt.MouseButton.RightButton:
            self._take_back()
        elif hit.button == Qt.MouseButton.LeftButton:
            self._place(hit.point_mm)

    def _place(self, point_mm: Array) -> None:
        if not self.is_complete():
            self.placed.append(point_mm)
            self._draw()

    def _take_back(self) -> None:
        if self.placed:
            self.placed.pop()
            self._draw()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Arrows move the cross, Space places, Backspace takes back; Enter and Esc as always."""
        key = Qt.Key(event.key())
        if key in _ARROWS:
            far = FAST_MM if event.modifiers() & style.SHIFT else NUDGE_MM
            middle = QPointF(self.view.width() / 2, self.view.height() / 2)
            u, v = self._cross or self.view.place(middle)
            self._cross = (u + far * _ARROWS[key][0], v + far * _ARROWS[key][1])
            self._draw()
        elif key == Qt.Key.Key_Space and self._cross is not None:
            self._place(self.view.point_mm(*self._cross))
        elif key == Qt.Key.Key_Backspace:
            self._take_back()
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._accepted()
        else:
            super().keyPressEvent(event)
