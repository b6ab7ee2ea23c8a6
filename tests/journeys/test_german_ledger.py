"""A ledger of the sample scans said in German: no sentence of it is English, and its files are."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest

from core.identity import thing_words
from core.measuring.assemble import run_case
from core.measuring.row_names import row_words, undercut_words
from core.sheet.csv_table import ledger_csv
from core.words import catalogue
from core.words.catalogue import SOURCE, Message, speaking
from core.words.values import capitalised

ROOT = Path(__file__).parents[2] / "sample_volumes"
CASES = (
    "lower_left_36", "lower_left_36_wrong", "upper_right_15", "upper_right_15_wrong",
)  # fmt: skip
THE_SAME = re.compile(r"(?:sources|trust)\.|values\.side\.|things\.kind\.foramen")
"""Keys whose text may be the same in both languages: authors and journals, Latin names."""


@cache
def measured(name):
    return run_case(str(ROOT / f"{name}.plan.json"), str(ROOT / name.removesuffix("_wrong")))


def everything_said(ledger):
    """All that a screen may say of a ledger, in the language of this moment."""
    jaw = ledger.plan.known_jaw
    said = [ledger.summary, *(f.message for f in ledger.findings)]
    for row in ledger.measurements:
        said += [row_words(row, jaw=jaw), undercut_words(row), str(row.details.of)]
        said += [note.message for note in row.reading.notes]
        said += [str(term.source) for term in (row.budget.terms if row.budget else ())]
        said += [str(row.limit.source)] if row.limit is not None else []
    return said


@pytest.mark.parametrize("name", CASES)
def test_every_sentence_of_it_comes_from_the_german_catalogues(name, monkeypatch):
    ledger = measured(name)
    taken = []
    found = catalogue.catalogue_of

    def noted(of, room):
        if of == SOURCE and room != "numbers":
            taken.append(room)
        return found(of, room)

    monkeypatch.setattr(catalogue, "catalogue_of", noted)
    with speaking("de"):
        said = everything_said(ledger)
    assert taken == [], "said in English for want of a German text"
    assert len(said) > 100


@pytest.mark.parametrize("name", CASES)
def test_no_text_of_it_is_the_same_in_both_languages(name):
    """What no catalogue holds would read alike in both."""
    ledger = measured(name)
    english = everything_said(ledger)
    with speaking("de"):
        german = everything_said(ledger)
    known = set()
    for room in catalogue.rooms(SOURCE):
        german_of = catalogue.catalogue_of("de", room).entries
        for key, entry in catalogue.catalogue_of(SOURCE, room).entries.items():
            (text, *_), (other, *_) = entry.forms, german_of.get(key, entry).forms
            if THE_SAME.match(key) and text.lower() == other.lower():
                known |= {text, capitalised(text)}
    alike = {e for e, g in zip(english, german, strict=True) if e == g and re.search("[a-z]{3}", e)}
    assert alike - known - _codes(ledger) - _names(ledger) == set()


@pytest.mark.parametrize("name", CASES)
def test_every_figure_of_its_findings_has_the_german_sign(name):
    findings = measured(name).findings
    english = [f.message for f in findings]
    with speaking("de"):
        german = [f.message for f in findings]
    figure = re.compile(r"(?<![\d.])\d+\.\d+(?![\d.])")
    assert [text for text in german if figure.search(text)] == []
    if name == "lower_left_36_wrong":
        assert any(figure.search(text) for text in english)


def _codes(ledger):
    """Details that are codes, whose words `row_words` says."""
    return {row.details.of for row in ledger.measurements if isinstance(row.details.of, str)}


def _names(ledger):
    """What a person called a thing is said as they called it."""
    given = (s.id for s in ledger.plan.structures if not isinstance(thing_words(s.id), Message))
    return {capitalised(thing_words(name)) for name in given}


@pytest.mark.parametrize("name", CASES[:1])
def test_its_files_are_the_same_in_every_language(name):
    ledger = measured(name)
    english = ledger.to_json(), ledger_csv(ledger, signed=False)
    with speaking("de"):
        assert (ledger.to_json(), ledger_csv(ledger, signed=False)) == english
