"""Figures and dates as the spoken language writes them; data and files keep point and ISO 8601."""

from __future__ import annotations

import re

from core.words.catalogue import said, say

_DAY = re.compile(r"(\d{4})-(\d{2})-(\d{2})")


class Figure(str):
    """The decimal text of a number: its point becomes the language's sign where it is shown.

    As a value it is text with a point, the same in every file; in a sentence or an f-string it is
    written as the language does.
    """

    __slots__ = ()

    def __format__(self, form: str) -> str:
        return format(str(self).replace(".", said("numbers", "numbers.decimal-sign", {})), form)


def date_words(iso: str) -> str:
    """``2026-11-25`` as the language writes a day; what is no such day stays.

    Parameters
    ----------
    iso : str
        ISO 8601; a time behind the day is left out.
    """
    found = _DAY.match(iso)
    if found is None:
        return iso
    return say("numbers.date", year=found[1], month=found[2], day=found[3])


def date_and_time(iso: str) -> str:
    """``2026-11-25T13:19`` with its day as the language writes it, and hours and minutes.

    Parameters
    ----------
    iso : str
        ISO 8601.
    """
    found = _DAY.match(iso)
    if found is None:
        return iso
    return f"{date_words(iso)} {iso[11:16]}".strip()
