"""A language that nobody speaks: English with accents, two fifths longer, made on the fly.

What is glued, cut off or left out of the catalogues shows at once in it.
"""

from __future__ import annotations

import re

PSEUDO = "en-XA"
"""The code that is customary for it (CLDR has it as a test locale)."""

LONGER = 1.4

_LEAST = 3
_UNITS = frozenset({"min", "rev"})
_ACCENTS = str.maketrans("aceinosuyzACEINOSUYZ", "áçéíñóšúýžÁÇÉÍÑÓŠÚÝŽ")
_VOWEL = re.compile(r"[aeiouy]")
_KEPT = re.compile(r"(\{[^{}]*\}|<[^<>]+>|&\w)")
"""Fields, marks of rich text, and the letter of a key: never changed."""

_WORD = re.compile(r"[A-Za-z]*[a-z][A-Za-z]*")


def pseudo(text: str) -> str:
    """The text with accents and longer words; its fields as they are.

    Parameters
    ----------
    text : str
    """
    parts = _KEPT.split(text)
    written = "".join(parts[::2])
    letters = sum(len(word) for word in _WORD.findall(written) if _grows(word))
    share = (LONGER - 1.0) * len(written.strip()) / max(letters, 1)

    def drawn_out(found: re.Match[str]) -> str:
        return _drawn_out(found[0], share)

    return "".join(part if n % 2 else _WORD.sub(drawn_out, part) for n, part in enumerate(parts))


def _grows(word: str) -> bool:
    return len(word) >= _LEAST and word not in _UNITS


def _drawn_out(word: str, share: float) -> str:
    """A word longer by a share of its letters, its vowels said more than once."""
    if not _grows(word):
        return word.translate(_ACCENTS)
    places = [match.start() for match in _VOWEL.finditer(word)] or [len(word) - 1]
    each, over = divmod(round(share * len(word)), len(places))
    longer = [
        sign * (1 + each + (places.index(at) < over)) if at in places else sign
        for at, sign in enumerate(word)
    ]
    return "".join(longer).translate(_ACCENTS)
