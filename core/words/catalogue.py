"""The catalogues: a key and named fields become a sentence in the language that is spoken.

Texts stand in ``locale/<language>/<room>.po``; the first part of a key names its room. A `.po`
file is read as it is, so who corrects a sentence only has to save it.
"""

from __future__ import annotations

import gettext
import re
import string
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import TypeAlias

from core.words.po import Entry, read_po
from core.words.pseudo import PSEUDO, pseudo

LOCALE = Path(__file__).with_name("locale")
SOURCE = "en"
"""The language that every sentence is written in first."""

_HAS_FIELDS = re.compile("[{}]")
_ENDS = re.compile(r"(?<=[.?!:…])\s+(?=[^a-zäöü\s(])")

_screen = SOURCE
_spoken: ContextVar[str | None] = ContextVar("spoken", default=None)


@dataclass(frozen=True, slots=True)
class Message:
    """A sentence that is not spoken yet: its key and what it needs.

    Values carry it instead of text, and whoever shows it says it with `str`, in the language of
    that moment. `fields` may hold messages again.

    Parameters
    ----------
    key : str
    fields : mapping, optional
    """

    key: str
    fields: Mapping[str, object] = field(default_factory=dict)

    def __post_init__(self) -> None:
        object.__setattr__(self, "fields", MappingProxyType(dict(self.fields)))

    def __hash__(self) -> int:
        return hash(self.key)

    def __str__(self) -> str:
        return say(self.key, **self.fields)


Words: TypeAlias = str | Message
"""Text, or a sentence to be said when it is shown."""


def message(key: str, /, **fields: object) -> Message:
    """A sentence to be said later."""
    return Message(key, fields)


def say(key: str, /, **fields: object) -> str:
    """The sentence of a key with its fields filled in, in the language that is spoken.

    Parameters
    ----------
    key : str
        ``room.module.name``.
    **fields : object
        Values for the sentence's ``{names}``. Where the sentence has plural forms, the whole
        number ``count`` chooses among them.

    Raises
    ------
    KeyError
        When there is no such sentence, or a field that it needs is not given: both are faults of
        the program, found by the tests.
    """
    return said(key.partition(".")[0], key, fields)


def table(room: str, of: str) -> Mapping[str, str]:
    """All sentences of a room by their names, their fields not filled in.

    Parameters
    ----------
    room : str
    of : str
        Language; what it does not hold stands in the source language.
    """
    found = {**catalogue_of(SOURCE, room).entries, **catalogue_of(of, room).entries}
    return {key.partition(".")[2]: entry.forms[0] for key, entry in found.items()}


def together(*sentences: str) -> str:
    """Whole sentences one after the other; empty ones are left out.

    Parameters
    ----------
    *sentences : str
        Each ends with its own full stop: no sentence is made of pieces.
    """
    return " ".join(sentence for sentence in sentences if sentence)


def sentences_of(text: str) -> tuple[str, ...]:
    """The whole sentences of a text, one by one: a narrow place has room for the first only.

    Parameters
    ----------
    text : str
        Of one of the catalogues; a dot that ends a sentence is followed by a capital.
    """
    return tuple(_ENDS.split(text))


def said(room: str, key: str, fields: Mapping[str, object]) -> str:
    """The same for a key that does not name its room.

    Parameters
    ----------
    room : str
        Name of the file, without its ending.
    key : str
    fields : mapping
    """
    form = form_of(room, key, fields)
    if not _HAS_FIELDS.search(form):  # most have none, and pictures ask for them at every step
        return form
    return _Filled(catalogue_of(language(), "numbers")).vformat(form, (), fields)


def form_of(room: str, key: str, fields: Mapping[str, object]) -> str:
    """A sentence in the language that is spoken, its fields not filled in.

    Parameters
    ----------
    room : str
    key : str
    fields : mapping
        Of these only ``count`` matters, where the sentence has plural forms.
    """
    room_of = catalogue_of(language(), room)
    if key not in room_of.entries:
        room_of = catalogue_of(SOURCE, room)
    if key not in room_of.entries:
        raise KeyError(f"no sentence for {key!r} in {room}.po")
    forms = room_of.entries[key].forms
    return forms[0] if len(forms) == 1 else forms[room_of.plural(_count(key, fields))]


def _count(key: str, fields: Mapping[str, object]) -> int:
    count = fields["count"]
    if not isinstance(count, int):
        raise TypeError(f"{key}: count chooses the plural form, so it is a whole number")
    return abs(count)


class _Filled(string.Formatter):
    """Fills fields in; a number that is not given as text takes the language's decimal sign."""

    def __init__(self, numbers: Catalogue) -> None:
        sign = numbers.entries.get("numbers.decimal-sign")
        self._decimal_sign = "." if sign is None else sign.forms[0]

    def format_field(self, value: object, format_spec: str) -> str:
        text = format(value, format_spec)
        if isinstance(value, float) and self._decimal_sign != ".":
            return text.replace(".", self._decimal_sign)
        return text


# -- which language --------------------------------------------------------------------------


def language() -> str:
    """The language that is spoken here and now."""
    return _spoken.get() or _screen


def speak(to: str) -> None:
    """Speak a language from now on, wherever no other is asked for."""
    global _screen  # noqa: PLW0603  one screen, one language; `speaking` is for everything else
    _screen = to if _is_spoken(to) else SOURCE


@contextmanager
def speaking(to: str) -> Iterator[None]:
    """Speak a language within a block: a sheet may be printed in another one than the screen's.

    An empty or unknown language leaves it as it is.
    """
    token = _spoken.set(to if _is_spoken(to) else _spoken.get())
    try:
        yield
    finally:
        _spoken.reset(token)


@lru_cache(maxsize=1)
def languages() -> tuple[str, ...]:
    """Codes of the languages that there are catalogues for, the source language first."""
    found = sorted(p.name for p in LOCALE.iterdir() if p.is_dir() and p.name != SOURCE)
    return (SOURCE, *found)


# -- what stands in the files ----------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class Catalogue:
    """The sentences of one room in one language, and its rule of plurals."""

    entries: Mapping[str, Entry]
    plural: Callable[[int], int]


@lru_cache(maxsize=256)
def catalogue_of(of: str, room: str) -> Catalogue:
    """Read the file of a room; an empty catalogue where the language has none."""
    if of == PSEUDO:
        return _drawn_out(catalogue_of(SOURCE, room))
    path = LOCALE / of / f"{room}.po"
    if not path.is_file():
        return Catalogue({}, _one)
    header, entries = read_po(path.read_text("utf-8"))
    rule = header.get("Plural-Forms", "nplurals=1; plural=0;").partition(" plural=")[2]
    return Catalogue(entries, gettext.c2py(rule.rstrip("; ") or "0"))


def _one(_count: int) -> int:
    return 0


def _is_spoken(code: str) -> bool:
    return code == PSEUDO or code in languages()


def _drawn_out(english: Catalogue) -> Catalogue:
    entries = {
        key: Entry(tuple(map(pseudo, entry.forms)), entry.comment)
        for key, entry in english.entries.items()
    }
    return Catalogue(entries, english.plural)


def rooms(of: str = SOURCE) -> tuple[str, ...]:
    """Names of the rooms that a language has files for."""
    return tuple(sorted(p.stem for p in (LOCALE / of).glob("*.po")))
