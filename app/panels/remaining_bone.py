"""The bone left around the chosen fixture: follows a drag coarsely, and is fine when it rests."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import Qt
from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QLabel,
    QScrollArea,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.background.tasks import Latest
from app.case.session import Session
from app.dialogs.help.dialog import show_help
from app.panels.base import Panel
from app.panels.grey_values import GreyValues
from app.pictures.plot_view import PlotView
from app.tools.base import Desk
from core.arch import fixture_frame
from core.bone.grey import LABEL, GreyAtDepth, grey_beside
from core.bone.remaining_bone import remaining_bone_map
from core.fixture import Fixture
from core.image.volume import Volume
from core.measurement import Note
from core.measuring.bone_lacking import as_told, lacking_notes
from core.measuring.row_cache import alike
from core.pictures.remaining_bone_picture import RemainingBonePicture, remaining_bone_picture
from core.pictures.remaining_bone_plot import remaining_bone_plot
from core.plans.plan import Plan
from core.plans.side import side_told
from core.words.catalogue import message, say

LEAST_WORDS_PX, WORDS_PX = 96, 210

COARSE_MM, COARSE_DEG = 1.0, 10.0
"""Steps of the map while something is dragged; else those of `remaining_bone_map`."""


@dataclass(frozen=True, slots=True, eq=False)
class _Pose:
    """What a picture is of: two are the same where nothing in them differs."""

    volume: Volume
    plan: Plan
    fixture: Fixture
    coarse: bool

    @property
    def parts(self) -> tuple[object, ...]:
        """All that the picture rests on."""
        p = self.plan
        arch = (p.jaw, p.level, p.arch_points, side_told(p))
        return (self.volume, self.fixture, p.structures, p.limits, *arch)

    def same_place(self, other: _Pose | None) -> bool:
        """True for the same fixture among the same things, however finely it was measured."""
        if other is None:
            return False
        return alike(self.parts, other.parts)


@dataclass(frozen=True, slots=True, eq=False)
class _Made:
    pose: _Pose
    picture: RemainingBonePicture | None
    notes: tuple[Note, ...]
    grey: tuple[GreyAtDepth, ...] = ()


class RemainingBone(Panel):
    """The picture of the chosen fixture; measured only while it is shown."""

    title = message("panels.remaining_bone.remaining-bone")

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.picture: RemainingBonePicture | None = None
        self.plot = PlotView()
        self.plot.files.stem = "remaining-bone"
        self.plot.files.saved.connect(lambda name: desk.say(say("pictures.plot.saved", path=name)))
        self.plot.files.failed.connect(desk.tell_error)
        self.said = QLabel()
        self.said.setObjectName("quiet")
        self.lacking = QLabel()
        self.lacking.setObjectName("below")
        words = QWidget()
        column = QVBoxLayout(words)
        column.setContentsMargins(4, 0, 0, 0)
        for label in (self.lacking, self.said):
            label.setWordWrap(True)
            label.hide()
            column.addWidget(label)
        column.addStretch(1)
        # Beside the chart, and scrolled: words that come and go while a fixture is dragged must
        # not change the height of the section that it is dragged in.
        self.words = QScrollArea()
        self.words.setWidget(words)
        self.words.setWidgetResizable(True)
        self.words.setMinimumWidth(LEAST_WORDS_PX)
        self.words.setMaximumWidth(WORDS_PX)
        self.words.setMinimumHeight(0)
        self.words.setFrameShape(QFrame.Shape.NoFrame)
        self.words.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        for part in (words, self.words):
            part.setObjectName("clear")
            part.setStyleSheet("#clear { background: transparent; }")
        self.words.hide()
        self.grey = GreyValues()
        self.grey.hide()
        self._buttons()
        beside = QHBoxLayout()
        beside.addWidget(self.plot, 1)
        beside.addWidget(self.words)
        beside.addWidget(self.grey)
        self.body.addLayout(beside, 1)
        self._basis = session.basis
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

    def _buttons(self) -> None:
        """Into the title's line."""
        self.show_grey = QToolButton()
        self.show_grey.setText(say("panels.remaining_bone.grey-values"))
        self.show_grey.setToolTip(str(LABEL))
        self.show_grey.setCheckable(True)
        self.show_grey.toggled.connect(self._grey_toggled)
        self.explain = QToolButton()
        self.explain.setText(say("panels.remaining_bone.explain"))
        self.explain.clicked.connect(lambda: show_help(self.session, self.desk, self, topic="wall"))
        for button in (self.show_grey, self.explain):
            button.setObjectName("fold")
            self.head.addWidget(button)

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
            self._clear(
                say("panels.remaining_bone.choose-a-fixture")
                if session.plan.fixtures
                else say("panels.remaining_bone.no-fixture-yet")
            )
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
        grey = self.show_grey.isChecked()
        self._latest.ask(lambda _task: self._made(pose, grey=grey), finish_running=session.dragging)

    def _grey_toggled(self, shown: bool) -> None:
        self.grey.setVisible(shown)
        self.grey.show_rows(())
        if shown:
            self._wanted = None
            self.read()

    def _made(self, pose: _Pose, *, grey: bool) -> _Made:
        """In a worker: the picture of a pose, and the grey values where they are shown."""
        plan, fixture = pose.plan, pose.fixture
        basis = self._basis.of(plan, pose.volume)
        frame = fixture_frame(fixture, basis.arch)
        steps = {"step_mm": COARSE_MM, "turn_step_deg": COARSE_DEG} if pose.coarse else {}
        remaining = remaining_bone_map(
            pose.volume,
            fixture,
            frame,
            basis.levels,
            basis.finder,
            plan.structures,
            **steps,
        )
        if remaining.trouble is not None:
            return _Made(pose, None, (remaining.trouble,))
        remaining = as_told(remaining, pose.volume, fixture, frame)
        notes = () if pose.coarse else lacking_notes(remaining, plan, fixture)
        rings = grey_beside(pose.volume, fixture, frame) if grey else ()
        return _Made(pose, remaining_bone_picture(remaining, plan, fixture), notes, rings)

    def _measured(self, made: _Made) -> None:
        pose = made.pose
        if self._wanted is None or pose.fixture.id != self._wanted.fixture.id:
            return
        if made.picture is None:
            self._clear(made.notes[0].message)
            return
        self.shown_of = pose.fixture
        self.grey.show_rows(made.grey)
        named = bool(pose.fixture.tooth)
        self.picture = made.picture
        self.plot.show_plot(remaining_bone_plot(made.picture, jaw=pose.plan.known_jaw, named=named))
        if not pose.same_place(self._wanted):
            # One step late while it is dragged: the eye may follow it, but no number stands.
            self._wait()
            return
        self.aside.setText(
            say("panels.remaining_bone.mm-by-depth-and-direction-coarse")
            if pose.coarse
            else say("panels.remaining_bone.mm-by-depth-and-direction")
        )
        unknown = bool(made.picture.unknown.any())
        self._say(
            self.said, say("panels.remaining_bone.falling-hatch-not-found-or") if unknown else ""
        )
        self._say(self.lacking, "\n".join(note.message for note in made.notes))
        self.words.setVisible(unknown or bool(made.notes))

    def _failed(self, error: Exception) -> None:
        self._clear(str(error))

    def _wait(self) -> None:
        self.plot.wait()
        self.grey.wait()
        self.aside.setText("")
        self._say(self.lacking, "")
        self._say(self.said, "")

    def _clear(self, text: str) -> None:
        self.picture = None
        self.plot.show_plot(None)
        self.shown_of = None
        self.grey.show_rows(())
        self.aside.setText("")
        self._say(self.lacking, "")
        self._say(self.said, text)
        self.words.setVisible(bool(text))

    def _say(self, label: QLabel, text: str) -> None:
        label.setText(text)
        label.setVisible(bool(text))
