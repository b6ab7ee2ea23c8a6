"""Whose sheet it is: DICOM person names (PS3.5 6.2.1.2) and the scan's age."""

from __future__ import annotations

import pytest

from core.image.volume import ScanIdentity
from core.plans.case_checks import case_findings
from core.plans.plan import Plan
from core.sheet.patient_words import patient_words, printable_name
from core.sheet.text import set_text

MADE = "2026-11-24T10:00:00+00:00"


@pytest.mark.parametrize(
    ("dicom", "printed"),
    [
        ("QUARRY^Sample", "QUARRY, Sample"),
        ("Quarry^Sample^Middle^Dr^", "Quarry, Sample Middle Dr"),
        ("QUARRY", "QUARRY"),
        ("^Sample", "Sample"),
        ("Щукина^Вера", "Щукина, Вера"),
    ],
)
def test_names_in_words(dicom, printed):
    assert printable_name(dicom) == (printed, None)


def test_a_scan_without_a_name_says_so():
    name, finding = printable_name("")
    assert name == ""
    assert finding.code == "name-missing"
    assert patient_words(ScanIdentity(), MADE).name == "name: not in the scan"
    assert "chart" in finding.message


@pytest.fixture
def no_fonts(monkeypatch):
    monkeypatch.setattr(
        "core.sheet.patient_words.set_text",
        lambda text, *, size_pt: set_text(text, size_pt=size_pt, folders=()),
    )


def test_without_a_font_the_latin_spelling_stands_in(no_fonts):
    name, finding = printable_name("Yamada^Tarou=山田^太郎=やまだ^たろう")
    assert name == "Yamada, Tarou"
    assert finding.code == "name-in-latin"
    assert "U+5C71" in finding.message


def test_without_font_and_latin_spelling_the_codes_stand_in_clear(no_fonts):
    name, finding = printable_name("=山田^太郎")
    assert name == "山田 太郎"  # set_text puts the codes in clear, see test_text
    assert finding.code == "name-in-codes"
    assert finding.severity == "caution"


@pytest.mark.parametrize(
    ("scanned", "age"),
    [
        ("2026-11-24", "0 days old"),
        ("2026-11-23", "1 day old"),
        ("2026-09-14", "2 months old"),
        ("2026-09-30", "55 days old"),
        ("2023-11-25", "35 months old"),
        ("2016-11-24", "120 months old"),
        ("2026-12-01", "check the clock"),
    ],
)
def test_age_of_the_scan(scanned, age):
    assert age in patient_words(ScanIdentity(study_date=scanned), MADE).scanned


def test_a_scan_has_one_age_wherever_it_is_told():
    identity = ScanIdentity(study_date="2024-01-05")
    (old, *_) = case_findings(Plan(), identity, made_at=MADE)
    assert old.code == "scan-old"
    assert "34 months old" in old.message
    assert "34 months old" in patient_words(identity, MADE).scanned


def test_what_the_header_holds_is_printed_where_it_is_no_date():
    assert patient_words(ScanIdentity(study_date="last week"), MADE).scanned == "scanned last week"
    assert patient_words(ScanIdentity(), MADE).scanned == "scan date: not in the scan"
