"""Pages on a printer at their true size, and the papers that they are laid out for."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QRectF, QSizeF
from PySide6.QtGui import QImage, QPageSize, QPainter
from PySide6.QtPrintSupport import QPrinter

PAPERS: dict[str, QPageSize.PageSizeId] = {
    "A4": QPageSize.PageSizeId.A4,
    "Letter": QPageSize.PageSizeId.Letter,
}
_MM_PER_M = 1000.0


def print_pages(printer: QPrinter, images: Sequence[QImage]) -> None:
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


def page_size(image: QImage) -> QPageSize:
    """The paper that a page was laid out for: the card's is not the sheet's."""
    width = image.width() / image.dotsPerMeterX() * _MM_PER_M
    height = image.height() / image.dotsPerMeterY() * _MM_PER_M
    return QPageSize(QSizeF(width, height), QPageSize.Unit.Millimeter)
