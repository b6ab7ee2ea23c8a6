"""Every code has its sentence with the fields it needs, and every sentence is used."""

from __future__ import annotations

import ast
import string
from pathlib import Path

from core.words import code_rooms
from core.words.catalogue import SOURCE, catalogue_of

ROOT = Path(__file__).parents[2]
SENTENCES = {c: catalogue_of(SOURCE, room).entries[c].forms[0] for c, room in code_rooms().items()}
SPEAKERS = {
    "SoundingError", "ScanError", "PlanError", "OutputError", "KeptFileError", "Finding", "Note",
    "sentence",
}  # fmt: skip


def sources() -> list[Path]:
    paths = [p for folder in ("core", "app") for p in (ROOT / folder).rglob("*.py")]
    return [p for p in paths if "words" not in p.parent.name]


def spoken() -> list[tuple[str, str, set[str] | None]]:
    """(place, code, names of fields or None where they cannot be read) of each literal use."""
    found = []
    for path in sources():
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(node, ast.Call) or not node.args:
                continue
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            code = node.args[0]
            if name not in SPEAKERS or not isinstance(code, ast.Constant):
                continue
            place = f"{path.relative_to(ROOT)}:{node.lineno}"
            found.append((place, str(code.value), field_names(name, node)))
    return found


def field_names(speaker: str, call: ast.Call) -> set[str] | None:
    if speaker.endswith("Error"):
        names = [k.arg for k in call.keywords]
        return None if None in names else {n for n in names if n is not None}
    position = 2 if speaker == "Finding" else 1
    fields = call.args[position] if len(call.args) > position else None
    fields = next((k.value for k in call.keywords if k.arg == "fields"), fields)
    if fields is None:
        return set()
    if isinstance(fields, ast.Dict) and all(isinstance(k, ast.Constant) for k in fields.keys):
        return {str(k.value) for k in fields.keys if isinstance(k, ast.Constant)}
    return None


def placeholders(text: str) -> set[str]:
    names = {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}
    return {name.split(".")[0].split("[")[0] for name in names}


def test_every_code_has_a_sentence_with_its_fields():
    uses = spoken()
    assert uses, "the scan found no use of any code: it no longer understands the sources"
    silent = [f"{place}: {code}" for place, code, _ in uses if code not in SENTENCES]
    assert silent == []
    short = [
        f"{place}: {code} needs {sorted(placeholders(SENTENCES[code]) - fields)}"
        for place, code, fields in uses
        if fields is not None and not placeholders(SENTENCES[code]) <= fields
    ]
    assert short == []


def test_every_sentence_is_used():
    literals = {
        node.value
        for path in sources()
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }
    assert sorted(set(SENTENCES) - literals) == []


def test_sentences_read_as_sentences():
    for code, text in SENTENCES.items():
        assert " - " not in text, code
        assert text.strip() == text, code
        assert "  " not in text, code
        assert "\n" not in text, code
