"""Text for every script: set, wrapped, fitted, and never silently dropped."""

from __future__ import annotations

import io

import pypdfium2 as pdfium
import pytest
from reportlab.pdfgen.canvas import Canvas

from core.sheet.fonts_found import bundled, font_folders, machine_font
from core.sheet.text import code_point, fitted, set_text, wrapped

UNASSIGNED = "\U0003fff0"


def extracted(setting):
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(500, 60))
    setting.draw(canvas, 20, 30)
    canvas.showPage()
    canvas.save()
    document = pdfium.PdfDocument(buffer.getvalue())
    return document[0].get_textpage().get_text_range()


@pytest.mark.parametrize("face", ["plain", "strong", "slant"])
def test_bundled_font_has_the_letters_and_signs_that_the_sheet_needs(face):
    needed = "≥≈<?±·×Ø°–—’“”…µ−½ŁłŐőŞşĞğ ΑΩαωάώ АЯаяЁёҐґЇї ẠạẾếỄễỮữỰựƠơ 0123456789"
    missing = [c for c in needed if ord(c) not in bundled(face).characters]
    assert missing == []


def test_bundled_font_may_be_embedded_and_passed_on():
    # OpenType OS/2 fsType 0: installable embedding; licence beside the files.
    from fontTools.ttLib import TTFont

    from core.sheet.fonts_found import bundled_path

    path = bundled_path("plain")
    assert TTFont(str(path))["OS/2"].fsType == 0
    assert "SIL OPEN FONT LICENSE" in (path.parent / "OFL.txt").read_text()


def test_a_character_without_glyph_stands_as_its_code_point():
    setting = set_text(f"Quarry {UNASSIGNED}", size_pt=10, folders=())
    assert setting.missing == UNASSIGNED
    assert setting.text == "Quarry [U+3FFF0]"
    assert extracted(setting) == "Quarry [U+3FFF0]"


def test_scripts_beyond_the_bundled_font_need_a_font_of_the_machine():
    setting = set_text("山田", size_pt=10, folders=())
    assert setting.missing == "山田"
    assert setting.text == "[U+5C71][U+7530]"
    assert code_point("山") == "[U+5C71]"


def test_decomposed_letters_are_set_composed():
    assert set_text("A\u030angstro\u0308m", size_pt=10).text == "Ångström"


def test_control_characters_do_not_reach_the_paper():
    assert set_text("a\nb\tc\x00", size_pt=10).text == "a b c "


def test_fitted_text_is_smaller_but_whole():
    long = "W" * 64
    setting = fitted(long, 100.0, size_pt=14)
    assert setting.text == long
    assert setting.width_pt <= 100.0
    assert fitted("short", 100.0, size_pt=14).size_pt == 14


def test_below_the_least_size_the_middle_gives_way_and_both_ends_stay():
    name = "Pilot drill with a very long name of its maker, 2.2 mm"
    setting = fitted(name, 100.0, size_pt=9, least_pt=6.5)
    start, end = setting.text.split("…")
    assert setting.size_pt == 6.5
    assert setting.width_pt <= 100.0
    assert name.startswith(start)
    assert name.endswith(end)
    assert end.endswith("2.2 mm")
    assert len(start) > 8
    longer = fitted(name, 110.0, size_pt=9, least_pt=6.5).text
    assert len(longer) >= len(setting.text) > 20
    assert fitted("short", 100.0, size_pt=9, least_pt=6.5).text == "short"
    small = fitted("W" * 64, 100.0, size_pt=5, least_pt=6.5)
    assert small.size_pt == 5
    assert "…" in small.text


@pytest.mark.parametrize("text", ["one two three " * 12, "W" * 200, "a " + "x" * 90 + " b"])
def test_wrapped_lines_fit_and_lose_nothing(text):
    lines = wrapped(text, 120.0, size_pt=9)
    assert all(line.width_pt <= 120.0 for line in lines)
    assert "".join(line.text for line in lines).replace(" ", "") == text.replace(" ", "")


def test_right_to_left_words_run_from_the_right():
    folders = font_folders()
    if machine_font("שלום", folders) is None:
        pytest.skip("this machine has no Hebrew font")
    setting = set_text("שלום", size_pt=10)
    first = next(u for u in setting.under if u.text == "ש")
    last = next(u for u in setting.under if u.text == "ם")
    assert first.x_em > last.x_em
