"""What values call by a code that files keep: sides, jaws, tissues ... in the words of people.

Data and files hold the code alone. A sentence that has such a value in a field of that name says
it in its own language.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from core.words.catalogue import Message, Words, language, message

LARGE_NOUNS = frozenset({"de"})
"""Languages that write every noun with a capital."""

SIDES: Mapping[str, Message] = MappingProxyType(
    {
        "buccal": message("values.side.buccal"),
        "lingual": message("values.side.lingual"),
        "palatal": message("values.side.palatal"),
        "mesial": message("values.side.mesial"),
        "distal": message("values.side.distal"),
        "apical": message("values.side.apical"),
        "left": message("values.side.left"),
        "right": message("values.side.right"),
    }
)
JAWS: Mapping[str, Message] = MappingProxyType(
    {"lower": message("values.jaw.lower"), "upper": message("values.jaw.upper")}
)
REGIONS: Mapping[str, Message] = MappingProxyType(
    {
        "right back": message("values.region.right-back"),
        "front": message("values.region.front"),
        "left back": message("values.region.left-back"),
        "whole arch": message("values.region.whole-arch"),
    }
)
STATES: Mapping[str, Message] = MappingProxyType(
    {
        "not near this site": message("values.state.not-near"),
        "looked for, not visible": message("values.state.not-visible"),
        "outside the scanned region": message("values.state.outside"),
        "tooth missing": message("values.state.tooth-missing"),
    }
)
TISSUES: Mapping[str, Message] = MappingProxyType(
    {
        "soft tissue": message("values.tissue.soft"),
        "cortex": message("values.tissue.cortex"),
        "marrow": message("values.tissue.marrow"),
    }
)

_AGAINST: Mapping[str, Message] = MappingProxyType(
    {
        "chart": message("values.against.chart"),
        "patient": message("values.against.patient"),
    }
)

_BY_FIELD: Mapping[str, Mapping[str, Message]] = MappingProxyType(
    {"side": SIDES, "jaw": JAWS, "region": REGIONS, "state": STATES, "tissue": TISSUES}
)


def in_words(fields: Mapping[str, object]) -> Mapping[str, object]:
    """Fields of a sentence with their codes in words; every other value as it is.

    Parameters
    ----------
    fields : mapping
    """
    return {name: _worded(name, value) for name, value in fields.items()}


def _worded(name: str, value: object) -> object:
    known = _BY_FIELD.get(name)
    return value if known is None or not isinstance(value, str) else known.get(value, value)


def against_words(against: str) -> Words:
    """What a side was compared with; what a person wrote is left as it is."""
    return _AGAINST.get(against, against or "–")


def side_words(side: str) -> Words:
    """A side in words; what is none is left as it is."""
    return SIDES.get(side, side)


def listed(words: Sequence[Words]) -> Words:
    """``a, b and c``, of one or more."""
    return _joined(words, "values.list.two")


def any_of(words: Sequence[Words]) -> Words:
    """``a, b or c``, of one or more."""
    return _joined(words, "values.list.or")


def _joined(words: Sequence[Words], key: str) -> Words:
    if len(words) == 1:
        return words[0]
    return _before(words[:-2], message(key, first=words[-2], last=words[-1]))


def row_of(words: Sequence[Words]) -> Words:
    """``a, b, c``; empty of nothing."""
    return _before(words[:-1], words[-1]) if words else ""


def _before(first: Sequence[Words], rest: Words) -> Words:
    for word in reversed(first):
        rest = message("values.list.more", first=word, rest=rest)
    return rest


def within_a_line(words: Words) -> str:
    """Words that begin with a capital elsewhere, as they stand within a line."""
    said = str(words)
    return said if language() in LARGE_NOUNS else said[:1].lower() + said[1:]


def capitalised(words: Words) -> str:
    """The words as they begin a line."""
    said = str(words)
    return said[:1].upper() + said[1:]
