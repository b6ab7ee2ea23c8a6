"""The patient's page: how hard it is to read, what it says, and the practice's own text."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import pypdf
import pytest

from core.errors import OutputError
from core.plans.plan import SideCheck
from core.sheet.case import case_of
from core.sheet.patient_page import page_texts, patient_page, read_risks
from core.words.catalogue import sentences_of
from core.words.patient import PATIENT
from tests.sheet_material import fixture_at, ledger_of, named, plan_with, round_jaw

HARDEST_GRADE = 7.0
"""Reading age about 12: a school grade of 6 to 7 (age less five or six)."""


def syllables(word):
    """Groups of vowels; a silent e at the end does not count, a lone syllable always does."""
    word = word.lower()
    groups = re.findall(r"[aeiouy]+", word)
    count = len(groups)
    if word.endswith("e") and not word.endswith(("le", "ee")) and count > 1:
        count -= 1
    return max(count, 1)


def grade(texts):
    """Flesch-Kincaid grade level: 0.39 words a sentence + 11.8 syllables a word - 15.59.

    Kincaid, Fishburne, Rogers, Chissom 1975, Navy Research Branch Report 8-75.
    """
    text = " ".join(texts)
    sentences = [s for s in re.split(r"[.!?]+", re.sub(r"(?<=\d)\.(?=\d)", "", text)) if s.strip()]
    words = re.findall(r"[A-Za-z][A-Za-z'’-]*", text)
    total = sum(syllables(w) for w in words)
    return 0.39 * len(words) / len(sentences) + 11.8 * total / len(words) - 15.59


@pytest.mark.parametrize(
    ("word", "count"),
    [("the", 1), ("implant", 2), ("bone", 1), ("little", 2), ("dentist", 2), ("area", 2),
     ("picture", 2), ("numbers", 2), ("off", 1)],
)  # fmt: skip
def test_syllables_are_counted(word, count):
    assert syllables(word) == count


def test_the_formula_tells_hard_from_easy():
    assert grade(["The cat sat on the mat."]) < 1
    hard = "Radiographic interpretation necessitates considerable anatomical expertise."
    assert grade([hard]) > 15


def case(*fixtures, volume=None, **more):
    plan = plan_with(*fixtures, **more)
    volume = volume or round_jaw(voxel_mm=2.0)
    ledger = ledger_of(plan, identity=volume.identity)
    return case_of(plan, volume, ledger, without_viewing=True, window=(-200, 1500))


def words_of(pdf):
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    assert len(reader.pages) == 1
    return " ".join(reader.pages[0].extract_text().split())


def test_a_twelve_year_old_can_read_it():
    shown = case(fixture_at(20.0, "36"))
    fixed = [
        text if text.endswith((".", "?")) else f"{text}."
        for key, text in PATIENT.items()
        if not key.startswith(("jaw_", "side_", "tooth_", "plan_one", "implant", "more", "scan"))
        and " " in text
    ]
    texts = fixed + page_texts(shown, PATIENT, shown.subjects[0])
    assert grade(texts) <= HARDEST_GRADE
    for text in texts:
        for sentence in re.split(r"(?<=[.?!]) ", text):
            assert len(sentence.split()) <= 20, sentence


def test_the_page_says_which_side_and_that_it_replaces_nothing():
    right = SideCheck(side="right", against="chart", by="LM")
    plan = replace(plan_with(fixture_at(160.0, "46")), side_check=right)
    volume = round_jaw(voxel_mm=2.0)
    shown = case_of(plan, volume, ledger_of(plan), without_viewing=True, window=(0, 1))
    text = words_of(patient_page(shown))
    assert "lower jaw, on your right side" in text
    assert "number 46, the first large back tooth" in text
    assert "8.0 mm long and 4.0 mm wide" in text
    assert "This page does not replace talking with your dentist." in text
    assert "has not signed" in text
    assert text.count("A picture of your jaw") == 1


def test_the_page_names_what_lies_in_its_own_jaw():
    lower = words_of(patient_page(case(fixture_at(20.0, "36"))))
    upper = words_of(patient_page(case(fixture_at(20.0, "26"), jaw="upper")))
    unknown = words_of(patient_page(case(fixture_at(20.0, ""), jaw=None)))
    for words in ("nerve in the lower jaw", "from the nerve"):
        assert words in lower
        assert words not in upper
    for words in ("floor of the nose or of the sinus", "from the sinus, the nose"):
        assert words in upper
        assert words not in lower
    assert "nerve in the lower jaw" in unknown
    assert "floor of the nose or of the sinus" in unknown


def test_left_and_right_that_disagree_are_said_and_no_side_is_named():
    text = words_of(patient_page(case(fixture_at(20.0, "46"))))
    assert "Do not use this page. Left and right do not agree" in text
    assert "on your right side" not in text


def test_the_risks_are_the_practices_own(tmp_path):
    file = tmp_path / "risks.txt"
    file.write_text("Bleeding for a day.\nNumb lip.", "utf-8")
    text = words_of(patient_page(case(fixture_at(20.0, "36")), risks=read_risks(file)))
    assert "Bleeding for a day. Numb lip." in text
    assert PATIENT["risk_none"] not in text


@pytest.mark.parametrize("content", [b"", b"  \n", b"\xff\xfe\x00", b"x" * 2001])
def test_an_unusable_text_is_refused(tmp_path, content):
    file = tmp_path / "risks.txt"
    file.write_bytes(content)
    for path in (file, tmp_path / "none.txt", tmp_path):
        with pytest.raises(OutputError) as refusal:
            read_risks(path)
        assert refusal.value.code == "risk-text"
        assert len(sentences_of(str(refusal.value))) > 1


def test_what_does_not_fit_is_refused_not_cut():
    with pytest.raises(OutputError) as refusal:
        patient_page(case(fixture_at(20.0, "36")), risks="line\n" * 300)
    assert refusal.value.code == "page-too-long"


def test_a_translation_must_be_whole_and_keep_its_fields():
    words = {key: f"ñ {text}" for key, text in PATIENT.items()}
    text = words_of(patient_page(case(fixture_at(20.0, "36")), words=words))
    assert "ñ Your planned implant" in text
    for broken in ({**words, "scan": ""}, {**words, "implant": "{height} mm"},
                   {k: v for k, v in words.items() if k != "title"}):  # fmt: skip
        with pytest.raises(OutputError) as refusal:
            patient_page(case(fixture_at(20.0, "36")), words=broken)
        assert refusal.value.code == "page-word-missing"


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["山田^太郎", "Sesquipedalian" * 8 + "^W" * 40, ""])
def test_long_and_foreign_names_stay_on_one_page(paper, name):
    volume = named(round_jaw(voxel_mm=2.0), patient_name=name)
    fixtures = [fixture_at(a, "36") for a in range(10, 130, 10)]
    many = [replace(f, id=f"f{n}") for n, f in enumerate(fixtures)]
    assert words_of(patient_page(case(*many, volume=volume), paper=paper))


def test_nothing_planned_no_page():
    assert patient_page(case()) is None
