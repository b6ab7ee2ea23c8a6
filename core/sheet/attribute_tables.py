"""highdicom's tables of modules and attributes, read so that other threads go on meanwhile.

At its first object it reads 22 MB of JSON in one call of C, which holds the interpreter for a
tenth of a second: a window stood still for as long. Of 436 modules an object asks for some
thirty. So the text is taken apart at once and a module is read when it is asked for; the others
stay packed, and make no hundred thousand rows that each tidying up has to walk through.
"""

from __future__ import annotations

import json
import re
import zlib
from collections.abc import Iterator, Mapping
from typing import Any

_BEGINS, _PARTED, _OPENS, _CLOSES, _ENDS = "{\n", ",\n", ": [\n", "\n  ]", "}"
"""How the file is laid out: an object of lists, two blanks deep."""

_NAME = re.compile(r' *"[^"\\]+"')


class _InSteps:
    """In place of the module `json` where the tables are read."""

    @staticmethod
    def loads(text: str) -> Any:
        """The same values as `json.loads`."""
        return _Modules.of(text) or json.loads(text)


class _Modules(Mapping[str, Any]):
    """Rows of each module, read when they are asked for."""

    def __init__(self, packed: dict[str, bytes]) -> None:
        self._packed = packed
        self._read: dict[str, Any] = {}

    @classmethod
    def of(cls, text: str) -> _Modules | None:
        """Take a text apart; None where it is laid out in another way."""
        packed: dict[str, bytes] = {}
        at, before = 0, _BEGINS
        while (end := text.find(_CLOSES, at)) >= 0:
            end += len(_CLOSES)
            name, opened, _ = text[at:end].removeprefix(before).partition(_OPENS)
            if not (text.startswith(before, at) and opened and _NAME.fullmatch(name)):
                return None
            rows = text[at + len(before) + len(name) + 2 : end]
            packed[json.loads(name)] = zlib.compress(rows.encode("utf-8"), 1)
            at, before = end, _PARTED
        return cls(packed) if packed and text[at:].strip() == _ENDS else None

    def __getitem__(self, module: str) -> Any:
        if module not in self._read:
            self._read[module] = json.loads(zlib.decompress(self._packed[module]))
        return self._read[module]

    def __contains__(self, module: object) -> bool:
        return module in self._packed

    def __iter__(self) -> Iterator[str]:
        return iter(self._packed)

    def __len__(self) -> int:
        return len(self._packed)


def read_tables_in_steps() -> None:
    """Have the tables read in steps; called before the first object is made.

    A release of highdicom that reads them in another way is left alone.
    """
    from highdicom import _standard_utils

    tables: Any = _standard_utils
    if getattr(tables, "json", None) is json:
        tables.json = _InSteps
