"""The bone left around the chosen fixture: follows a drag coarsely, and is fine when it rests."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import QLabel, QWidget

from app.kept_basis import kept_basis
from app.panels.base import Panel
from app.panels.wall_chart import WallChart
from app.session import Session
from app.tasks import Latest, Task
from app.tools.base import Desk
from core.arch import fixture_frame
from core.bone.wall import wall_map
from core.fixture import Fixture
from core.image.volume import Volume
from core.measurement import Note
from core.measuring.wall_lacking import lacking_notes
from core.pictures.wall_picture import WallPicture, wall_picture
from core.plans.plan import Plan

COARSE_MM, COARSE_DEG = 1.0, 10.0
"""Steps of the map while something is dragged; else those of `core.bone.wall.wall_map`."""


@dataclass(frozen=True, slots=True, eq=False)
class _Pose:
    """What a picture is of: two are the same where all of this is the very same."""

    volume: Volume
    plan: Plan
    fixture: Fixture
    coarse: bool

    @property
    def parts(self) -> tuple[object, ...]:
        """All that the picture rests on."""
        p = self.plan
        arch = (p.jaw, p.level, p.arch_points, p.arch_starts)
        return (self.volume, self.fixture, p.structures, p.limits, *arch)

    def same_place(self, other: _Pose | None) -> bool:
        """True for the same fixture among the same things, however finely it was measured."""
        if other is None:
            return False
        return all(a is b for a, b in zip(self.parts, other.parts, strict=True))


@dataclass(frozen=True, slots=True, eq=False)
class _Made:
    pose: _Pose
    picture: WallPicture | None
    notes: tuple[Note, ...]


class RemainingBone(Panel):
    """The picture of the chosen fixture; measured only while it is shown."""

    title = "Remaining bone"

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.chart = WallChart()
        self.said = QLabel()
        self.said.setObjectName("quiet")
        self.lacking = QLabel()
        self.lacking.setObjectName("below")
        for label in (self.said, self.lacking):
            label.setWordWrap(True)
            label.hide()
        self.body.addWidget(self.chart, 1)
        self.body.addWidget(self.lacking)
        self.body.addWidget(self.said)
        self._basis = kept_basis(session)
        self._latest = Latest(self._measured, self._failed, parent=self)
        self._wanted: _Pose | None = None
        self.shown_of: Fixture | None = None
        """The fixture whose picture is shown, dimmed or not; None where there is none."""
        for signal in (
            session.scan_changed,
            session.plan_changed,
            session.plan_previewed,
            session.place_changed,
        ):
            signal.connect(self.read)

    def showEvent(self, event: QShowEvent) -> None:
        """Catch up with what was put off while it was folded away."""
        super().showEvent(event)
        self.read()

    def read(self) -> None:
        """Read the session anew; what is of another pose is dimmed and reads dots."""
        session = self.session
        if not self.isVisible():
            self._wanted = None
            return
        fixture, volume, plan = session.fixture, session.volume, session.plan
        if fixture is None or volume is None or not session.confirmed:
            self._latest.drop()
            self._wanted = None
            self._clear("Choose a fixture." if session.plan.fixtures else "No fixture yet.")
            return
        before, pose = self._wanted, _Pose(volume, plan, fixture, session.dragging)
        same = pose.same_place(before)
        if before is not None and same and (pose.coarse or not before.coarse):
            return
        self._wanted = pose
        if self.shown_of is not None and self.shown_of.id != fixture.id:
            self._clear("")
        if not same:
            self._wait()
        self._latest.ask(lambda _task: self._made(_task, pose), finish_running=session.dragging)

    def _made(self, _task: Task, pose: _Pose) -> _Made:
        """In a worker: the picture of a pose."""
        plan, fixture = pose.plan, pose.fixture
        basis = self._basis.of(plan, pose.volume)
        steps = {"step_mm": COARSE_MM, "turn_step_deg": COARSE_DEG} if pose.coarse else {}
        wall = wall_map(
            pose.volume,
            fixture,
            fixture_frame(fixture, basis.arch),
            basis.levels,
            basis.finder,
            plan.structures,
            **steps,
        )
        if wall.trouble is not None:
            return _Made(pose, None, (wall.trouble,))
        notes = () if pose.coarse else lacking_notes(wall, plan, fixture)
        return _Made(pose, wall_picture(wall, plan, fixture), notes)

    def _measured(self, made: _Made) -> None:
        pose = made.pose
        if self._wanted is None or pose.fixture.id != self._wanted.fixture.id:
            return
        if made.picture is None:
            self._clear(made.notes[0].message)
            return
        self.shown_of = pose.fixture
        named = bool(pose.fixture.tooth)
        self.chart.show_picture(made.picture, jaw=pose.plan.jaw, named=named)
        if not pose.same_place(self._wanted):
            # One step late while it is dragged: the eye may follow it, but no number stands.
            self._wait()
            return
        self.aside.setText(f"mm, by depth and direction{'; coarse' if pose.coarse else ''}")
        unknown = bool(made.picture.unknown.any())
        self._say(self.said, "Falling hatch: not found or not scanned." if unknown else "")
        self._say(self.lacking, "\n".join(note.message for note in made.notes))

    def _failed(self, error: Exception) -> None:
        self._clear(str(error))

    def _wait(self) -> None:
        self.chart.wait()
        self.aside.setText("")
        self._say(self.lacking, "")
        self._say(self.said, "")

    def _clear(self, text: str) -> None:
        self.chart.show_picture(None)
        self.shown_of = None
        self.aside.setText("")
        self._say(self.lacking, "")
        self._say(self.said, text)

    def _say(self, label: QLabel, text: str) -> None:
        label.setText(text)
        label.setVisible(bool(text))
