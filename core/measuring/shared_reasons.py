"""Reasons that many rows of one fixture or site share: said once, by a letter that rows carry."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from string import ascii_lowercase

from core.measurement import Measurement, Note
from core.words.catalogue import say

FEWEST = 3
"""Rows without a value that must share a reason before it is said once for all of them."""


@dataclass(frozen=True, slots=True)
class SharedReason:
    """One sentence for many rows.

    Parameters
    ----------
    letter : str
        ``(a)``: what stands at each of the rows in its place.
    message : str
    rows : int
        How many rows point to it.
    """

    letter: str
    message: str
    rows: int

    @property
    def text(self) -> str:
        """The sentence as it stands above the rows."""
        return say(
            "measuring.shared.rows", letter=self.letter, rows=self.rows, message=self.message
        )


@dataclass(frozen=True, slots=True)
class SharedReasons:
    """The shared reasons of one fixture or site, in the order of its rows.

    A remark on a value is never among them, but where it takes the verdict from it: else it stays
    at its value, in full.
    """

    all: tuple[SharedReason, ...] = ()

    @classmethod
    def of(cls, rows: Iterable[Measurement]) -> SharedReasons:
        """Those of the rows that have no value, or none that is judged."""
        counts = Counter(
            message
            for m in rows
            if _is_open(m)
            for message in dict.fromkeys(note.message for note in m.reading.notes)
        )
        shared = [(message, n) for message, n in counts.items() if n >= FEWEST]
        return cls(
            tuple(
                SharedReason(f"({letter})", message, n)
                for letter, (message, n) in zip(ascii_lowercase, shared, strict=False)
            )
        )

    def letter(self, row: Measurement, note: Note) -> str:
        """What stands at a row in place of a note; empty where the note itself must."""
        if not _is_open(row):
            return ""
        return next((r.letter for r in self.all if r.message == note.message), "")

    def letters(self, row: Measurement) -> tuple[str, ...]:
        """All that a row points to."""
        found = (self.letter(row, note) for note in row.reading.notes)
        return tuple(dict.fromkeys(letter for letter in found if letter))

    def rest(self, row: Measurement) -> tuple[str, ...]:
        """The sentences of a row that it does not share."""
        return tuple(n.message for n in row.reading.notes if not self.letter(row, n))


def _is_open(row: Measurement) -> bool:
    return row.value is None or row.verdict == "not assessed"
