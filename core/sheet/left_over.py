"""Whether anything of a scan's identity is left in files that are meant to name nobody."""

from __future__ import annotations

import io
import re
import unicodedata
import zipfile
from collections.abc import Iterable
from functools import lru_cache

from core.errors import OutputError
from core.image.volume import ScanIdentity
from core.pseudonym import identifying
from core.pseudonym_ids import vocabulary
from core.sheet.raster import page_texts

_WHOLE_WORDS_BELOW = 5
"""Shorter names are looked for as whole words: they are part of many others."""

_OF_THE_TRADE = frozenset(
    {"cbct", "ct", "cone", "beam", "dental", "jaw", "head", "scan", "series", "slices", "volume"}
)
"""Stand in descriptions of scans and on every sheet alike."""

_RUN = re.compile(r"[^\x00-\x1f\x7f-\x9f\ufffd]{8,}")
_WIDE_RUN = re.compile(r"[\x20-\x7e]{5,}")
"""Pieces of text in a file of numbers; shorter ones are chance."""

_PIXELS_AS_LETTERS = re.compile(
    rb"(/ASCII85Decode.{0,400}?stream\r?\n).*?(?=endstream)", flags=re.DOTALL
)
"""Packed streams of a PDF, written in printable signs: a short name stands in them by chance."""

_BETWEEN = re.compile(r"[\W_]+")
_FOREIGN = re.compile(r"[^\x00-\x7f]+")


def refuse_left_over(identity: ScanIdentity, files: Iterable[tuple[str, bytes]]) -> None:
    """Refuse a set of files in which something of the identity is left.

    Raises
    ------
    OutputError
        ``pseudonym-left-over`` with the first file and what it still holds.
    """
    for found in left_over(identity, files):
        name, _, word = found.partition(": ")
        raise OutputError("pseudonym-left-over", name=name, word=word)


def left_over(identity: ScanIdentity, files: Iterable[tuple[str, bytes]]) -> list[str]:
    """``file: string`` for each identifying string that is found in a file's name or content.

    Capital and small letters, accents and what stands between the parts (``1961-04-02``,
    ``19610402``, ``1961.04.02``) make no difference. The text of PDF pages, and of a PDF inside
    a DICOM object, is read. A name that is also a word of the program's own sentences says
    nothing by itself and is looked for beside another part of the name.
    """
    telling = _telling(identity)
    parts = {part for words in telling for part in words}
    found: list[str] = []
    for name, data in files:
        text = _folded("\n".join([name, *_texts(data)]))
        # Without what stands between signs a part is found fast; few are there at all, and only
        # where all of its parts are is a string worth its pattern.
        signs = _signs(text)
        there = {part for part in parts if _signs(_folded(part)) in signs}
        found += [
            f"{name}: {' '.join(words)}"
            for words in telling
            if there.issuperset(words) and _pattern(" ".join(words)).search(text)
        ]
    return found


def _telling(identity: ScanIdentity) -> tuple[tuple[str, ...], ...]:
    """Parts of each string that tells who it is: one part, or two that stand together."""
    words = identifying(identity)
    plain = [word for word in words if _says_nothing(word)]
    pairs = [(a, b) for a in plain for b in words if a != b and _folded(b).isalpha()]
    turned = [(b, a) for a, b in pairs]
    return (*((word,) for word in words if word not in plain), *pairs, *turned)


def _says_nothing(word: str) -> bool:
    parts = re.findall(r"[^\W_]+", _folded(word))
    return all(part in vocabulary() or part in _OF_THE_TRADE for part in parts)


@lru_cache(maxsize=4096)
def _pattern(word: str) -> re.Pattern[str]:
    signs = _signs(_folded(word))
    between = r"[\W_]{0,2}"
    body = between.join(re.escape(sign) for sign in signs)
    if all(sign.isdigit() for sign in signs):
        # Part of a longer number or behind a decimal point it is another number.
        return re.compile(rf"(?<![\d.]){body}(?![\d])")
    if len(signs) < _WHOLE_WORDS_BELOW:
        return re.compile(rf"(?<![^\W_]){re.escape(signs)}(?![^\W_])")
    return re.compile(body)


def _folded(text: str) -> str:
    """Without capitals and accents."""
    return _FOREIGN.sub(_bare, unicodedata.normalize("NFKD", text.casefold()))


def _bare(piece: re.Match[str]) -> str:
    return "".join(sign for sign in piece[0] if not unicodedata.combining(sign))


def _signs(text: str) -> str:
    """Letters and digits alone."""
    return _BETWEEN.sub("", text)


def _texts(data: bytes) -> list[str]:
    """What can be read in a file: its text, else its printable pieces; pages of a PDF besides.

    A package (zip) is read by what it holds.
    """
    if data.startswith(b"PK\x03\x04"):
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            return [text for name in package.namelist()
                    for text in (name, *_texts(package.read(name)))]  # fmt: skip
    start = data.find(b"%PDF-")
    pages = page_texts(data[start:]) if start >= 0 else []
    if start >= 0:
        data = _PIXELS_AS_LETTERS.sub(rb"\1", data)
    try:
        return [data.decode("utf-8"), *pages]
    except UnicodeDecodeError:
        runs = _RUN.findall(data.decode("utf-8", "replace"))
        wide = [data.decode(code, "ignore") for code in ("utf-16-le", "utf-16-be")]
        return [*runs, *(run for text in wide for run in _WIDE_RUN.findall(text)), *pages]
