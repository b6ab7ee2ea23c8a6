"""Widths of the ridge along the arch, with the width that the chosen fixture needs."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import (
    QLabel,
    QToolButton,
    QWidget,
)

from app.background.tasks import Latest, Task
from app.case.session import Session
from app.dialogs.help.dialog import show_help
from app.panels.base import Panel
from app.pictures.plot_view import PlotView
from app.tools.base import Desk
from app.widgets.file_windows import ask_save
from core.atomic import write_whole
from core.bone.ridge_height import needed_width
from core.errors import SoundingError
from core.identity import Tooth
from core.image.volume import Volume
from core.measuring.basis import Basis
from core.measuring.ridge_profile import ProfileRow, profile_csv, ridge_profile
from core.pictures.ridge_profile_plot import ridge_profile_plot
from core.plans.limits import limit_for
from core.plans.plan import Plan
from core.plans.side import side_told
from core.structures import Structure
from core.trust.figures import plain
from core.words.catalogue import message, say

STEP_MM = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """The core's rows, with heights to what was marked then (`structures`)."""

    rows: tuple[ProfileRow, ...]
    structures: tuple[Structure, ...]


def measured_profile(plan: Plan, basis: Basis, task: Task) -> Profile:
    """The core's profile station by station, so that it can be counted and stopped."""
    stations = np.arange(0.0, basis.arch.length_mm + 1e-9, STEP_MM)
    rows: list[ProfileRow] = []
    for number, station in enumerate(stations):
        if task.cancelled():
            raise SoundingError("measuring-cancelled")
        rows += ridge_profile(plan, basis, float(station), float(station))
        task.progress(number + 1, len(stations))
    return Profile(tuple(rows), plan.structures)


class RidgeProfile(Panel):
    """Widths at 1, 3 and 7 mm below the crest, every 2 mm along the arch."""

    title = message("panels.ridge_profile.ridge-profile")

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.profile: Profile | None = None
        self.needed: tuple[float, str] | None = None
        """Width that the chosen fixture needs, and what that is made of."""
        self.plot = PlotView()
        self.plot.files.save_table = self._ask_file
        self.plot.files.stem = "ridge-profile"
        self.plot.clicked.connect(
            lambda station, _width: session.go_to(station_mm=station, across=True)
        )
        self.plot.files.saved.connect(lambda name: desk.say(say("pictures.plot.saved", path=name)))
        self.plot.files.failed.connect(desk.tell_error)
        self.said = QLabel()
        self.said.setObjectName("quiet")
        self.said.setWordWrap(True)
        self.to_csv = QToolButton()
        self.to_csv.setText(say("panels.ridge_profile.to-csv"))
        self.to_csv.clicked.connect(self._ask_file)
        self.explain = QToolButton()
        self.explain.setText(say("panels.ridge_profile.explain"))
        self.explain.clicked.connect(
            lambda: show_help(
                self.session, self.desk, self, topic=say("panels.ridge_profile.ridge-profile-2")
            )
        )
        for button in (self.to_csv, self.explain):
            button.setObjectName("fold")
            self.head.addWidget(button)
        self.body.addWidget(self.plot, 1)
        self.body.addWidget(self.said)
        self._latest = Latest(
            self._measured, self._failed, progressed=self._progressed, parent=self
        )
        self._kept = session.basis
        self._basis: Basis | None = None
        self._asked: object = None
        self._write_to: Path | None = None
        session.scan_changed.connect(self.read)
        session.plan_changed.connect(self.read)
        session.place_changed.connect(self._mark_place)
        self.said.hide()

    def showEvent(self, event: QShowEvent) -> None:
        """Catch up with what was put off while it was folded away."""
        super().showEvent(event)
        self.read()

    def read(self) -> None:
        """Measure anew where jaw plane, arch or scan are others than before."""
        session = self.session
        volume, plan = session.volume, session.plan
        if volume is None or not session.confirmed:
            self._latest.drop()
            self._basis = None
            self._asked = None
            self._write_to = None
            self._clear(
                say("panels.ridge_profile.confirm-jaw-plane-and-arch") if volume is not None else ""
            )
            return
        self._read_needed()
        if not self.isVisible():
            return
        if self._basis is not None and self._basis.fits(plan, volume):
            self._draw()
            return
        key = (id(volume), id(plan.level), id(plan.arch_points), plan.jaw, side_told(plan))
        if key == self._asked:
            return
        self._asked = key
        # A file that was asked for of another arch is not written with this one's numbers.
        self._write_to = None
        self._clear("…")
        self._ask(plan, volume)

    def _ask(self, plan: Plan, volume: Volume) -> None:
        def work(task: Task) -> tuple[Basis, Profile]:
            basis = self._kept.of(plan, volume)
            return basis, measured_profile(plan, basis, task)

        self._latest.ask(work)

    def write_file(self, path: Path) -> None:
        """Write the profile as CSV: of what is marked now, measured again where that changed."""
        if self.profile is None and not self._latest.awaited:
            self._say(say("panels.ridge_profile.there-is-no-profile-yet"))
            return
        self._write_to = path
        self._write()

    def _write(self) -> None:
        """Write what was asked for, once there is a profile of what is marked now."""
        path, profile = self._write_to, self.profile
        volume, plan = self.session.volume, self.session.plan
        if path is None or profile is None or volume is None:
            return
        if profile.structures is not plan.structures:
            self._ask(plan, volume)
            return
        self._write_to = None
        try:
            write_whole(path, profile_csv(profile.rows).encode("utf-8"))
        except SoundingError as error:
            self.desk.tell_error(error)
        else:
            self._say(say("panels.ridge_profile.the-profile-is-in", path=path.name))

    def _ask_file(self) -> None:
        name = ask_save(
            self,
            say("panels.ridge_profile.write-the-ridge-profile"),
            "record",
            "ridge-profile.csv",
            "CSV (*.csv)",
        )
        if name:
            self.write_file(Path(name))

    def _read_needed(self) -> None:
        """The width that the chosen fixture needs with its limits on both sides."""
        fixture, plan = self.session.fixture, self.session.plan
        if fixture is None:
            self.needed = None
            return
        tooth = Tooth.of(fixture.tooth) if fixture.tooth else None
        buccal = limit_for("wall-buccal", plan, tooth=tooth).value
        lingual = limit_for("wall-lingual", plan, tooth=tooth).value
        size = fixture.size.diameter_mm
        words = f"Ø {plain(size)} + {plain(buccal)} + {plain(lingual)}"
        self.needed = (needed_width(size, buccal, lingual), words)

    def _progressed(self, done: int, total: int) -> None:
        self._say(say("panels.ridge_profile.of-sections-measured", done=done, total=total))

    def _measured(self, result: tuple[Basis, Profile]) -> None:
        self._basis, self.profile = result
        gaps = any(width.value is None for row in self.profile.rows for width in row.widths)
        self._say(say("panels.ridge_profile.no-line-teeth-metal-or") if gaps else "")
        self._draw()
        self._write()

    def _draw(self) -> None:
        """Draw what was measured, with the width that is needed now."""
        if self.profile is None:
            return
        needed, words = self.needed or (None, "")
        self.plot.show_plot(
            ridge_profile_plot(self.profile.rows, needed_mm=needed, needed_words=words)
        )
        self.aside.setText(say("panels.ridge_profile.width-by-place-along-the"))
        self._mark_place()

    def _mark_place(self) -> None:
        self.plot.show_place(self.session.station_mm)

    def _failed(self, error: Exception) -> None:
        self._write_to = None
        self._clear(str(error))

    def _clear(self, text: str) -> None:
        self.profile = None
        self.plot.show_plot(None)
        self.aside.setText("")
        self._say(text)

    def _say(self, text: str) -> None:
        self.said.setText(text)
        self.said.setVisible(bool(text))
