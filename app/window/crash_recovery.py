"""What the window says of kept cases: not saved now, open elsewhere, or not readable."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QWidget

from app.case.home import Holder
from app.case.own_files import cannot_keep
from app.case.record import CaseRecord
from app.case.settings import SettingsStore
from app.case.store import CaseStore
from app.widgets.shared_texts import short_time
from core.errors import SoundingError
from core.identity import Tooth
from core.sheet.patient_words import printable_name
from core.words.catalogue import message, say

Choose = Callable[[str, str, Sequence[str]], str | None]
"""Asks with a title, a question and a button an answer."""
READ, TAKE_OVER = (
    message("window.crash_recovery.open-for-reading"),
    message("window.crash_recovery.take-it-over"),
)


class CaseNotice(QLabel):
    """Stands over everything for as long as the case is not saved, not alone, or only for reading.

    That the state of this window is kept as a case of its own stays until the case is closed:
    a save that went well must not sweep it away.
    """

    def __init__(self, store: CaseStore, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._lasting = ""
        self._unsaved = ""
        self.setObjectName("notice")
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.setWordWrap(True)
        self.setMargin(8)
        self.hide()
        store.failed.connect(self._failed)
        store.saved.connect(lambda: self._failed(""))
        store.apart.connect(self.tell)
        store.let_go.connect(self.clear)

    def tell(self, text: str) -> None:
        """Say something for as long as the case is open."""
        self._lasting = text
        self._show()

    def clear(self) -> None:
        """The case is closed."""
        self._lasting = self._unsaved = ""
        self._show()

    def _failed(self, text: str) -> None:
        self._unsaved = text
        self._show()

    def _show(self) -> None:
        self.setText("\n".join(text for text in (self._unsaved, self._lasting) if text))
        self.setVisible(bool(self.text()))


def reading_words(holder: Holder) -> str:
    """That a case is open for reading, because of whom."""
    since = short_time(holder.since)
    return str(SoundingError("case-reading", name=holder.name, since=since))


def ask_of_open_case(choose: Choose, holder: Holder) -> str | None:
    """Ask what to do with a case that somebody has open; None when the person turned away."""
    question = SoundingError(
        "case-open-elsewhere",
        name=holder.name,
        host=holder.host,
        since=short_time(holder.since),
    )
    return choose(
        say("window.crash_recovery.this-case-is-open"), str(question), (str(READ), str(TAKE_OVER))
    )


def kept_troubles(store: CaseStore, settings: SettingsStore) -> tuple[str, ...]:
    """What of the program's own files could not be read, and whether any can be kept."""
    told = [*store.troubles]
    if settings.trouble:
        told.append(settings.trouble)
    shut = [folder for folder in (store.folder, settings.path.parent) if cannot_keep(folder)]
    if shut:
        folders = " and ".join(str(folder) for folder in dict.fromkeys(shut))
        told.append(str(SoundingError("nothing-kept", folders=folders)))
    return tuple(told)


def words_of(record: CaseRecord, *, hidden: bool) -> str:
    """A kept case in one line."""
    name = printable_name(record.patient)[0] or say("window.crash_recovery.no-name-in-the-scan")
    tooth = (
        Tooth.of(record.tooth).words()
        if record.tooth
        else say("window.crash_recovery.no-tooth-yet")
    )
    changed = record.changed[:16].replace("T", " ")
    return say(
        "window.crash_recovery.last-worked-on",
        name=say("window.crash_recovery.name-hidden") if hidden else name,
        tooth=tooth,
        changed=changed,
    )
