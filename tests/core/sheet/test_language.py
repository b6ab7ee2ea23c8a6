"""Pages in another language are whole in it; files for other programs are the same in each."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import pypdfium2
import pytest

from core.sheet.folder import settled_case, write_folder
from core.sheet.patient_words import patient_words
from core.sheet.pdf import laid_out
from core.sheet.record import RecordSettings
from core.trust.figures import plain
from core.words.catalogue import catalogue_of, languages, speak, speaking
from core.words.numbers import date_words
from core.words.pseudo import PSEUDO
from tests.core.sheet.test_measured_parts import case_for
from tests.core.sheet.test_pages import check_boxes
from tests.sheet_material import IDENTITY, fixture_at, ledger_of, plan_with, round_jaw

CT = "1.2.840.10008.5.1.4.1.1.2"
WHOLE = replace(IDENTITY, sop_instances=((CT, "2.25.11"),))
PLAN = plan_with(fixture_at(20.0, "36"))
CASE = (
    PLAN,
    replace(round_jaw(voxel_mm=1.5), identity=WHOLE),
    replace(
        ledger_of(PLAN, identity=WHOLE, unmarked=False), plan_fingerprint="sha256:0123456789abcdef"
    ),
)
ROOMS = ("sheet", "drilling", "sizes", "pictures", "cautions", "patient")
"""Whose texts stand on pages."""

SHORTEST = 12
"""A shorter text may stand in a longer word of another language."""


@pytest.fixture(scope="module")
def sets(tmp_path_factory):
    """The whole set of a case in each language, the patient's page in the same."""
    found = {}
    for language in languages():
        folder = tmp_path_factory.mktemp(language)
        settings = RecordSettings(language=language, patient_language=language)
        write_folder(*CASE, folder, settings=settings)
        found[language] = {path.name: path.read_bytes() for path in folder.iterdir()}
    return found


def words(pdf: bytes) -> str:
    pages = pypdfium2.PdfDocument(io.BytesIO(pdf))
    text = " ".join(page.get_textpage().get_text_range() for page in pages)
    return re.sub(r"\s+", " ", text)


def texts(language: str) -> dict[str, str]:
    """Texts of a language by their keys that stand on pages as they are."""
    return {
        key: entry.forms[0]
        for room in ROOMS
        for key, entry in catalogue_of(language, room).entries.items()
        if "{" not in entry.forms[0]
    }


@pytest.mark.parametrize("language", [code for code in languages() if code != "en"])
def test_a_translated_page_says_nothing_of_this_house_in_english(sets, language):
    english, other = texts("en"), texts(language)
    told = " ".join(words(data) for name, data in sets[language].items() if name.endswith(".pdf"))
    left = {
        key: text
        for key, text in english.items()
        if len(text) >= SHORTEST and other.get(key) != text and text in told
    }
    assert left == {}
    said = [key for key, text in other.items() if len(text) >= SHORTEST and text in told]
    assert len(said) > 60


@pytest.mark.parametrize("language", languages())
def test_files_for_other_programs_are_the_same_in_every_language(sets, language):
    with_pages = {"sheet.dcm", "basis.dcm"} | {
        name for name in sets["en"] if name.startswith("key-")
    }
    for name, data in sets["en"].items():
        if not name.endswith((".pdf", ".png")) and name not in with_pages:
            assert sets[language][name] == data, name


def test_the_screens_language_changes_no_file(sets, tmp_path):
    speak("de")
    try:
        write_folder(*CASE, tmp_path)
    finally:
        speak("en")
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == sets["en"]


def test_the_patients_page_has_a_language_of_its_own(tmp_path):
    settings = RecordSettings(language="en", patient_language="de")
    write_folder(*CASE, tmp_path, ("sheet", "patient"), settings)
    assert "Ihr geplantes Implantat" in words((tmp_path / "patient.pdf").read_bytes())
    assert "Measurement sheet" in words((tmp_path / "sheet.pdf").read_bytes())
    settings = RecordSettings(language="de")
    write_folder(*CASE, tmp_path, ("patient",), settings)
    assert "Ihr geplantes Implantat" in words((tmp_path / "patient.pdf").read_bytes())


@pytest.mark.parametrize("language", [PSEUDO, *(code for code in languages() if code != "en")])
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_longer_words_stay_on_the_page_and_off_each_other(language, paper):
    with speaking(language):
        case = settled_case(*CASE, settings=RecordSettings(paper=paper))
        check_boxes(laid_out(case, paper=paper), case)
        measured = case_for("met")
        check_boxes(laid_out(measured, paper=paper), measured)


def test_a_figure_takes_the_sign_of_the_language_only_where_it_is_shown():
    figure = plain(4.5)
    with speaking("de"):
        assert f"{figure} mm" == "4,5 mm"
        assert (figure, str(figure)) == ("4.5", "4.5")
    assert f"{figure} mm" == "4.5 mm"


def test_dates_stand_in_the_order_of_the_language():
    made = "2026-11-24T10:00:00+00:00"
    with speaking("de"):
        assert date_words("2026-11-25T13:19") == "25.11.2026"
        assert patient_words(IDENTITY, made).birth == "geboren 02.04.1961"
        assert date_words("unknown") == "unknown"
    assert patient_words(IDENTITY, made).birth == "born 1961-04-02"
