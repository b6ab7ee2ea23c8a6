"""The PDF read by independent readers: PDFium (pypdfium2) rasterises and extracts, pypdf reads
boxes and images. Nothing here looks at how the pages were laid out, except where to look.
"""

from __future__ import annotations

import io

import numpy as np
import pypdf
import pypdfium2 as pdfium
import pytest
from reportlab.pdfgen.canvas import Canvas

from core.sheet.fonts_found import bundled, font_folders, machine_font
from core.sheet.page import SIZES_MM
from core.sheet.pdf import laid_out, sheet_pdf
from core.sheet.text import set_text
from tests.core.sheet.test_pages import ONE, VOLUME, case_with
from tests.sheet_material import named

PX_PER_MM = 24.0

NAMES = {
    "Latin": "Þórarinsdóttir, Łucja Ángela",
    "Greek": "Παπαδόπουλος, Γεώργιος",
    "Cyrillic": "Щукина, Вера Ґалаґан",
    "Vietnamese": "Nguyễn, Thị Hồng Ngọc",
    "Japanese": "山田 太郎",
    "Arabic": "علاء عبد الله",
    "Hebrew": "כהן יוסף",
    "Devanagari": "श्रीमती क्षमा त्रिपाठी",
    "Thai": "สมชาย ศรีสุข",
    "Korean": "홍길동",
}


@pytest.fixture(scope="module", params=["A4", "Letter"])
def first_page(request):
    """Paper, the raster of page 1 as grey 0 to 255, and where its first chart lies (mm)."""
    case = case_with(ONE)
    data = sheet_pdf(case, paper=request.param)
    image = pdfium.PdfDocument(data)[0].render(scale=PX_PER_MM * 25.4 / 72).to_pil().convert("L")
    boxes = laid_out(case, paper=request.param).pages[0].boxes
    chart = next(b for b in boxes if b.what.startswith("chart "))
    return request.param, np.asarray(image), chart, data


def tick_middles(profile):
    """Middles of dark runs along a line of pixels, mm."""
    dark = np.concatenate([[False], profile < 128, [False]]).astype(np.int8)
    change = np.flatnonzero(np.diff(dark))
    return (change[::2] + change[1::2] - 1) / 2 / PX_PER_MM


def test_rulers_measure_50_mm_in_both_directions(first_page):
    _, image, chart, _ = first_page
    # Lying: 1.5 mm below the picture, ticks downwards. 0.8 mm below the line all 51 are crossed.
    row = round((chart.bottom + 1.5 + 0.8) * PX_PER_MM)
    left = round((chart.left - 3.0) * PX_PER_MM)
    lying = tick_middles(image[row, left : left + round(56 * PX_PER_MM)])
    # Upright: 1.5 mm left of the picture, ticks to the left, down to the picture's lower edge.
    column = round((chart.left - 1.5 - 0.8) * PX_PER_MM)
    top = round((chart.bottom - 52.0) * PX_PER_MM)
    upright = tick_middles(image[top : top + round(53.3 * PX_PER_MM), column])
    for ticks in (lying, upright):
        assert len(ticks) == 51
        assert ticks[-1] - ticks[0] == pytest.approx(50.0, abs=0.2)
        assert np.diff(ticks) == pytest.approx(1.0, abs=0.06)


def test_the_picture_has_its_true_size_on_paper(first_page):
    _, image, chart, _ = first_page
    # The frame is drawn on the picture's edges; the grid is 46 x 60 mm.
    row = image[round((chart.top + 30.0) * PX_PER_MM)]
    dark = np.flatnonzero(row[: round((chart.left + 46.5) * PX_PER_MM)] < 128) / PX_PER_MM
    framed = dark[dark > chart.left - 0.5]
    assert framed[0] == pytest.approx(chart.left, abs=0.15)
    assert framed[-1] - framed[0] == pytest.approx(46.0, abs=0.2)


def test_paper_sizes(first_page):
    # ISO 216 A4: 210 x 297 mm; US letter: 8.5 x 11 inches (215.9 x 279.4 mm).
    paper, _, _, data = first_page
    expected = {"A4": (210.0, 297.0), "Letter": (8.5 * 25.4, 11 * 25.4)}[paper]
    box = pypdf.PdfReader(io.BytesIO(data)).pages[0].mediabox
    assert (float(box.width) / 72 * 25.4, float(box.height) / 72 * 25.4) == pytest.approx(expected)
    assert SIZES_MM[paper] == pytest.approx(expected)


def test_pictures_are_embedded_at_their_own_resolution(first_page):
    *_, data = first_page
    sizes = {image.image.size for image in pypdf.PdfReader(io.BytesIO(data)).pages[0].images}
    # 46 x 60 mm at 0.2 mm (half the voxel of 0.8 mm, at most 0.2 mm).
    assert (230, 300) in sizes


def test_no_patient_in_the_documents_properties(first_page):
    *_, data = first_page
    assert "QUARRY" not in str(pypdf.PdfReader(io.BytesIO(data)).metadata)


@pytest.mark.parametrize("script", NAMES)
def test_names_of_many_scripts_are_extracted_as_they_were_given(script):
    name = NAMES[script]
    beyond = "".join(c for c in name if ord(c) not in bundled("plain").characters)
    if beyond and machine_font(beyond, font_folders()) is None:
        pytest.skip(f"this machine has no font for {script}")
    setting = set_text(name, size_pt=14)
    assert setting.missing == ""
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(400, 60))
    setting.draw(canvas, 30, 25)
    canvas.showPage()
    canvas.save()
    page = pdfium.PdfDocument(buffer.getvalue())[0]
    assert page.get_textpage().get_text_range() == name
    ink = np.asarray(page.render(scale=2).to_pil().convert("L")) < 128
    columns = np.flatnonzero(ink.any(axis=0)) / 2
    assert columns[0] == pytest.approx(30.0, abs=3.0)
    assert columns[-1] == pytest.approx(30.0 + setting.width_pt, abs=3.0)


@pytest.mark.parametrize("script", ["Greek", "Hebrew", "Japanese"])
def test_the_sheets_head_holds_the_name_in_its_script(script):
    name = NAMES[script]
    volume = named(VOLUME, patient_name=f"Quarry^Sample={name.replace(' ', '^').replace(',', '')}")
    text = pdfium.PdfDocument(sheet_pdf(case_with(ONE, volume), paper="A4"))[0]
    found = text.get_textpage().get_text_range()
    assert "Quarry, Sample" in found
    beyond = "".join(c for c in name if ord(c) not in bundled("strong").characters)
    if beyond and machine_font(beyond, font_folders()) is None:
        pytest.skip(f"this machine has no font for {script}")
    for word in name.replace(",", "").split():
        assert word in found
