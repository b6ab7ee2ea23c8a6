"""Sentences in files: said again in another language, and never believed where they do not fit."""

from __future__ import annotations

import json

import pytest

from core.words.catalogue import message, speaking
from core.words.kept import as_data, from_data, in_source
from core.words.numbers import Figure

MOVED = message(
    "things.mark.number",
    name=message("things.named.other", kind=message("things.kind.canal"), rest="2"),
    number=3,
)


def test_a_sentence_comes_back_from_a_file_as_it_was():
    again = from_data(json.loads(json.dumps(as_data(MOVED))))
    assert again == MOVED
    assert str(again) == "canal 2: mark 3"
    with speaking("de"):
        assert str(again) == "Kanal 2: Markierung 3"
        assert in_source(again) == "canal 2: mark 3"


def test_a_figure_has_the_decimal_sign_of_the_language_that_is_spoken():
    text = json.dumps(as_data(message("tools.rulers.ruler-set", name="a", mm=Figure("2.5"))))
    assert '"2.5"' in text
    again = from_data(json.loads(text))
    assert str(again) == "a: 2.5 mm"
    with speaking("de"):
        assert str(again) == "a: 2,5 mm"


@pytest.mark.parametrize(
    "data",
    [
        None,
        "things.kind.canal",
        {"key": 3, "fields": {}},
        {"key": "things.kind.canal"},
        {"key": "things.kind.canal", "fields": []},
        {"key": "a.b", "fields": {"x": [1]}},
        {"key": "a.b", "fields": {"x": {"key": 1}}},
    ],
)
def test_what_is_no_sentence_is_none(data):
    assert from_data(data) is None


def test_nesting_without_end_is_no_sentence():
    data: object = "x"
    for _ in range(50):
        data = {"key": "things.named.other", "fields": {"kind": data, "rest": "1"}}
    assert from_data(data) is None


def test_a_sentence_that_no_catalogue_knows_is_empty():
    assert in_source(message("things.none.such")) == ""
    assert in_source(message("things.mark.number", name="canal")) == ""
