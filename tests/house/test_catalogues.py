"""Text for people stands in the catalogues alone, every key is there and used, languages agree."""

from __future__ import annotations

import ast
import re
import string
from functools import cache
from pathlib import Path

import pytest

from core.pictures.ink import STROKES
from core.words import CODES as OF_CODES
from core.words.catalogue import LOCALE, SOURCE, catalogue_of, languages, rooms
from tests.house.literals import texts

ROOT = Path(__file__).parents[2]

CODES = frozenset(STROKES) | frozenset({
    "meets limit", "too near to tell", "below limit", "not assessed",
    "not near this site", "looked for, not visible", "outside the scanned region", "tooth missing",
    "cut-off field", "gap under the stent", "away from the site", "at the site", "don't know",
    "not asked", "not offered", "not confirmed", "not stated", "OSI Approved", "DFSG approved",
    "arch map", "front cut", "side cut", "left end", "right end", "not scanned", "from the scan",
    "right back", "left back", "whole arch", "front end", "which side", "stent axis", "nasal floor",
    "ridge profile", "remaining bone", "scan checks", "my sizes", "grey values", "by hand",
    "Jaw plane", "Stent axis", "Source Sans 3", "Follow canal", "proposed, not seen",
    "patient line", "Find floor", "Find root", "Find foramen", "Find lower border",
    "starts inside", "not described", "not cortex", "no inner edge", "soft tissue",
    "possible dehiscence", "possible fenestration", "open at the apex", "nothing there",
    "not closed", "touches metal", "buccal rim", "highest rim", "stent top", "bone surface",
    "reddish purple", "sky blue",
    "not measured", "upper bound", "at least", "platform to neighbour", "apex to canal",
    "drill to the apex", "platform below bone", "gum over the buccal rim", "gum margin",
    "enamel border", "{}/clearance/bone surface/apical/tip", "{}/clearance/bone surface/{}",
    "{}/depth/drill/buccal rim", "signed off", "not signed", "common practice", "reason removed",
    "6 or more", "person {}", "days {}", "uid {}", "patient {}", "Plan of a case",
    "Points are in patient space (DICOM LPS), mm.",
    "pdf object", "key pictures", "chart {}", "plan {}", " UTC{}", "Procedure reported",
    "Tracking Identifier", "/Artifact BMC",
    "/{} <</MCID {}>> BDC",
})  # fmt: skip
"""Values that files or rooms hand to each other and that happen to read as words."""

FOR_MACHINES = {
    "app/cli/completion.py", "app/__main__.py", "core/sheet/archive_object.py",
    "core/sheet/colour_profile.py", "core/sheet/concepts.py", "core/sheet/encapsulated.py",
    "core/sheet/invisible_text.py", "core/sheet/key_pictures.py",
    "core/sheet/mesh.py", "core/sheet/mesh_files.py", "core/sheet/schemas.py",
    "core/sheet/structured_report.py", "core/sheet/study.py",
}  # fmt: skip
"""Scripts for shells; what is told before anything of the program may be loaded; and what stands
in objects of the archive and in files for other programs, in one language for good."""

WAITING = 0.02
"""So many sentences may wait for their translator; until then they stand in English."""

TABLES = {"columns", "glossary", "patient"}
"""Rooms that are read as a whole, by `core.words.catalogue.table`."""

SAYING = {"say", "message"}


@cache
def trees() -> dict[str, ast.Module]:
    paths = [p for folder in ("core", "app") for p in sorted((ROOT / folder).rglob("*.py"))]
    return {str(p.relative_to(ROOT)): ast.parse(p.read_text("utf-8")) for p in paths}


def entries(language: str) -> dict[str, tuple[str, ...]]:
    return {
        key: entry.forms
        for room in rooms(language)
        for key, entry in catalogue_of(language, room).entries.items()
    }


def calls() -> list[tuple[str, str, set[str] | None]]:
    """(place, key, names of the fields or None where they cannot be read) of each sentence said."""
    found = []
    for name, tree in trees().items():
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call) or not node.args:
                continue
            key = node.args[0]
            if not is_said(node) or not isinstance(key, ast.Constant):
                continue
            fields = {k.arg for k in node.keywords if k.arg is not None}
            whole = all(k.arg is not None for k in node.keywords)
            found.append((f"{name}:{node.lineno}", str(key.value), fields if whole else None))
    return found


def field_names(text: str) -> set[str]:
    names = {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}
    return {re.split(r"[.\[]", name)[0] for name in names}


def test_no_text_for_people_stands_outside_the_catalogues():
    found = {
        f"{name}:{line}: {text[:60]!r}"
        for name, tree in trees().items()
        if name not in FOR_MACHINES
        for line, text in texts(tree, CODES)
    }
    assert sorted(found) == []


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("QLabel('Open a scan')", True),
        ("QPushButton('Cancel')", True),
        ("heading = 'Settings'", True),
        ("f'{a} is not {b}'", True),
        ("f'written: {path}'", True),
        ("x = {'a': 'the bone'}", True),
        ("f'root-{tooth}'", False),
        ("f'{a} mm'", False),
        ("raise ValueError('not so good')", False),
        ("'''What it is for.'''", False),
        ("a.setObjectName('quiet')", False),
        ("say('guide.bar.next', n=1)", False),
        ("if a == 'meets limit': pass", False),
        ("x: Literal['soft tissue', 'bone']", False),
        ("a.setStyleSheet('QLabel { color: red; }')", False),
    ],
)
def test_what_people_read_is_told_from_what_they_do_not(source, found):
    assert any(texts(ast.parse(source), CODES)) is found


def test_every_key_that_is_said_is_there_with_its_fields():
    known = entries(SOURCE)
    said = calls()
    assert said, "no use of any key was found: the sources are no longer understood"
    assert [f"{place}: {key}" for place, key, _ in said if key not in known] == []
    short = [
        f"{place}: {key} needs {sorted(field_names(text) - fields)}"
        for place, key, fields in said
        if fields is not None
        for text in known[key]
        if not field_names(text) <= fields
    ]
    assert short == []
    idle = [
        f"{place}: {key} has no use for {sorted(unused)}"
        for place, key, fields in said
        if (unused := (fields or set()) - set().union(*map(field_names, known[key])) - {"count"})
    ]
    assert idle == []


def test_every_key_that_is_there_is_said():
    literals = {
        node.value
        for tree in trees().values()
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }
    whole = {key for room in TABLES for key in catalogue_of(SOURCE, room).entries}
    assert sorted(set(entries(SOURCE)) - literals - whole) == []


def test_no_sentence_is_glued_from_pieces():
    glued = []
    for name, tree in trees().items():
        for node in ast.walk(tree):
            sides = [node.left, node.right] if isinstance(node, ast.BinOp) else []
            glued += [f"{name}:{node.lineno}" for side in sides if is_said(side)]
    assert sorted(glued) == []
    loose = [
        f"{language}: {key}"
        for language in languages()
        for key, forms in entries(language).items()
        for text in forms
        if text != text.strip() or "  " in text
    ]
    assert loose == []


def is_said(node: ast.AST) -> bool:
    return isinstance(node, ast.Call) and getattr(node.func, "id", "") in SAYING


@pytest.mark.parametrize("language", languages())
def test_a_room_of_a_language_reads_and_names_its_own_keys(language):
    for room in rooms(language):
        for key in catalogue_of(language, room).entries:
            assert room.startswith(OF_CODES) or key.partition(".")[0] == room, key


@pytest.mark.parametrize("language", [c for c in languages() if c != SOURCE])
def test_a_translation_is_whole_and_its_fields_agree(language):
    source, other = entries(SOURCE), entries(language)
    moved = {room for room in rooms(SOURCE) if (LOCALE / language / f"{room}.po").exists()}
    assert moved, language
    wanted = {key for room in moved for key in catalogue_of(SOURCE, room).entries}
    assert len(wanted - set(other)) <= WAITING * len(wanted), sorted(wanted - set(other))
    assert sorted(set(other) - set(source)) == []
    wrong = [
        key
        for key, forms in other.items()
        if set().union(*map(field_names, forms)) != set().union(*map(field_names, source[key]))
        or (len(forms) > 1) != (len(source[key]) > 1)
    ]
    assert wrong == []


def test_what_rooms_hand_to_each_other_is_never_said():
    wrong = [
        f"{name}:{node.value.lineno}"
        for name, tree in trees().items()
        for node in ast.walk(tree)
        if isinstance(node, ast.keyword) and node.arg in {"style", "kind", "code"}
        if isinstance(node.value, ast.Call) and is_said(node.value)
    ]
    assert wrong == []


def test_what_is_done_to_a_case_is_handed_on_unsaid():
    """The history keeps its key: what were said here would stay in the language of this moment."""
    said = [
        f"{name}:{node.lineno}"
        for name, tree in trees().items()
        if name.startswith("app/")
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.args
        if node.func.attr == "do"
        or (node.func.attr in {"apply", "commit"} and "session" in ast.unparse(node.func.value))
        if isinstance(node.args[0], ast.JoinedStr)
        or getattr(getattr(node.args[0], "func", None), "id", "") == "say"
    ]
    assert said == []
