"""Sends the objects of a written sheet to an archive, with how far it is, and a way to stop."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtWidgets import QCheckBox, QHBoxLayout, QProgressBar, QPushButton, QWidget

from app.archive.node import Connection, Node, Secured
from app.archive.sending import Sent, send_folder
from app.background.tasks import Latest, Task
from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.tools.base import Desk
from app.widgets.file_windows import ask_folder
from core.errors import OutputError, SoundingError

_COMMITMENT = {
    "not asked": "It was not asked to confirm that it keeps them.",
    "not offered": "It does not offer to confirm that it keeps them.",
    "not confirmed": "It has not confirmed yet that it keeps them.",
    "confirmed": "It has confirmed that it keeps all of them.",
    "refused": "It did NOT confirm that it keeps all of them: ask whoever runs the archive.",
}


class SendDialog(Dialog):
    """Folder, archive, and whether a draft may go; nothing is sent before the button."""

    heading = "Send to archive"
    accept_words = "Send"

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self._is_busy = False
        self.cancel.setText("Close")
        self.words(
            "Sends the DICOM objects of a folder that “Sheet …” has written: report, sheet, key "
            "pictures, fixtures and canals. What the archive has stored is not sent twice.",
            quiet=True,
        )
        self.folder = self.line("Folder of the sheet")
        self.choose = QPushButton("Choose …")
        self.choose.setAutoDefault(False)
        self.choose.clicked.connect(lambda _on: self._choose())
        self.body.addWidget(self.choose)
        kept = self.settings.value
        self.address = self.line("Archive", kept.archive, hint="AET@HOST:PORT")
        self.title = self.line("Own AE title", kept.own_title)
        self.tls = QCheckBox("Encrypted (TLS); the archive’s certificate is checked")
        self.unsigned = QCheckBox("Send although it is not signed off")
        self.bar = QProgressBar()
        self.bar.setFormat("%v of %m objects")
        self.stop = QPushButton("Stop")
        self.stop.setAutoDefault(False)
        self.stop.clicked.connect(lambda _on: self._stop())
        for box in (self.tls, self.unsigned):
            self.body.addWidget(box)
        low = QHBoxLayout()
        low.addWidget(self.bar, 1)
        low.addWidget(self.stop)
        self.body.addLayout(low)
        self._sending = Latest(self._sent, self._refused, progressed=self._progressed, parent=self)
        self._show_busy(False)

    def is_complete(self) -> bool:
        """Everything is named, and nothing is on its way."""
        named = (self.folder, self.address, self.title)
        return all(edit.text().strip() for edit in named) and not self._is_busy

    def _accepted(self) -> None:
        if not self.is_complete():
            return
        try:
            connection = Connection(
                node=Node.of(self.address.text()),
                title=self.title.text().strip(),
                tls=Secured() if self.tls.isChecked() else None,
            )
            self._remember()
        except SoundingError as refusal:
            self.tell(str(refusal))
            return
        folder, unsigned = Path(self.folder.text().strip()), self.unsigned.isChecked()

        def send(task: Task) -> Sent:
            return send_folder(
                folder, connection, unsigned=unsigned, progress=task.progress,
                cancelled=task.cancelled,
            )  # fmt: skip

        self.tell("")
        self._sending.ask(send)
        self._show_busy(True)
        self.check()

    def _remember(self) -> None:
        address, title = self.address.text().strip(), self.title.text().strip()
        kept = self.settings.value
        if (address, title) == (kept.archive, kept.own_title):
            return
        try:
            self.settings.change(archive=address, own_title=title)
        except OutputError as refusal:
            self.tell(str(refusal))

    def done(self, result: int) -> None:
        """Stop after the object that is on its way; the rest can be sent later."""
        self._sending.drop()
        super().done(result)

    def _choose(self) -> None:
        name = ask_folder(self, "Folder of the sheet", "record")
        if name:
            self.folder.setText(name)

    def _stop(self) -> None:
        self._sending.drop()
        self._show_busy(False)
        self.tell("Stopped. Send again to go on where it stopped.")
        self.check()

    def _progressed(self, done: int, total: int) -> None:
        self.bar.setRange(0, total)
        self.bar.setValue(done)

    def _sent(self, sent: Sent) -> None:
        self._show_busy(False)
        count = len(sent.stored)
        words = f"The archive stored {count} objects." if count else "Nothing was left to send."
        if sent.before:
            words += f" {len(sent.before)} it had stored before."
        self.tell(f"{words} {_COMMITMENT[sent.commitment]}")
        self.check()

    def _refused(self, error: Exception) -> None:
        self._show_busy(False)
        self.tell(str(error) if isinstance(error, SoundingError) else _FAULT.format(error=error))
        self.check()

    def _show_busy(self, busy: bool) -> None:
        self._is_busy = busy
        self.bar.setVisible(busy)
        self.stop.setVisible(busy)
        self.bar.setRange(0, 0)


_FAULT = (
    "A fault in the program stopped the sending ({error.__class__.__name__}). Send again to go on "
    "where it stopped, or send the log to whoever maintains this installation."
)


def show_send(session: Session, desk: Desk, parent: QWidget | None) -> Dialog:
    """Open the dialog."""
    return open_dialog(SendDialog(session, desk, parent))
