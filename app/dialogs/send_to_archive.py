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
from core.words.catalogue import message, say

_COMMITMENT = {
    "not asked": message("dialogs.send_to_archive.it-was-not-asked-to"),
    "not offered": message("dialogs.send_to_archive.it-does-not-offer-to"),
    "not confirmed": message("dialogs.send_to_archive.it-has-not-confirmed-yet"),
    "confirmed": message("dialogs.send_to_archive.it-has-confirmed-that-it"),
    "refused": message("dialogs.send_to_archive.it-did-not-confirm-that"),
}
_PORT_DIGITS, _LAST_PORT = 5, 65_535


class SendDialog(Dialog):
    """Folder, archive, and whether a draft may go; nothing is sent before the button."""

    heading = message("dialogs.send_to_archive.send-to-archive")
    accept_words = message("dialogs.send_to_archive.send")

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self._is_busy = False
        self.cancel.setText(say("dialogs.send_to_archive.close"))
        self.words(
            say("dialogs.send_to_archive.sends-the-dicom-objects-of"),
            quiet=True,
        )
        self.folder = self.line(say("dialogs.send_to_archive.folder-of-the-sheet"))
        self.choose = QPushButton(say("dialogs.send_to_archive.choose"))
        self.choose.setAutoDefault(False)
        self.choose.clicked.connect(lambda _on: self._choose())
        self.body.addWidget(self.choose)
        kept = self.settings.value
        self.address = self.line(
            say("dialogs.send_to_archive.archive"),
            kept.archive,
            hint=say("dialogs.send_to_archive.aet-host-port"),
        )
        self.title = self.line(say("dialogs.send_to_archive.own-ae-title"), kept.own_title)
        self.tls = QCheckBox(say("dialogs.send_to_archive.encrypted-tls-the-archives-certificate"))
        self.tls.toggled.connect(lambda _on: self._show_certificates())
        self.unsigned = QCheckBox(say("dialogs.send_to_archive.send-although-it-is-not"))
        self.bar = QProgressBar()
        self.bar.setFormat("%v of %m objects")
        self.stop = QPushButton(say("dialogs.send_to_archive.stop"))
        self.stop.setAutoDefault(False)
        self.stop.clicked.connect(lambda _on: self._stop())
        for box in (self.tls, self.unsigned):
            self.body.addWidget(box)
        pem = say("dialogs.send_to_archive.pem-file-may-be-empty")
        self.ca = self.line(say("dialogs.send_to_archive.authority-of-the-archive"), hint=pem)
        self.cert = self.line(say("dialogs.send_to_archive.own-certificate"), hint=pem)
        self.key = self.line(say("dialogs.send_to_archive.own-key"), hint=pem)
        self.listen = self.line(
            say("dialogs.send_to_archive.own-port"),
            hint=say("dialogs.send_to_archive.where-it-confirms-may-be"),
        )
        self._show_certificates()
        low = QHBoxLayout()
        low.addWidget(self.bar, 1)
        low.addWidget(self.stop)
        self.body.addLayout(low)
        self._sending = Latest(self._sent, self._refused, progressed=self._progressed, parent=self)
        self._show_busy(False)

    def is_complete(self) -> bool:
        """Everything is named, and nothing is on its way."""
        named = (self.folder, self.address, self.title)
        told = all(edit.text().strip() for edit in named)
        return told and self._port() != 0 and not self._is_busy

    def _accepted(self) -> None:
        if not self.is_complete():
            return
        try:
            connection = Connection(
                node=Node.of(self.address.text()),
                title=self.title.text().strip(),
                listen=self._port(),
                tls=self._secured() if self.tls.isChecked() else None,
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

    def _port(self) -> int | None:
        """The port where the archive's confirmation is awaited; None: left out, 0: no port."""
        text = self.listen.text().strip()
        if not text:
            return None
        port = int(text) if text.isascii() and text.isdigit() and len(text) <= _PORT_DIGITS else 0
        return port if port <= _LAST_PORT else 0

    def _secured(self) -> Secured:
        ca, cert, key = (edit.text().strip() for edit in (self.ca, self.cert, self.key))
        return Secured(
            ca=Path(ca) if ca else None,
            cert=Path(cert) if cert else None,
            key=Path(key) if key else None,
        )

    def _show_certificates(self) -> None:
        for edit in (self.ca, self.cert, self.key):
            edit.setEnabled(self.tls.isChecked())

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
        name = ask_folder(self, say("dialogs.send_to_archive.folder-of-the-sheet"), "record")
        if name:
            self.folder.setText(name)

    def _stop(self) -> None:
        self._sending.drop()
        self._show_busy(False)
        self.tell(say("dialogs.send_to_archive.stopped-send-again-to-go"))
        self.check()

    def _progressed(self, done: int, total: int) -> None:
        self.bar.setRange(0, total)
        self.bar.setValue(done)

    def _sent(self, sent: Sent) -> None:
        self._show_busy(False)
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

    def _refused(self, error: Exception) -> None:
        self._show_busy(False)
        if isinstance(error, SoundingError):
            self.tell(str(error))
        else:
            name = type(error).__name__
            self.tell(say("dialogs.send_to_archive.a-fault-in-the-program", name=name))
        self.check()

    def _show_busy(self, busy: bool) -> None:
        self._is_busy = busy
        self.bar.setVisible(busy)
        self.stop.setVisible(busy)
        self.bar.setRange(0, 0)


def show_send(session: Session, desk: Desk, parent: QWidget | None) -> Dialog:
    """Open the dialog."""
    return open_dialog(SendDialog(session, desk, parent))
