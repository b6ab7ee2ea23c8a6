"""Offers the case that a crash or a kill left open."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QMessageBox

from app.widgets.plain_text import plain_box
from app.window.bench import Bench
from app.window.crash_recovery import words_of
from core.errors import SoundingError
from core.words.catalogue import message, say

TAKE_UP, LET_BE = message("window.left_open.go-on-with-it"), message("window.left_open.leave-it")
LATER = message("window.left_open.ask-me-next-time")


def offer_left_open(bench: Bench) -> QMessageBox | None:
    """Offer the case that a crash or a kill left open, the newest first; None where there is none.

    What is refused is not offered again; it stays in the list of recent cases.
    """
    left = bench.store.left_open()
    if not left or bench.session.volume is not None:
        return None
    record = left[0]
    box = QMessageBox(bench)
    box.setWindowTitle(say("window.left_open.sounding"))
    box.setTextFormat(Qt.TextFormat.PlainText)
    box.setText(say("window.left_open.the-program-ended-while-this"))
    words = words_of(record, hidden=bench.settings.value.names_hidden)
    means = say("window.left_open.what-each-means", resume=TAKE_UP, leave=LET_BE, later=LATER)
    box.setInformativeText(f"{words}\n\n{means}")
    take_up = box.addButton(str(TAKE_UP), QMessageBox.ButtonRole.AcceptRole)
    let_be = box.addButton(str(LET_BE), QMessageBox.ButtonRole.DestructiveRole)
    later = box.addButton(str(LATER), QMessageBox.ButtonRole.RejectRole)
    box.setDefaultButton(take_up)
    box.setEscapeButton(later)
    box.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
    plain_box(box)

    def answered() -> None:
        if box.clickedButton() is take_up:
            bench.opening.take_up(record)
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
