"""The one place of sentences: a code plus fields becomes text for people.

Every finding, error, note and verdict is a code. Its sentence stands under that code in one of
the files ``locale/<language>/codes-<subject>.po``; every other text under a key of
`core.words.catalogue`. So a translation replaces files and no code.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import lru_cache
from types import MappingProxyType

from core.words.catalogue import SOURCE, Message, catalogue_of, form_of, rooms, said
from core.words.values import capitalised, in_words

CODES = "codes-"
"""What the names of the files begin with that hold sentences of codes."""

_STARTS = re.compile(r"\{(\w+)")


def sentence(code: str, fields: Mapping[str, object] | None = None) -> str:
    """Return the sentence of a code with its fields filled in, in the language that is spoken.

    Parameters
    ----------
    code : str
        Msgid in one of the files.
    fields : mapping, optional
        Values for the sentence's ``{names}``; what `core.words.values` knows by a code is said in
        words.

    Raises
    ------
    KeyError
        When no file holds the code, or the sentence needs a field that is not given: both are
        faults of the program, found by the tests.
    """
    if code not in code_rooms():
        raise KeyError(f"no sentence for the code {code!r}")
    room, worded = code_rooms()[code], in_words(fields or {})
    text = said(room, code, worded)
    starts = _STARTS.match(form_of(room, code, worded))
    # What the program calls by a name of its own begins a sentence with a capital.
    if starts is not None and isinstance(worded[starts[1]], Message):
        return capitalised(text)
    return text


@lru_cache(maxsize=1)
def code_rooms() -> Mapping[str, str]:
    """The file that each code stands in."""
    found: dict[str, str] = {}
    for room in (name for name in rooms() if name.startswith(CODES)):
        for code in catalogue_of(SOURCE, room).entries:
            if code in found:
                raise ValueError(f"the code {code!r} stands in two files")
            found[code] = room
    return MappingProxyType(found)


def every_sentence() -> Iterator[str]:
    """The sentences of all codes in the source language, their fields not filled in."""
    for code, room in code_rooms().items():
        yield from catalogue_of(SOURCE, room).entries[code].forms
