"""Printing through the toolkit's printer into a PDF: true size, every page, the paper's own."""

from __future__ import annotations

import numpy as np
import pypdfium2
import pytest
from PySide6.QtCore import QRect, Qt
from PySide6.QtGui import QImage, QPageSize, QPainter
from PySide6.QtPrintSupport import QPrinter

from app.dialogs.sheet.dialog import PAPERS, print_pages

DPI = 300
SIZES_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ANSI Y14.1 (8.5 x 11 in)


def px(mm):
    return round(mm / 25.4 * DPI)


def page(size_mm, ruler_at_mm):
    """A white page with a black ruler of 50 by 4 mm at a place."""
    image = QImage(px(size_mm[0]), px(size_mm[1]), QImage.Format.Format_RGB888)
    image.setDotsPerMeterX(round(DPI / 0.0254))
    image.setDotsPerMeterY(round(DPI / 0.0254))
    image.fill(Qt.GlobalColor.white)
    painter = QPainter(image)
    x, y = ruler_at_mm
    painter.fillRect(QRect(px(x), px(y), px(50), px(4)), Qt.GlobalColor.black)
    painter.end()
    return image


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_a_printed_ruler_of_50_mm_is_50_mm_long_and_where_it_was(qapp, tmp_path, paper):
    printer = QPrinter(QPrinter.PrinterMode.HighResolution)
    printer.setOutputFormat(QPrinter.OutputFormat.PdfFormat)
    printer.setOutputFileName(str(tmp_path / "printed.pdf"))
    printer.setPageSize(QPageSize(PAPERS[paper]))
    places = ((20.0, 30.0), (100.0, 200.0))
    print_pages(printer, tuple(page(SIZES_MM[paper], at) for at in places))
    document = pypdfium2.PdfDocument(tmp_path / "printed.pdf")
    try:
        assert len(document) == len(places)
        for sheet, (x, y) in zip(document, places, strict=True):
            assert sheet.get_size() == pytest.approx(
                tuple(mm / 25.4 * 72 for mm in SIZES_MM[paper]), abs=1.0
            )
            grey = np.asarray(sheet.render(scale=DPI / 72).to_pil().convert("L"))
            rows, cols = np.nonzero(grey < 128)
            mm = 25.4 / DPI
            assert (cols.max() - cols.min() + 1) * mm == pytest.approx(50.0, abs=0.2)
            assert cols.min() * mm == pytest.approx(x, abs=0.3)
            assert rows.min() * mm == pytest.approx(y, abs=0.3)
    finally:
        document.close()
