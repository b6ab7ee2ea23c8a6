"""How many years of school a text asks for, by the formula of Kincaid and others.

Flesch-Kincaid grade = 0.39 words per sentence + 11.8 syllables per word - 15.59 (Kincaid,
Fishburne, Rogers, Chissom 1975, Research Branch Report 8-75, Naval Technical Training Command;
coefficients from memory). Syllables are counted from the letters, which misses a few words in
both directions; names, figures and fields in braces count as words.
"""

from __future__ import annotations

import re

_VOWELS = re.compile(r"[aeiouy]+")
_TWO_HEARD = re.compile(r"(?<![cgst])i[aou]|eo|(?<![gq])ua|iest|ying")
_WORD = re.compile(r"[A-Za-z]+(?:['’-][A-Za-z]+)*")
_SENTENCE_END = re.compile(r"[.?!:](?:\s|$)")


def syllables(word: str) -> int:
    """Groups of vowels, without the silent e at an end; at least one."""
    word = word.lower().replace("’", "'").removesuffix("'s")
    count = len(_VOWELS.findall(word)) + len(_TWO_HEARD.findall(word))
    silent = word.endswith(("e", "es", "ed")) and not word.endswith(("le", "ted", "ded", "ses"))
    if silent and len(word) > 3 and count > 1:
        count -= 1
    return max(1, count)


def grade(text: str) -> float:
    """Flesch-Kincaid grade of a text of whole sentences."""
    words = _WORD.findall(text)
    sentences = max(1, len(_SENTENCE_END.findall(text)))
    heard = sum(syllables(word) for word in words)
    return 0.39 * len(words) / sentences + 11.8 * heard / len(words) - 15.59
