"""Sign-off with name and role; refused while side, jaw and tooth contradict."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QButtonGroup,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QRadioButton,
    QScrollArea,
    QWidget,
)

from app.background.tasks import Latest
from app.case.attestations import now_iso, signed, with_depth_from
from app.case.scan_checks import warnings_of
from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.tools.base import Desk
from app.widgets.file_windows import ask_new_folder, proposed_place
from app.widgets.shared_texts import short_time, tooth_words
from core.distances.drilling import ORIGINS as REFERENCES
from core.distances.drilling import DepthReference
from core.measuring.ledger import Ledger
from core.measuring.rows_drilling import counted_from, drill_rows_of, mark_words
from core.measuring.sheet_lacks import sheet_lacks
from core.measuring.unmet import unmet
from core.plans.history import sign_off_state
from core.plans.side import sign_off_obstacles
from core.plans.sizes import size_words
from core.sheet.folder import proposed_folder
from core.trust.verdict import verdict_words
from core.words.catalogue import Message, Words, message, say
from core.words.drilling import ORIGINS
from core.words.values import listed

MOST_WARNINGS = 3
LACKS: dict[str, Message] = {
    "midline": message("dialogs.answers.sign_off.lacks-midline"),
    "contacts": message("dialogs.answers.sign_off.lacks-contacts"),
}
REASON_PX, MOST_REASONS_PX = 34, 210
OPEN_AGAIN = message("dialogs.answers.sign_off.open-again-for-editing")


class SignOffDialog(Dialog):
    """Shows what is signed and what stands against it; signs when nothing does."""

    heading = message("dialogs.answers.sign_off.sign-off-this-plan")
    accept_words = message("dialogs.answers.sign_off.sign")
    least_width = 620
    asked_anew = Signal(object)
    """What was measured meanwhile is told in another dialog, which asks in place of this one."""

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.fingerprint = ""
        self.is_signed = sign_off_state(session.plan) == "signed"
        self.obstacles = sign_off_obstacles(session.plan)
        self._reading = Latest(self._read, self._not_read, parent=self)
        if self.is_signed:
            self._already()
            return
        ledger = session.ledger if session.ledger_is_current else None
        numbering = self.settings.value.numbering
        for fixture in session.plan.fixtures:
            tooth = say("dialogs.answers.sign_off.no-tooth-named", id=fixture.id)
            if fixture.tooth:
                tooth = tooth_words(fixture.tooth, numbering)
            self.words(
                say(
                    "dialogs.answers.sign_off.fixture-implant",
                    tooth=tooth,
                    size_words=size_words(fixture.size),
                )
            )
        whole = ledger is not None and session.ledger_is_whole
        summary = (
            ledger.summary
            if ledger is not None and whole
            else say("dialogs.answers.sign_off.not-measured-to-the-end")
        )
        self.words(summary)
        self._warn()
        if not session.plan.interpreted_by:
            self.words(say("dialogs.answers.sign_off.whole-volume-not-yet-interpreted"), quiet=True)
        if session.plan.image_check is None:
            self.words(say("dialogs.answers.sign_off.image-not-yet-judged-the"), quiet=True)
        if missed := _missed(session):
            self.words(say("dialogs.answers.sign_off.sheet-will-lack", what=listed(missed)))
        for obstacle in self.obstacles:
            self.words(say("dialogs.answers.sign_off.stands-against-it", obstacle=obstacle.message))
        if not self.obstacles:
            self.words(
                say("dialogs.answers.sign_off.signing-locks-fixtures-and-marks"),
                quiet=True,
            )
        self.origin = self._ask_origin(ledger if whole else None)
        self.name = self.line(say("dialogs.answers.sign_off.name"), self.settings.value.name)
        self.role = self.line(
            say("dialogs.answers.sign_off.role"),
            self.settings.value.role,
            hint=say("dialogs.answers.sign_off.such-as-treating-clinician"),
        )
        self.ledger = ledger if whole else None
        self.reasons = self._ask_reasons(self.ledger)
        session.ledger_changed.connect(self._measured_since)
        self.lacking = self.words("")
        self.reading = self.words("", quiet=True)
        volume = session.volume
        if volume is not None and not self.obstacles:
            self.reading.setText(say("dialogs.answers.sign_off.reading-the-scans-fingerprint"))
            self._reading.ask(lambda _task: volume.fingerprint())
        self._lead_by_return()

    def check(self) -> None:
        """Let the button follow, and say what it waits for."""
        super().check()
        if self.is_signed or self.obstacles:
            return
        edits = (
            (message("dialogs.answers.sign_off.a-name"), self.name),
            (message("dialogs.answers.sign_off.a-role"), self.role),
        )
        wanted: list[Words] = [words for words, edit in edits if not edit.text().strip()]
        if any(not edit.text().strip() for edit in self.reasons.values()):
            wanted.append(message("dialogs.answers.sign_off.a-reason-for-each"))
        self.lacking.setText(
            say("dialogs.answers.sign_off.still-to-write", wanted=listed(wanted)) if wanted else ""
        )

    def is_complete(self) -> bool:
        """Nothing contradicts, name and role are there, and everything is measured."""
        if self.is_signed:
            return True
        session = self.session
        # Only what the dialog shows, and asked reasons for, can be signed.
        measured = session.ledger_is_current and session.ledger is self.ledger
        reasons = (edit.text().strip() for edit in self.reasons.values())
        texts = (self.name.text().strip(), self.role.text().strip(), self.fingerprint, *reasons)
        return not self.obstacles and measured and all(texts)

    def give(self) -> None:
        """Sign, or open again."""
        session = self.session
        if self.is_signed:
            text = message("dialogs.answers.sign_off.opened-again-after-sign-off")
            session.apply(text, replace(session.plan, locked=()))
            return
        volume = session.volume
        if volume is None:
            return
        name, role = self.name.text().strip(), self.role.text().strip()
        number = -1 if self.origin is None else self.origin.checkedId()
        chosen = None if number < 0 else self.origins[number]
        if chosen != session.plan.depth_from and self.origin is not None:
            session.apply(*with_depth_from(session.plan, chosen))
        answer = signed(
            session.plan,
            volume.identity,
            fingerprint=self.fingerprint,
            name=name,
            role=role,
            at=now_iso(),
            accepted={row: edit.text().strip() for row, edit in self.reasons.items()},
        )
        session.apply(*answer)
        self.settings.remember(name=name, role=role)

    def done(self, result: int) -> None:
        """Let go of the fingerprint's work, and of what is measured from now on."""
        self._reading.drop()
        if not self.is_signed:
            self.session.ledger_changed.disconnect(self._measured_since)
        super().done(result)

    def _measured_since(self) -> None:
        """Ask anew, with the summary and the reasons of what has been measured meanwhile."""
        session, parent = self.session, self.parentWidget()
        whole = session.ledger_is_current and session.ledger_is_whole
        is_signed = sign_off_state(session.plan) == "signed"
        if not whole or is_signed or session.ledger is self.ledger:
            return
        if _told(session.ledger) == _told(self.ledger):
            self.ledger = session.ledger
            self.check()
        else:
            self.reject()
            again = type(self)(session, self.desk, parent)
            open_dialog(again)
            self.asked_anew.emit(again)

    def _warn(self) -> None:
        """What the scan checks warn of: who signs must have read it."""
        warnings = warnings_of(self.session)
        for finding in warnings[:MOST_WARNINGS]:
            label = self.words(say("dialogs.answers.sign_off.warning", words=finding.message))
            label.setObjectName("strong")
        if len(warnings) > MOST_WARNINGS:
            more = len(warnings) - MOST_WARNINGS
            self.words(say("dialogs.answers.sign_off.more-warnings", count=more))
        if warnings and not self.obstacles:
            self.words(say("dialogs.answers.sign_off.warnings-read"), quiet=True)

    def _ask_origin(self, ledger: Ledger | None) -> QButtonGroup | None:
        """Where the drilling depth is counted from, with its depth; None where none is given.

        It is a part of what is signed: chosen afterwards it would void the signature.
        """
        rows = drill_rows_of(() if ledger is None else ledger.measurements)
        given = [row for row in rows if row.value is not None]
        if not given:
            return None
        kept = self.session.plan.depth_from
        self.words(say("dialogs.sheet.dialog.counted-from"))
        group = QButtonGroup(self)
        grid = QGridLayout()
        grid.setContentsMargins(18, 0, 0, 0)
        self.origins: list[DepthReference] = []
        for origin in REFERENCES:
            words = ORIGINS[origin]
            depths = [mark_words(row) for row in given if counted_from(row) == origin]
            if not depths and origin != kept:
                continue
            told = str(words)
            if len(depths) == 1:
                told = say("dialogs.answers.sign_off.origin", origin=words, mm=depths[0])
            self._add_origin(group, grid, told, origin)
        grid.setColumnStretch(2, 1)
        self.body.addLayout(grid)
        if kept is not None:
            group.button(self.origins.index(kept)).setChecked(True)
        unchosen = self.words(say("dialogs.answers.sign_off.depth-not-chosen"), quiet=True)
        unchosen.setVisible(kept is None)
        group.idToggled.connect(lambda *_: unchosen.hide())
        group.idClicked.connect(lambda _: self._go_on())
        return group

    def _add_origin(
        self, group: QButtonGroup, grid: QGridLayout, words: str, origin: DepthReference
    ) -> None:
        number = len(self.origins)
        button = QRadioButton(words)
        group.addButton(button, number)
        grid.addWidget(button, *divmod(number, 2))
        self.origins.append(origin)

    def _go_on(self) -> None:
        """To what is still to be written, or to the button."""
        empty = [edit for edit in self._edits() if not edit.text().strip()]
        (empty[0] if empty else self.ok).setFocus()

    def _lead_by_return(self) -> None:
        """Return signs once nothing is missing; before that it leads to what is."""

        def lead() -> None:
            if not self.is_complete():
                self._go_on()

        for edit in self._edits():
            edit.returnPressed.connect(lead)
        self._go_on()

    def _edits(self) -> tuple[QLineEdit, ...]:
        """All that is written by hand, in its order."""
        return self.name, self.role, *self.reasons.values()

    def _ask_reasons(self, ledger: Ledger | None) -> dict[str, QLineEdit]:
        """A line for each limit that is not met; nothing where it is not measured to the end."""
        not_met = () if ledger is None else unmet(ledger)
        if not not_met:
            return {}
        self.words(say("dialogs.answers.sign_off.not-met-give-reasons", count=len(not_met)))
        lines = QWidget()
        grid = QGridLayout(lines)
        grid.setContentsMargins(0, 0, 0, 0)
        edits: dict[str, QLineEdit] = {}
        for n, each in enumerate(not_met):
            said = say(
                "dialogs.answers.sign_off.not-met-row",
                words=each.words,
                verdict=verdict_words(each.verdict),
            )
            label = QLabel(said)
            label.setWordWrap(True)
            edit = QLineEdit(self.session.plan.accepted.get(each.row, ""))
            edit.setPlaceholderText(say("dialogs.answers.sign_off.reason"))
            edit.setAccessibleName(said)
            edit.textChanged.connect(self.check)
            label.setBuddy(edit)
            grid.addWidget(label, n, 0)
            grid.addWidget(edit, n, 1)
            edits[each.row] = edit
        grid.setColumnStretch(0, 1)
        grid.setColumnStretch(1, 1)
        if len(edits) > 1:
            self.same = QPushButton(say("dialogs.answers.sign_off.same-reason"))
            self.same.setAutoDefault(False)
            self.same.clicked.connect(lambda _on: self._give_first_reason())
            grid.addWidget(self.same, 1, 2)
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setFrameShape(QFrame.Shape.NoFrame)
        # Tab goes from the role to the first reason, not to the frame around them.
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        scroll.setMinimumHeight(min(REASON_PX * len(not_met), MOST_REASONS_PX))
        scroll.setWidget(lines)
        self.body.addWidget(scroll, 1)
        return edits

    def _give_first_reason(self) -> None:
        """Write the first reason where none stands yet; all of them stand in view."""
        first, *others = self.reasons.values()
        for edit in others:
            if not edit.text().strip():
                edit.setText(first.text().strip())

    def _already(self) -> None:
        sign = self.session.plan.sign_off
        if sign is not None:
            who = f"{sign.name}, {sign.role}, {short_time(sign.at)}"
            self.words(
                say(
                    "dialogs.answers.sign_off.revision-was-signed-by",
                    revision=sign.revision,
                    who=who,
                )
            )
        self.words(say("dialogs.answers.sign_off.to-edit-it-open-it"))
        self.ok.setText(str(OPEN_AGAIN))

    def _read(self, fingerprint: str) -> None:
        self.fingerprint = fingerprint
        self.reading.setText("")
        self.check()

    def _not_read(self, error: Exception) -> None:
        self.tell(say("dialogs.answers.sign_off.the-scans-fingerprint-could-not", error=error))


def _missed(session: Session) -> tuple[Words, ...]:
    """What the sheet of some fixture will miss, in words."""
    if session.arch is None:
        return ()
    found = {
        lack.name
        for fixture in session.plan.fixtures
        for lack in sheet_lacks(session.plan, session.arch, fixture)
    }
    return tuple(words for name, words in LACKS.items() if name in found)


def _told(ledger: Ledger | None) -> object:
    """What the dialog tells of a ledger, and asks reasons for."""
    return None if ledger is None else (ledger.summary, [(u.row, u.verdict) for u in unmet(ledger)])


class SignAndWriteDialog(SignOffDialog):
    """Asked from the sheet, which is written as soon as it is signed, to the folder shown."""

    accept_words = message("dialogs.answers.sign_off.sign-and-write")

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.folder = QLineEdit()
        self.folder.setReadOnly(True)
        # It looks like the line of text that it is, and takes no typing to swallow.
        self.folder.setFrame(False)
        self.folder.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.folder.setObjectName("told")
        other = QPushButton(say("dialogs.answers.sign_off.other-folder"))
        other.setAutoDefault(False)
        other.clicked.connect(lambda _on: self._other_folder())
        beside = QWidget()
        row = QHBoxLayout(beside)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.folder, 1)
        row.addWidget(other)
        self.field(say("dialogs.answers.sign_off.written-to"), beside)
        if session.ledger is not None:
            self._show_folder(proposed_place("record", self._proposed))

    def _proposed(self, within: Path) -> Path:
        ledger = self.session.ledger
        return within if ledger is None else proposed_folder(within, ledger)

    def _other_folder(self) -> None:
        title = say("dialogs.sheet.dialog.write-sheet-and-record-to")
        if name := ask_new_folder(self, title, "record", self._proposed):
            self._show_folder(Path(name))

    def _show_folder(self, folder: Path) -> None:
        self.folder.setText(str(folder))
        self.folder.setToolTip(str(folder))


def ask_sign_off(session: Session, desk: Desk, parent: QWidget | None) -> SignOffDialog:
    """Ask for the signature."""
    dialog = SignOffDialog(session, desk, parent)
    open_dialog(dialog)
    return dialog
