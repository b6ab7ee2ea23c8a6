"""A language that nobody speaks: English with accents, two fifths longer, made on the fly.

What is glued, cut off or left out of the catalogues shows at once in it.
"""

from __future__ import annotations

import math
import re

PSEUDO = "en-XA"
"""The code that is customary for it (CLDR has it as a test locale)."""

LONGER = 1.4
_ACCENTS = str.maketrans("aceinosuyzACEINOSUYZ", "áçéíñóšúýžÁÇÉÍÑÓŠÚÝŽ")
_VOWEL = re.compile(r"[aeiouáéíóú]")
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
    return "".join(part if n % 2 else _WORD.sub(_drawn_out, part) for n, part in enumerate(parts))


def _drawn_out(found: re.Match[str]) -> str:
    word = found[0].translate(_ACCENTS)
    if len(word) < 4:
        return word
    more = math.ceil(LONGER * len(word)) - len(word)
    word, doubled = _VOWEL.subn(lambda m: m[0] * 2, word, count=more)
    return word + word[-1] * (more - doubled)
