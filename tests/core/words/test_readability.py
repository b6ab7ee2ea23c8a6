"""What people read asks for no more years of school than they have: a published formula counts."""

from __future__ import annotations

import pytest

from core.words.catalogue import SOURCE, catalogue_of
from core.words.patient import PATIENT
from tests.core.words.readability import grade, syllables

PATIENT_MOST, DIALOG_MOST = 6.0, 9.0


def said() -> dict[str, str]:
    """The whole sentences of dialogs and of the guided case, the help apart."""
    found = {
        key: text
        for room in ("dialogs", "guide")
        for key, entry in catalogue_of(SOURCE, room).entries.items()
        if not key.startswith("dialogs.help.topics")
        for text in entry.forms
    }
    return {k: t for k, t in found.items() if t.count(" ") > 3 and t[0].isupper() and t[-1] in ".?"}


def test_the_formula_gives_what_is_reckoned_by_hand():
    # 13 words, 2 sentences, 18 syllables: 0.39 x 13 / 2 + 11.8 x 18 / 13 - 15.59.
    text = "The dentist measures the bone. The drill stops two fingers above the canal."
    assert grade(text) == pytest.approx(3.283, abs=0.001)
    heard = {"bone": 1, "implant": 2, "measured": 2, "patient": 2, "radiograph": 4, "table": 2}
    assert {word: syllables(word) for word in heard} == heard


def test_telegrams_and_long_words_are_noticed():
    hard = "Interpretation of volumetric acquisitions necessitates radiological qualification."
    assert grade(hard) > 2 * DIALOG_MOST


def test_the_patients_page_is_read_after_six_years_of_school():
    sentences = [text for text in PATIENT.values() if text[-1] in ".?"]
    assert len(sentences) > 15
    assert grade(" ".join(sentences)) <= PATIENT_MOST
    for text in sentences:
        assert grade(text) <= PATIENT_MOST, text


@pytest.mark.parametrize("key", said())
def test_sentences_of_dialogs_are_read_after_nine(key):
    assert grade(said()[key]) <= DIALOG_MOST


def test_dialogs_hold_sentences():
    assert len(said()) > 40
