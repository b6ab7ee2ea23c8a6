"""The guided first case: about five minutes on the sample scan.

Steps watch the session and are ticked by facts of the program alone (a place was changed, a mark
moved, a file written). What a person must judge is named as theirs and is never ticked for them:
such a step is left with *Next*.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from app import look
from app.panels.base import Panel
from app.session import Session
from app.tools.base import Desk
from core.plans.plan import Plan


@dataclass(frozen=True, slots=True, eq=False)
class Moment:
    """What the steps look at: the session now, and the plan and place when the step began."""

    session: Session
    plan: Plan
    station_mm: float
    turn_deg: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step.

    Parameters
    ----------
    title : str
    words : str
        What to do, and what to see.
    done : callable or None
        A fact of the program; None where only a person can say it.
    """

    title: str
    words: str
    done: Callable[[Moment], bool] | None = None


def _stepped(m: Moment) -> bool:
    return abs(m.session.station_mm - m.station_mm) >= 3.0


def _turned(m: Moment) -> bool:
    return m.session.turn_deg is not None and m.session.turn_deg != m.turn_deg


def _fixture_moved(m: Moment) -> bool:
    return bool(m.session.plan.fixtures) and m.session.plan.fixtures != m.plan.fixtures


def _sized(m: Moment) -> bool:
    before = {f.id: f.size for f in m.plan.fixtures}
    return any(before.get(f.id) not in (None, f.size) for f in m.session.plan.fixtures)


def _undone(m: Moment) -> bool:
    history = m.session.plan.history
    return bool(history) and str(history[-1].get("what", "")).startswith("undone")


def _measured(m: Moment) -> bool:
    return m.session.ledger_is_current and m.session.ledger_is_whole


STEPS: tuple[Step, ...] = (
    Step(
        title="Look along the arch",
        words="Turn the wheel over the large section, or press ← and →. Shift makes five steps. "
        "Arch map and panorama go along.",
        done=_stepped,
    ),
    Step(
        title="Turn about the fixture",
        words="Take Turn under View and drag on the section: it now holds the fixture’s axis and "
        "turns about it.",
        done=_turned,
    ),
    Step(
        title="Read the ledger",
        words="What is not met stands first, with the reason. Choose a row and press Space: its "
        "definition, its doubt and its source unfold. “show me” goes to the place.",
        done=_measured,
    ),
    Step(
        title="Move the fixture",
        words="Take Adjust and drag the fixture on the section. The numbers follow; rows that need "
        "longer read “…” until they are measured.",
        done=_fixture_moved,
    ),
    Step(
        title="Try another size",
        words="Under Fixture, open My sizes and choose one; or type a diameter.",
        done=_sized,
    ),
    Step(
        title="Take it back",
        words="Press Ctrl + Z. Everything can be taken back; the log keeps what was done.",
        done=_undone,
    ),
    Step(
        title="Compare the side",
        words="At the top it says whether the side was compared with patient or chart. Only you "
        "can answer that, so nothing here ticks it. On the sample there is no patient: go on.",
    ),
    Step(
        title="See the sheet",
        words="Open Sheet …: every page as it would be printed, a DRAFT until somebody signs. "
        "Write it to a folder if you like. That was the whole way.",
    ),
)


class GuidePanel(Panel):
    """The steps beside the bench: one at a time, with what is done before it ticked."""

    title = "First case"
    left = Signal()

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.at = 0
        self.ticked: set[int] = set()
        self.step_title = QLabel()
        self.step_title.setFont(look.font(15, bold=True))
        self.step_words = QLabel()
        self.step_words.setWordWrap(True)
        self.step_words.setMinimumWidth(300)
        self.fact = QLabel()
        self.fact.setObjectName("quiet")
        self.back = QPushButton("Back")
        self.back.clicked.connect(lambda: self.go(self.at - 1))
        self.next = QPushButton("Next")
        self.next.clicked.connect(lambda: self.go(self.at + 1))
        self.leave = QPushButton("Leave the guide")
        self.leave.clicked.connect(self.left)
        row = QHBoxLayout()
        for button in (self.back, self.next):
            row.addWidget(button)
        row.addStretch(1)
        row.addWidget(self.leave)
        for widget in (self.step_title, self.step_words, self.fact):
            self.body.addWidget(widget)
        self.body.addStretch(1)
        self.body.addLayout(row)
        for signal in (session.plan_changed, session.place_changed, session.ledger_changed):
            signal.connect(self.look)
        self.go(0)

    def go(self, number: int) -> None:
        """Show a step; its facts count from now on."""
        if number >= len(STEPS):
            self.left.emit()
            return
        self.at = max(number, 0)
        s = self.session
        self._moment = Moment(s, s.plan, s.station_mm, s.turn_deg)
        step = STEPS[self.at]
        self.step_title.setText(step.title)
        self.step_words.setText(step.words)
        self.aside.setText(f"step {self.at + 1} of {len(STEPS)}")
        self.back.setEnabled(self.at > 0)
        self.next.setText("Done" if self.at + 1 == len(STEPS) else "Next")
        self._show_fact()
        self.look()

    def look(self) -> None:
        """Tick the step if its fact is there."""
        step = STEPS[self.at]
        if step.done is not None and self.at not in self.ticked and step.done(self._moment):
            self.ticked.add(self.at)
            self._show_fact()

    def _show_fact(self) -> None:
        if STEPS[self.at].done is None:
            self.fact.setText("yours to judge: nothing is ticked here")
        elif self.at in self.ticked:
            self.fact.setText("✓ done")
        else:
            self.fact.setText("waiting for it, or press Next")


class GuideWindow(QWidget):
    """The guide as a small window of its own that stays above the bench."""

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None) -> None:
        super().__init__(parent, Qt.WindowType.Tool)
        self.setWindowTitle("First case")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setStyleSheet(look.STYLE_SHEET)
        self.panel = GuidePanel(session, desk)
        self.panel.left.connect(self.close)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.panel)
        self.resize(380, 220)


def show_guide(session: Session, desk: Desk, parent: QWidget | None) -> GuideWindow:
    """Open the guided first case."""
    window = GuideWindow(session, desk, parent)
    window.show()
    return window
