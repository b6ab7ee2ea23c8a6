"""What the window says of kept cases: one left open by a crash, and one that is not saved now."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QMessageBox, QWidget

from app.case_store import CaseRecord, CaseStore
from core.errors import SoundingError
from core.identity import Tooth
from core.sheet.who import printable_name

if TYPE_CHECKING:
    from app.bench import Bench

TAKE_UP, LET_BE = "Go on with it", "Leave it"


class UnsavedNotice(QLabel):
    """Stands over everything for as long as the last state of the case is not on the disk."""

    def __init__(self, store: CaseStore, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("notice")
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.setWordWrap(True)
        self.setMargin(8)
        self.hide()
        store.failed.connect(self.tell)
        store.saved.connect(self.hide)
        store.let_go.connect(self.hide)

    def tell(self, text: str) -> None:
        """Say it until a save has gone well."""
        self.setText(text)
        self.show()


def words_of(record: CaseRecord, *, hidden: bool) -> str:
    """A kept case in one line."""
    name = printable_name(record.patient)[0] or "no name in the scan"
    tooth = Tooth.of(record.tooth).words() if record.tooth else "no tooth yet"
    changed = record.changed[:16].replace("T", " ")
    return f"{'name hidden' if hidden else name} · {tooth} · last worked on {changed}"


def offer_left_open(bench: Bench) -> QMessageBox | None:
    """Offer the case that a crash or a kill left open, the newest first; None where there is none.

    What is refused is not offered again; it stays in the list of recent cases.
    """
    left = bench.store.left_open()
    if not left or bench.session.volume is not None:
        return None
    record = left[0]
    box = QMessageBox(bench)
    box.setWindowTitle("Sounding")
    box.setTextFormat(Qt.TextFormat.PlainText)
    box.setText("The program ended while this case was open. Nothing that was saved is lost.")
    box.setInformativeText(words_of(record, hidden=bench.settings.value.names_hidden))
    take_up = box.addButton(TAKE_UP, QMessageBox.ButtonRole.AcceptRole)
    let_be = box.addButton(LET_BE, QMessageBox.ButtonRole.DestructiveRole)
    later = box.addButton("Ask me next time", QMessageBox.ButtonRole.RejectRole)
    box.setDefaultButton(take_up)
    box.setEscapeButton(later)
    box.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)

    def answered() -> None:
        if box.clickedButton() is take_up:
            bench.take_up(record)
        elif box.clickedButton() is let_be:
            try:
                bench.store.let_be(record)
            except SoundingError as error:
                bench.tell_error(error)
                return
            bench.show_start()
            offer_left_open(bench)

    box.finished.connect(lambda _result: answered())
    box.open()
    return box
