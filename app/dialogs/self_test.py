"""The self-test of the program from the bench: run apart from the window, its dated page shown."""

from __future__ import annotations

import json
import shutil
import sys
from pathlib import Path

from platformdirs import user_data_path
from PySide6.QtCore import QProcess
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QHBoxLayout, QLabel, QProgressBar, QPushButton, QWidget

from app.background.tasks import Latest
from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.dialogs.sheet.pages_shown import PagesShown
from app.dialogs.sheet.work import rendered
from app.tools.base import Desk
from app.widgets import style
from app.widgets.file_windows import ask_folder
from core.measuring.self_test import NOT_THE_SCANNER
from core.words.catalogue import message, say

PAGE_DPI = 110
ENDED = (0, 1)
"""Exit statuses of a test that came to its end: all within bounds, or not."""


def self_tests_folder() -> Path:
    """Where the dated pages are kept."""
    return user_data_path("sounding", appauthor=False) / "self-tests"


class SelfTestDialog(Dialog):
    """Starts the test in a process of its own: the window stays free, and Stop really stops it."""

    heading = message("dialogs.self_test.self-test-of-the-program")
    accept_words = message("dialogs.self_test.run-the-test")
    least_width = 860

    def __init__(
        self,
        session: Session,
        desk: Desk,
        parent: QWidget | None = None,
        *,
        folder: Path | None = None,
    ) -> None:
        super().__init__(session, desk, parent)
        self.folder = self_tests_folder() if folder is None else folder
        self.files: tuple[Path, ...] = ()
        self.cancel.setText(say("dialogs.self_test.close"))
        self.words(say("dialogs.self_test.an-invented-scan-is-drawn"))
        self.words(str(NOT_THE_SCANNER))
        self.said = QLabel("")
        self.said.setWordWrap(True)
        self.said.setFont(style.font(13, bold=True))
        self.body.addWidget(self.said)
        self.bar = QProgressBar()
        self.bar.setRange(0, 0)
        self.bar.setTextVisible(False)
        self.bar.setAccessibleName(say("dialogs.self_test.under-way"))
        self.bar.hide()
        self.body.addWidget(self.bar)
        self.page = PagesShown()
        self.page.setMinimumHeight(360)
        self.body.addWidget(self.page, 1)
        self.where = QLabel("")
        self.where.setObjectName("quiet")
        self.where.setWordWrap(True)
        self.save = QPushButton(say("dialogs.self_test.save-page-and-figures-to"))
        self.save.setAutoDefault(False)
        self.save.clicked.connect(self._ask_folder)
        self.save.hide()
        row = QHBoxLayout()
        row.addWidget(self.where, 1)
        row.addWidget(self.save)
        self.body.addLayout(row)
        self.process = QProcess(self)
        self.process.setWorkingDirectory(str(Path.home()))
        self.process.readyReadStandardOutput.connect(self._heard)
        self.process.finished.connect(self._ended)
        self.process.errorOccurred.connect(self._not_started)
        self._drawing = Latest(self._drawn, self._not_drawn, parent=self)
        self._heard_text = ""
        self._stopped = False

    @property
    def running(self) -> bool:
        """True while the test is under way."""
        return self.process.state() != QProcess.ProcessState.NotRunning

    def _accepted(self) -> None:
        """Run, or stop."""
        if self.running:
            self._stopped = True
            self.process.kill()
            return
        self._start()

    def _start(self) -> None:
        self.tell("")
        self.said.setText(say("dialogs.self_test.starting"))
        self.files = ()
        self.where.setText("")
        self.save.hide()
        self.page.show_pages(())
        self._heard_text, self._stopped = "", False
        arguments = ["-m", "app", "verify", "--out", str(self.folder)]
        self.process.start(sys.executable, arguments)
        self.ok.setText(say("dialogs.self_test.stop"))
        self.bar.show()

    def _heard(self) -> None:
        text = bytes(self.process.readAllStandardOutput().data()).decode("utf-8", "replace")
        self._heard_text += text
        steps = [
            line.strip() for line in self._heard_text.splitlines() if line.rstrip().endswith("...")
        ]
        if steps:
            self.said.setText(f"{steps[-1][:1].upper()}{steps[-1][1:-3].rstrip()} …")

    def _ended(self, status: int) -> None:
        self._heard()
        self._idle()
        if self._stopped:
            self.said.setText(say("dialogs.self_test.stopped-nothing-was-tested"))
            return
        named = [Path(line.partition(": ")[2].strip()) for line in self._heard_text.splitlines()]
        written = [path for path in named if path.is_file()]
        if status not in ENDED or len(written) != 2:
            self._failed()
            return
        self.files = tuple(written)
        pdf, document = written
        figures = json.loads(document.read_text(encoding="utf-8"))
        self.said.setText(
            say(
                "dialogs.self_test.s-seed",
                figures=figures["sentence"],
                figures2=figures["seconds"],
                figures3=figures["seed"],
            )
        )
        self.where.setText(say("dialogs.self_test.page-and-figures-are-kept", parent=pdf.parent))
        self.save.show()
        data = pdf.read_bytes()
        self._drawing.ask(lambda task: rendered(data, task, dpi=PAGE_DPI))

    def _failed(self) -> None:
        said = bytes(self.process.readAllStandardError().data()).decode("utf-8", "replace").strip()
        self.said.setText(say("dialogs.self_test.the-test-did-not-come"))
        self.tell(said or say("dialogs.self_test.start-it-again-if-it"))

    def _not_started(self, error: QProcess.ProcessError) -> None:
        if error == QProcess.ProcessError.FailedToStart:
            self._idle()
            self._failed()

    def _idle(self) -> None:
        self.bar.hide()
        self.ok.setText(str(self.accept_words))

    def _drawn(self, images: tuple[QImage, ...]) -> None:
        self.page.show_pages(images)

    def _not_drawn(self, error: Exception) -> None:
        self.tell(say("dialogs.self_test.the-page-cannot-be-shown", name=type(error).__name__))

    def _ask_folder(self) -> None:
        name = ask_folder(self, say("dialogs.self_test.save-page-and-figures-to-2"), "record")
        if name:
            self.save_to(Path(name))

    def save_to(self, folder: Path) -> None:
        """Copy page and figures into a folder."""
        try:
            for path in self.files:
                shutil.copy2(path, folder / path.name)
        except OSError as error:
            self.tell(
                say("dialogs.self_test.the-files-could-not-be", error=error, folder=self.folder)
            )
            return
        self.where.setText(say("dialogs.self_test.copied-to", folder=folder))

    def done(self, result: int) -> None:
        """A test that nobody waits for ends with the window."""
        if self.running:
            self._stopped = True
            self.process.kill()
            self.process.waitForFinished(2000)
        self._drawing.drop()
        super().done(result)


def show_self_test(session: Session, desk: Desk, parent: QWidget | None) -> Dialog:
    """Open the self-test."""
    return open_dialog(SelfTestDialog(session, desk, parent))
