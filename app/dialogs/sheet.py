"""The measurement sheet: preview of every page, then files, print or a copied page."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import cast

from PySide6.QtCore import QRectF, Qt, QUrl
from PySide6.QtGui import (
    QDesktopServices,
    QGuiApplication,
    QImage,
    QPageSize,
    QPainter,
    QPixmap,
    QResizeEvent,
)
from PySide6.QtPrintSupport import QPrintDialog, QPrinter
from PySide6.QtWidgets import (
    QComboBox,
    QFileDialog,
    QFrame,
    QHBoxLayout,
    QLabel,
    QProgressBar,
    QPushButton,
    QScrollArea,
    QWidget,
)

from app import look
from app.dialogs.base import Dialog, open_dialog
from app.session import Session
from app.settings import Paper
from app.sheet_work import PRINT_DPI, SheetJob, files, pages
from app.tasks import Latest
from app.tools.base import Desk
from app.words_shown import state_words
from core.errors import SoundingError

PAPERS: dict[str, QPageSize.PageSizeId] = {
    "A4": QPageSize.PageSizeId.A4,
    "Letter": QPageSize.PageSizeId.Letter,
}


class SheetDialog(Dialog):
    """Shows what would be written; writes nothing until a folder is chosen."""

    heading = "Measurement sheet"
    accept_words = "Write to a folder …"
    least_width = 760

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.images: tuple[QImage, ...] = ()
        self.page = 0
        self.written: tuple[Path, ...] = ()
        self.cancel.setText("Close")
        self.state = QLabel(state_words(session.plan))
        self.state.setFont(look.font(13, bold=True))
        self.paper = QComboBox()
        self.paper.addItems(list(PAPERS))
        self.paper.setCurrentText(self.settings.value.paper)
        self.paper.setAccessibleName("Paper")
        self.paper.currentTextChanged.connect(self._preview)
        self.back = self._button("◂", lambda: self.turn(-1), "Previous page")
        self.number = QLabel("")
        self.next = self._button("▸", lambda: self.turn(1), "Next page")
        self.copy = self._button("Copy page", self._copy)
        self.print = self._button("Print …", self._print)
        self.folder = self._button("Open folder", self._open_folder)
        self.folder.hide()
        top = QHBoxLayout()
        top.addWidget(self.state)
        top.addStretch(1)
        for widget in (self.paper, self.back, self.number, self.next, self.copy, self.print):
            top.addWidget(widget)
        self.body.addLayout(top)
        self.shown = QLabel()
        self.shown.setAlignment(Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignTop)
        self.area = QScrollArea()
        self.area.setFrameShape(QFrame.Shape.NoFrame)
        self.area.setWidgetResizable(True)
        self.area.setWidget(self.shown)
        self.area.setMinimumHeight(440)
        self.body.addWidget(self.area, 1)
        self.bar = QProgressBar()
        self.bar.setTextVisible(True)
        self.stop = self._button("Stop", self._stop)
        low = QHBoxLayout()
        low.addWidget(self.bar, 1)
        low.addWidget(self.stop)
        low.addWidget(self.folder)
        self.body.addLayout(low)
        self._drawing = Latest(
            self._drawn, self._not_drawn, progressed=self._progressed, parent=self
        )
        self._writing = Latest(
            self._is_written, self._not_drawn, progressed=self._progressed, parent=self
        )
        self._printing = Latest(
            self._send, self._not_drawn, progressed=self._progressed, parent=self
        )
        self._printer: QPrinter | None = None
        session.ledger_changed.connect(self._follow)
        self._busy(False)
        self._preview()

    def is_complete(self) -> bool:
        """A sheet can be made, and none is being written."""
        return self.job() is not None and not self._writing.busy

    def job(self) -> SheetJob | None:
        """What the sheet is made of now; None while the ledger is not whole."""
        s = self.session
        if s.volume is None or s.ledger is None or not s.ledger_is_current:
            return None
        if not s.ledger_is_whole:
            return None
        paper = cast(Paper, self.paper.currentText())
        sizes = self.settings.value.sizes
        return SheetJob(plan=s.plan, volume=s.volume, ledger=s.ledger, paper=paper, sizes=sizes)

    def _accepted(self) -> None:
        name = QFileDialog.getExistingDirectory(self, "Write the sheet to")
        if name:
            self.write(Path(name))

    def write(self, folder: Path) -> None:
        """Write the files into a folder, in the background."""
        job = self.job()
        if job is None:
            return
        self._busy(True, "Writing …")
        self._writing.ask(lambda task: files(job, folder, task))
        self.check()

    def turn(self, pages_on: int) -> None:
        """Show another page."""
        if self.images:
            self.page = min(max(self.page + pages_on, 0), len(self.images) - 1)
            self._show()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The page fits the width."""
        super().resizeEvent(event)
        self._show()

    def done(self, result: int) -> None:
        """Let go of work under way; files half on their way are never left."""
        for latest in (self._drawing, self._writing, self._printing):
            latest.drop()
        super().done(result)

    # -- preview ----------------------------------------------------------------------------

    def _follow(self) -> None:
        self.state.setText(state_words(self.session.plan))
        self._preview()

    def _preview(self) -> None:
        job = self.job()
        self.check()
        if job is None:
            self.images = ()
            self._say_no_page()
            return
        self._busy(True, "Drawing pages …")
        self._drawing.ask(lambda task: pages(job, task))

    def _say_no_page(self) -> None:
        session = self.session
        words = "Everything is measured first …"
        if session.ledger_problem is not None:
            words = str(session.ledger_problem)
        elif not session.confirmed:
            words = "Confirm or set jaw plane and arch first: every number is counted from them."
        self.number.setText("")
        self.shown.setPixmap(QPixmap())
        self.shown.setText(words)
        for button in (self.back, self.next, self.copy, self.print):
            button.setEnabled(False)

    def _drawn(self, images: tuple[QImage, ...]) -> None:
        self.images = images
        self.page = min(self.page, len(images) - 1)
        self._busy(False)
        self._show()

    def _show(self) -> None:
        if not self.images:
            return
        image = self.images[self.page]
        ratio = self.devicePixelRatioF()
        width = min(self.area.viewport().width() - 8, 640)
        pixmap = QPixmap.fromImage(image).scaledToWidth(
            max(round(width * ratio), 100), Qt.TransformationMode.SmoothTransformation
        )
        pixmap.setDevicePixelRatio(ratio)
        self.shown.setPixmap(pixmap)
        self.number.setText(f"page {self.page + 1} of {len(self.images)}")
        self.back.setEnabled(self.page > 0)
        self.next.setEnabled(self.page + 1 < len(self.images))
        self.copy.setEnabled(True)
        self.print.setEnabled(True)

    # -- results ----------------------------------------------------------------------------

    def _is_written(self, paths: tuple[Path, ...]) -> None:
        self.written = paths
        self._busy(False)
        self.folder.setVisible(bool(paths))
        self.tell(f"{len(paths)} files are in {paths[0].parent}" if paths else "")
        self.check()

    def _not_drawn(self, error: Exception) -> None:
        self._busy(False)
        words = (
            str(error)
            if isinstance(error, SoundingError)
            else (
                f"The sheet could not be made ({type(error).__name__}); nothing was written. "
                "Please send the log to whoever maintains this installation."
            )
        )
        self.tell(words)
        self.check()

    def _progressed(self, done: int, total: int) -> None:
        self.bar.setRange(0, total)
        self.bar.setValue(done)

    def _stop(self) -> None:
        for latest in (self._drawing, self._writing, self._printing):
            latest.drop()
        self._busy(False)
        self.tell("Stopped; nothing was written.")
        self.check()

    def _busy(self, busy: bool, words: str = "") -> None:
        self.bar.setVisible(busy)
        self.stop.setVisible(busy)
        if busy:
            self.tell("")
            self.bar.setRange(0, 100)
            self.bar.setValue(0)
            self.bar.setFormat(f"{words} %p %")

    def _copy(self) -> None:
        if self.images:
            QGuiApplication.clipboard().setImage(self.images[self.page])
            self.tell("The page is copied.")

    def _open_folder(self) -> None:
        if self.written:
            QDesktopServices.openUrl(QUrl.fromLocalFile(str(self.written[0].parent)))

    # -- print ------------------------------------------------------------------------------

    def _print(self) -> None:
        job = self.job()
        if job is None:
            return
        printer = QPrinter(QPrinter.PrinterMode.HighResolution)
        printer.setPageSize(QPageSize(PAPERS[self.paper.currentText()]))
        if QPrintDialog(printer, self).exec() != QPrintDialog.DialogCode.Accepted:
            return
        self._printer = printer
        self._busy(True, "Drawing for the printer …")
        self._printing.ask(lambda task: pages(job, task, dpi=PRINT_DPI))

    def _send(self, images: tuple[QImage, ...]) -> None:
        printer, self._printer = self._printer, None
        self._busy(False)
        if printer is not None:
            print_pages(printer, images)
            self.tell("Sent to the printer. Measure the printed 50 mm ruler before you use it.")

    def _button(self, words: str, act: Callable[[], None], name: str = "") -> QPushButton:
        button = QPushButton(words)
        button.setAutoDefault(False)
        if name:
            button.setAccessibleName(name)
            button.setToolTip(name)
        button.clicked.connect(lambda _on: act())
        return button


def print_pages(printer: QPrinter, images: tuple[QImage, ...]) -> None:
    """Print pages at their true size: paper's corner on paper's corner, never fitted."""
    printer.setFullPage(True)
    painter = QPainter(printer)
    per_inch = printer.resolution()
    for number, image in enumerate(images):
        if number:
            printer.newPage()
        inch = image.dotsPerMeterX() * 0.0254
        size = QRectF(0, 0, image.width() / inch * per_inch, image.height() / inch * per_inch)
        painter.drawImage(size, image)
    painter.end()


def show_sheet(session: Session, desk: Desk, parent: QWidget | None) -> Dialog:
    """Open the sheet."""
    return open_dialog(SheetDialog(session, desk, parent))
