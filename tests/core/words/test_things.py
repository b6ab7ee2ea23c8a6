"""What is marked is called by its name in words wherever a person reads of it, never by its id."""

import ast
from pathlib import Path

import pytest

from core.identity import thing_words
from core.measurement import Note
from core.words.catalogue import SOURCE, catalogue_of

MEASURING = catalogue_of(SOURCE, "codes-measuring").entries
ROOT = Path(__file__).parents[3]


@pytest.mark.parametrize(
    ("thing_id", "words"),
    [
        ("canal-left", "canal left"),
        ("canal-left-2", "canal left 2"),
        ("root-35", "root of 35"),
        ("sinus-right", "sinus floor right"),
        ("nasal-floor", "nasal floor"),
        ("border", "lower border"),
        ("existing-46", "existing implant or metal 46"),
        ("stent-axis-1", "stent axis 1"),
        ("channel-36", "stent axis 36"),
        # Named by a person: as they named it, even where it begins like a kind.
        ("borderline-thing", "borderline thing"),
        ("nerve-of-tooth", "nerve of tooth"),
    ],
)
def test_ids_in_words(thing_id, words):
    assert str(thing_words(thing_id)) == words


def test_no_remark_names_a_thing_by_its_id():
    """A sentence has the thing that it is about in its field *id*; a note turns it to words."""
    about = [code for code, e in MEASURING.items() if "{id}" in e.forms[0]]
    assert "traced_too_short" in about
    for code in about:
        more = {"side": "mesial", "marks": 3, "short": "2.4"}
        message = Note(code, {"id": "canal-left", **more}).message
        assert "canal left" in message.lower(), code
        assert "canal-left" not in message, code
        assert message[0].isupper(), code


def test_no_note_is_made_with_an_id_in_another_field():
    """Where the sources hand an id to a note, they hand it over as *id*."""
    wrong = []
    for path in (ROOT / "core").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not (isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Note"):
                continue
            for fields in (a for a in node.args[1:] if isinstance(a, ast.Dict)):
                for key, value in zip(fields.keys, fields.values, strict=True):
                    is_id = isinstance(value, ast.Attribute) and value.attr == "id"
                    if is_id and getattr(key, "value", "") != "id":
                        wrong.append(f"{path.name}:{node.lineno}")
    assert wrong == []
