"""Reads gettext's plain text files (`.po`), as much of them as the catalogues need."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

_LINE = re.compile(r'(?:(msgid_plural|msgid|msgstr(?:\[\d+\])?)\s+)?"((?:[^"\\]|\\.)*)"')
_ESCAPES = {"n": "\n", "t": "\t", '"': '"', "\\": "\\"}


@dataclass(frozen=True, slots=True)
class Entry:
    """One sentence.

    Parameters
    ----------
    forms : tuple of str
        One, or one for each plural form.
    comment : str
        What the file says about it to the translator (lines that begin with ``#.``).
    """

    forms: tuple[str, ...]
    comment: str = ""


def read_po(text: str) -> tuple[Mapping[str, str], Mapping[str, Entry]]:
    """Header and entries of a file.

    Parameters
    ----------
    text : str

    Returns
    -------
    header : mapping of str to str
        ``Language``, ``Plural-Forms`` ...
    entries : mapping of str to Entry
        By msgid, in the order of the file; those marked as fuzzy too.

    Raises
    ------
    ValueError
        With the number of a line that is no part of a `.po` file, or says a msgid twice.
    """
    entries: dict[str, Entry] = {}
    for number, block in _blocks(text):
        parts, comment = _parts(block, number)
        if "msgid" not in parts:
            continue
        if parts["msgid"] in entries:
            raise ValueError(f"line {number}: {parts['msgid']!r} stands twice")
        forms = tuple(parts[name] for name in sorted(parts, key=_order) if "msgstr" in name)
        entries[parts["msgid"]] = Entry(forms, comment)
    head = entries.pop("", Entry(("",)))
    lines = [line.partition(":") for line in head.forms[0].splitlines()]
    return {name: value.strip() for name, _, value in lines}, entries


def _order(name: str) -> int:
    return int(re.sub(r"\D", "", name) or 0)


def _blocks(text: str) -> list[tuple[int, list[str]]]:
    """Entries as their lines, with the number of the first; they stand apart by empty lines."""
    blocks: list[tuple[int, list[str]]] = []
    fresh = True
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            fresh = True
            continue
        if fresh:
            blocks.append((number, []))
            fresh = False
        blocks[-1][1].append(line.strip())
    return blocks


def _parts(lines: list[str], first: int) -> tuple[dict[str, str], str]:
    parts: dict[str, str] = {}
    told: list[str] = []
    name = ""
    for number, line in enumerate(lines, start=first):
        if line.startswith("#"):
            if line.startswith("#."):
                told.append(line[2:].strip())
            continue
        match = _LINE.fullmatch(line)
        if match is None or not (match[1] or name):
            raise ValueError(f"line {number} is no part of a .po file: {line!r}")
        name = match[1] or name
        if match[1] in parts:
            raise ValueError(f"line {number}: {name} stands twice")
        parts[name] = parts.get(name, "") + _plain(match[2])
    return parts, " ".join(told)


def _plain(text: str) -> str:
    return re.sub(r"\\(.)", lambda m: _ESCAPES.get(m[1], m[1]), text)
