"""highdicom's tables of modules and attributes, read so that other threads go on meanwhile.

At its first object it reads 22 MB of JSON in one call of C, which holds the interpreter for a
tenth of a second: a window stood still for as long. The reader lets others in at each call of
Python's own, so it is given one to make at every row. Rows that are alike are kept once: walking
through a hundred thousand of them at each tidying up held the window as well.
"""

from __future__ import annotations

import json
from typing import Any

_FIELDS = {"keyword", "type", "path"}


class _InSteps:
    """In place of the module `json` where the tables are read."""

    @staticmethod
    def loads(text: str) -> Any:
        """The same values as `json.loads`; equal rows may be one."""
        return json.loads(text, object_hook=_Rows().kept)


class _Rows:
    """Rows by what they say, and their paths."""

    def __init__(self) -> None:
        self._rows: dict[tuple[str, str, tuple[str, ...]], dict[str, Any]] = {}
        self._paths: dict[tuple[str, ...], list[str]] = {}

    def kept(self, part: dict[str, Any]) -> dict[str, Any]:
        """The first row that says the same; anything that is no row as it is."""
        if part.keys() != _FIELDS:
            return part
        path = tuple(part["path"])
        part["path"] = self._paths.setdefault(path, part["path"])
        return self._rows.setdefault((part["keyword"], part["type"], path), part)


def read_tables_in_steps() -> None:
    """Have the tables read in steps; called before the first object is made.

    A release of highdicom that reads them in another way is left alone.
    """
    from highdicom import _standard_utils

    tables: Any = _standard_utils
    if getattr(tables, "json", None) is json:
        tables.json = _InSteps
