"""Sends the objects of a written sheet to an archive, with how far it is, and a way to stop."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtWidgets import QCheckBox, QPushButton, QWidget

from app.archive.sending import Sent, send_folder
from app.background.tasks import Latest, Task
from app.case.session import Session
from app.dialogs.archive_dialog import ArchiveDialog
from app.dialogs.base import Dialog, open_dialog
from app.tools.base import Desk
from app.widgets.file_windows import ask_folder
from core.errors import SoundingError
from core.words.catalogue import message, say

_COMMITMENT = {
    "not asked": message("dialogs.send_to_archive.it-was-not-asked-to"),
    "not offered": message("dialogs.send_to_archive.it-does-not-offer-to"),
    "not confirmed": message("dialogs.send_to_archive.it-has-not-confirmed-yet"),
    "confirmed": message("dialogs.send_to_archive.it-has-confirmed-that-it"),
    "refused": message("dialogs.send_to_archive.it-did-not-confirm-that"),
}


class SendDialog(ArchiveDialog):
    """Folder, archive, and whether a draft may go; nothing is sent before the button."""

    heading = message("dialogs.send_to_archive.send-to-archive")
    accept_words = message("dialogs.send_to_archive.send")

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.words(
            say("dialogs.send_to_archive.sends-the-dicom-objects-of"),
            quiet=True,
        )
        self.folder = self.line(say("dialogs.send_to_archive.folder-of-the-sheet"))
        self.choose = QPushButton(say("dialogs.send_to_archive.choose"))
        self.choose.setAutoDefault(False)
        self.choose.clicked.connect(lambda _on: self._choose())
        self.body.addWidget(self.choose)
        self.ask_archive(port_hint=say("dialogs.send_to_archive.where-it-confirms-may-be"))
        self.unsigned = QCheckBox(say("dialogs.send_to_archive.send-although-it-is-not"))
        self.body.addWidget(self.unsigned)
        self.show_progress(say("dialogs.send_to_archive.so-many-objects"))
        self._sending = self.worker(self._sent)

    def is_complete(self) -> bool:
        """Everything is named, and nothing is on its way."""
        return bool(self.folder.text().strip()) and self.named() and not self.is_busy

    def workers(self) -> tuple[Latest, ...]:
        """The sending stops after the object that is on its way; the rest can be sent later."""
        return (self._sending,)

    def told_of_stop(self) -> str:
        """What to do to go on."""
        return say("dialogs.send_to_archive.stopped-send-again-to-go")

    def told_of_fault(self, name: str) -> str:
        """What to do after a fault of the program."""
        return say("dialogs.send_to_archive.a-fault-in-the-program", name=name)

    def _accepted(self) -> None:
        if not self.is_complete():
            return
        try:
            connection = self.connection()
        except SoundingError as refusal:
            self.tell(str(refusal))
            return
        folder, unsigned = Path(self.folder.text().strip()), self.unsigned.isChecked()

        def send(task: Task) -> Sent:
            return send_folder(
                folder, connection, unsigned=unsigned, progress=task.progress,
                cancelled=task.cancelled,
            )  # fmt: skip

        self.begin(self._sending, send)

    def _choose(self) -> None:
        name = ask_folder(self, say("dialogs.send_to_archive.folder-of-the-sheet"), "record")
        if name:
            self.folder.setText(name)

    def _sent(self, sent: Sent) -> None:
        self.show_busy(False)
        count = len(sent.stored)
        words = (
            say("dialogs.send_to_archive.the-archive-stored-objects", count=count)
            if count
            else say("dialogs.send_to_archive.nothing-was-left-to-send")
        )
        before = len(sent.before)
        told = [say("dialogs.send_to_archive.it-had-stored-before", count=before)] if before else []
        self.tell(" ".join((words, *told, str(_COMMITMENT[sent.commitment]))))
        self.check()


def show_send(session: Session, desk: Desk, parent: QWidget | None) -> Dialog:
    """Open the dialog."""
    return open_dialog(SendDialog(session, desk, parent))
