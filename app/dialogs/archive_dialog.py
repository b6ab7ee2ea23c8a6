"""What the windows that talk to an archive share: its address, work on its way, a way to stop."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from PySide6.QtWidgets import QCheckBox, QHBoxLayout, QLabel, QProgressBar, QPushButton, QWidget

from app.archive.node import Connection, Node, Secured
from app.background.tasks import Latest, Task
from app.case.session import Session
from app.dialogs.base import Dialog
from app.tools.base import Desk
from core.errors import OutputError, SoundingError
from core.words.catalogue import say

_PORT_DIGITS, _LAST_PORT = 5, 65_535


class ArchiveDialog(Dialog):
    """Nothing goes to or comes from an archive before a button is pressed, and then in a worker."""

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.is_busy = False
        self.cancel.setText(say("dialogs.archive_dialog.close"))

    def ask_archive(self, *, port_hint: str) -> None:
        """Lines for the archive and how it is reached.

        Parameters
        ----------
        port_hint : str
            What a port of this computer would be for.
        """
        kept = self.settings.value
        self.address = self.line(
            say("dialogs.archive_dialog.archive"),
            kept.archive,
            hint=say("dialogs.archive_dialog.aet-host-port"),
        )
        self.title = self.line(say("dialogs.archive_dialog.own-ae-title"), kept.own_title)
        self.listen = self.line(say("dialogs.archive_dialog.own-port"), hint=port_hint)
        self.tls = QCheckBox(say("dialogs.archive_dialog.encrypted-tls-the-archives-certificate"))
        self.tls.toggled.connect(lambda _on: self._show_certificates())
        self.body.addWidget(self.tls)
        pem = say("dialogs.archive_dialog.pem-file-may-be-empty")
        self.ca = self.line(say("dialogs.archive_dialog.authority-of-the-archive"), hint=pem)
        self.cert = self.line(say("dialogs.archive_dialog.own-certificate"), hint=pem)
        self.key = self.line(say("dialogs.archive_dialog.own-key"), hint=pem)
        self._show_certificates()

    def show_progress(self, bar_words: str) -> None:
        """A bar and a button to stop, seen while work is on its way.

        Parameters
        ----------
        bar_words : str
            ``%v`` and ``%m`` stand for so many of how many.
        """
        self.bar = QProgressBar()
        self.bar.setFormat(bar_words)
        self.stop = QPushButton(say("dialogs.archive_dialog.stop"))
        self.stop.setAutoDefault(False)
        self.stop.clicked.connect(lambda _on: self._stop())
        low = QHBoxLayout()
        low.addWidget(self.bar, 1)
        low.addWidget(self.stop)
        self.body.addLayout(low)
        self.show_busy(False)

    def worker(self, done: Callable[[Any], None]) -> Latest:
        """Work in the background whose refusals are told in this window."""
        return Latest(done, self._refused, progressed=self._progressed, parent=self)

    def begin(self, worker: Latest, work: Callable[[Task], Any]) -> None:
        """Start a piece of work, and show that it is on its way."""
        self.tell("")
        worker.ask(work)
        self.show_busy(True)
        self.check()

    def named(self) -> bool:
        """True when the archive and this program are named, and the port is none or one."""
        told = all(edit.text().strip() for edit in (self.address, self.title))
        return told and self._port() != 0

    def connection(self) -> Connection:
        """How the archive is reached, by what is written in the lines; kept for the next time.

        Raises
        ------
        SoundingError
            ``archive-address``, and those of writing the settings.
        """
        made = Connection(
            node=Node.of(self.address.text()),
            title=self.title.text().strip(),
            listen=self._port(),
            tls=self._secured() if self.tls.isChecked() else None,
        )
        self._remember()
        return made

    # -- what a subclass answers ------------------------------------------------------------

    def workers(self) -> tuple[Latest, ...]:
        """What may be on its way."""
        return ()

    def told_of_stop(self) -> str:
        """What is said when somebody stopped."""
        return ""

    def told_of_fault(self, name: str) -> str:
        """What is said of a fault of the program, by its kind."""
        return name

    # -- parts --------------------------------------------------------------------------------

    def _port(self) -> int | None:
        """A port of this computer; None: left out, 0: no port."""
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
        """Lines for certificates stand there only where they count."""
        for edit in (self.ca, self.cert, self.key):
            edit.setEnabled(self.tls.isChecked())
            edit.setVisible(self.tls.isChecked())
        for name in self.findChildren(QLabel):
            if name.buddy() in (self.ca, self.cert, self.key):
                name.setVisible(self.tls.isChecked())

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
        """Stop what is on its way."""
        for worker in self.workers():
            worker.drop()
        super().done(result)

    def _stop(self) -> None:
        for worker in self.workers():
            worker.drop()
        self.show_busy(False)
        self.tell(self.told_of_stop())
        self.check()

    def _progressed(self, done: int, total: int) -> None:
        self.bar.setRange(0, total)
        self.bar.setValue(done)

    def _refused(self, error: Exception) -> None:
        self.show_busy(False)
        told = isinstance(error, SoundingError)
        self.tell(str(error) if told else self.told_of_fault(type(error).__name__))
        self.check()

    def show_busy(self, busy: bool) -> None:
        """Show that work is on its way, how far is not yet known; or that none is."""
        self.is_busy = busy
        self.bar.setVisible(busy)
        self.stop.setVisible(busy)
        self.bar.setRange(0, 0)
