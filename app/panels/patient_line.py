"""The bar at the top: whose scan it is, when it was made, which tooth and side, draft or signed."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QFontMetrics, QResizeEvent
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QSizePolicy, QWidget

from app.case.attestations import now_iso
from app.case.session import Session
from app.case.settings import settings_of
from app.case.side import SideState
from app.panels.base import Panel
from app.panels.pace import Pace
from app.tools.base import Desk
from app.widgets import style
from app.widgets.plain_text import plain_tip
from app.widgets.shared_texts import hidden, state_words, tooth_words
from core.plans.case_checks import case_findings
from core.plans.plan import SideCheck
from core.plans.side import sign_off_obstacles
from core.sheet.patient_words import patient_words
from core.words.catalogue import say

NAME_PX = 260
_LINK = f"""
QPushButton {{ background: transparent; border: 1px solid transparent; padding: 2px 6px; }}
QPushButton:hover {{ background: {style.SELECTED.name()}; }}
QPushButton:focus {{ border: 1px solid {style.FOCUS.name()}; }}
"""


class _Elided(QLabel):
    """A line that is cut with an ellipsis, its whole text in the tool tip."""

    def __init__(self, *, kept_px: int = 40) -> None:
        super().__init__()
        self._kept_px = kept_px
        self.whole = ""
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Preferred)

    def show_text(self, text: str, *, meaning: str = "") -> None:
        """Show a text as far as there is room; what it means stands in the tool tip alone."""
        self.whole = text
        self.setToolTip(plain_tip("\n".join(filter(None, (text, meaning)))))
        self.setAccessibleName(text)
        self.updateGeometry()
        self._fit()

    def sizeHint(self) -> QSize:
        """Room for the whole text, however much of it is shown."""
        width = QFontMetrics(self.font()).horizontalAdvance(self.whole) + 2
        return QSize(width, super().sizeHint().height())

    def minimumSizeHint(self) -> QSize:
        """It may be cut short, but not below what is kept of it."""
        return QSize(
            min(self._kept_px, self.sizeHint().width()), super().minimumSizeHint().height()
        )

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Cut anew."""
        super().resizeEvent(event)
        self._fit()

    def _fit(self) -> None:
        metrics = QFontMetrics(self.font())
        self.setText(metrics.elidedText(self.whole, Qt.TextElideMode.ElideRight, self.width()))


class PatientLine(Panel):
    """Identity on the left; tooth, side comparison and state of the sheet on the right."""

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.settings = settings_of(session)
        # Whose scan it is comes before everything else that stands here.
        self.name = _Elided(kept_px=NAME_PX)
        self.name.setFont(style.font(14, bold=True))
        self.rest = _Elided()
        self.names = self._link("hide", self._switch_names)
        self.names.setToolTip(say("panels.patient_line.hide-or-show-name-birth"))
        self.names.setFont(style.font(12))
        self.tooth = QLabel()
        self.tooth.setTextFormat(Qt.TextFormat.PlainText)
        self.side = self._link("", self._ask_side)
        self.state = self._link("", self._sign)
        self.sheet = QPushButton(say("panels.patient_line.sheet"))
        self.sheet.setAutoDefault(False)
        self.sheet.setToolTip(say("panels.patient_line.look-through-the-measurement-sheet"))
        self.sheet.clicked.connect(self._sheet)
        outer = self.layout()
        if outer is not None:
            outer.setContentsMargins(10, 3, 10, 3)
        row = QHBoxLayout()
        row.setSpacing(6)
        row.addWidget(self.name)
        row.addSpacing(8)
        row.addWidget(self.rest)
        row.addStretch(1)
        row.addWidget(self.names)
        row.addWidget(self.tooth)
        row.addWidget(self.side)
        row.addWidget(self.state)
        row.addWidget(self.sheet)
        self.body.addLayout(row)
        self._told: tuple[object, ...] = ()
        self._read_at: tuple[str, SideState | None] = ("", None)
        pace = Pace(session, self.read, self)
        for signal in (
            session.scan_changed,
            session.plan_changed,
            session.ledger_changed,
        ):
            signal.connect(pace.follow)
        session.place_changed.connect(self._place_changed)
        self.settings.changed.connect(self.read)
        self.read()

    def _place_changed(self) -> None:
        """Of all that stands here only tooth and side hang on the place."""
        if self._read_at != (self.session.tooth_here, self.session.side):
            self.read()

    def read(self) -> None:
        """Read the session anew."""
        volume, plan = self.session.volume, self.session.plan
        chosen, tooth = self.settings.value, self.session.tooth_here
        now = now_iso()
        who = None if volume is None else patient_words(volume.identity, now)
        ages = () if volume is None else case_findings(plan, volume.identity, made_at=now)
        side = self.session.side
        self._read_at = (tooth, side)
        told = (who, plan.side_check, state_words(plan), chosen, tooth, side)
        if told == self._told:
            return  # a step along the arch changes nothing here, and must not lay the page anew
        self._told = told
        for widget in (self.names, self.tooth, self.side, self.state, self.sheet):
            widget.setVisible(who is not None)
        if who is None:
            self.name.show_text("")
            self.rest.show_text(say("panels.patient_line.no-scan-is-open"))
            return
        self.name.show_text(hidden(who.name) if chosen.names_hidden else who.name)
        identifiers = () if chosen.names_hidden else (who.birth, who.patient_id)
        old = next((f.message for f in ages if f.code == "scan-old"), "")
        scanned = f"! {who.scanned}" if old else who.scanned
        self.rest.show_text("  ".join((*identifiers, scanned)), meaning=old)
        self.names.setText(
            say("panels.patient_line.show")
            if chosen.names_hidden
            else say("panels.patient_line.hide")
        )
        self.tooth.setText(
            tooth_words(tooth, chosen.numbering)
            if tooth
            else say("panels.patient_line.no-tooth-named-here")
        )
        check = plan.side_check
        if side.against:
            # No side may be read off this bar.
            self.side.setText(f"{side.warning} …")
            self.side.setFont(style.font(13, bold=True))
        elif side.question is not None:
            self.side.setText(say("panels.patient_line.left-and-right-not-settled"))
            self.side.setFont(style.font(13, bold=True))
        elif check is None:
            self.side.setText(say("panels.patient_line.side-not-yet-compared"))
            self.side.setFont(style.font(13, bold=True))
        else:
            self.side.setText(_confirmed(check))
            self.side.setFont(style.font(13))
        self.state.setText(state_words(plan))
        self.state.setFont(style.font(13, bold=True))

    def _link(self, text: str, act: Callable[[], None]) -> QPushButton:
        button = QPushButton(text)
        button.setStyleSheet(_LINK)
        button.setAutoDefault(False)
        button.clicked.connect(act)
        return button

    def _switch_names(self) -> None:
        try:
            self.settings.remember(names_hidden=not self.settings.value.names_hidden)
        except Exception as error:  # noqa: BLE001  the desk tells any of them
            self.desk.tell_error(error)

    def _ask_side(self) -> None:
        from app.dialogs.answers.side import ask_side
        from app.dialogs.answers.side_question import ask_about_side

        side = self.session.side
        if side.against or side.question is not None:
            ask_about_side(self.session, self.desk, self)
        else:
            ask_side(self.session, self.desk, self)

    def _sign(self) -> None:
        """Ask for the signature; for the side first, where nothing else stands against it."""
        from app.dialogs.answers.side import ask_side
        from app.dialogs.answers.sign_off import ask_sign_off

        if [o.code for o in sign_off_obstacles(self.session.plan)] != ["side-not-answered"]:
            ask_sign_off(self.session, self.desk, self)
            return
        ask_side(self.session, self.desk, self).accepted.connect(self._sign_when_measured)

    def _sign_when_measured(self) -> None:
        """Open the signature as soon as every measurement stands for the plan as it is now."""
        session = self.session
        measured = session.ledger_is_current and session.ledger_is_whole
        if measured or session.ledger_problem is not None:
            self._sign()
        else:
            once = Qt.ConnectionType.SingleShotConnection
            session.ledger_changed.connect(self._sign_when_measured, once)

    def _sheet(self) -> None:
        from app.dialogs.sheet.dialog import show_sheet

        show_sheet(self.session, self.desk, self)


_CONFIRMED = {
    ("left", "chart"): "panels.patient_line.left-from-chart",
    ("left", "patient"): "panels.patient_line.left-with-patient",
    ("left", ""): "panels.patient_line.left",
    ("right", "chart"): "panels.patient_line.right-from-chart",
    ("right", "patient"): "panels.patient_line.right-with-patient",
    ("right", ""): "panels.patient_line.right",
}


def _confirmed(check: SideCheck) -> str:
    """The confirmed side in capitals, and who confirmed it by what."""
    against = check.against if (check.side, check.against) in _CONFIRMED else ""
    return say(_CONFIRMED[check.side, against], by=check.by or "–")
