"""Pages as pictures: true size, and never two threads in the PDF library at once."""

from __future__ import annotations

import io
import subprocess
import sys
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from core.sheet.raster import page_count, page_picture
from tests.watchdog import PATIENCE

ROOT = Path(__file__).parents[3]
TOGETHER = """
import sys, threading
from core.sheet.raster import page_picture
from tests.core.sheet.test_raster import pages
sys.setswitchinterval(1e-4)
pdf = pages(2)
def work():
    for turn in range(150):
        assert page_picture(pdf, turn % 2, dpi=60).size[0] > 0
threads = [threading.Thread(target=work) for _ in range(3)]
for thread in threads: thread.start()
for thread in threads: thread.join()
print("whole")
"""


def pages(count):
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(50 * mm, 30 * mm))
    for number in range(count):
        for line in range(40):
            canvas.drawString(3 * mm, (2 + 0.6 * line) * mm, f"page {number} line {line}" * 3)
        canvas.rect(10 * mm, 10 * mm, 20 * mm, 5 * mm, fill=1)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def test_a_page_has_its_true_size_and_its_own_pixels():
    pdf = pages(3)
    assert page_count(pdf) == 3
    picture = page_picture(pdf, 1, dpi=254.0)
    assert picture.size == pytest.approx((500, 300), abs=1)
    assert picture.mode == "RGB"
    grey = np.asarray(picture)
    assert grey[300 - 125, 200].tolist() == [0, 0, 0]
    assert grey[5, 450].tolist() == [255, 255, 255]
    with pytest.raises(pypdfium2.PdfiumError):
        page_picture(pdf, 3, dpi=72.0)


def test_several_threads_at_once_do_not_end_the_program():
    """Somebody writes a sheet while its pages are still being drawn for the screen."""
    done = subprocess.run(
        [sys.executable, "-c", TOGETHER],
        cwd=ROOT, capture_output=True, text=True, timeout=120 * PATIENCE, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout.strip()) == (0, "whole"), done.stderr


def test_nothing_else_enters_the_pdf_library():
    for package in ("app", "core"):
        for file in (ROOT / package).rglob("*.py"):
            if file.name != "raster.py":
                assert "pypdfium2" not in file.read_text(encoding="utf-8"), file
