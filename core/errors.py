"""What can go wrong, as few classes with fields.

A message says *what* is wrong, *why* it matters for measuring and *what to do*.
A quantity that cannot be measured is a value with a reason, never one of these.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from core.words import sentence


class SoundingError(Exception):
    """A refusal that is told to the user in one plain sentence.

    Parameters
    ----------
    code : str
        Stable, never translated; the catalogue in `core.words` holds its sentence.
    **fields : object
        What the sentence needs (``what``, ``where``, ``expected``, ``found`` ...).

    Attributes
    ----------
    code : str
    fields : Mapping[str, object]
    """

    def __init__(self, code: str, **fields: object) -> None:
        self.code = code
        self.fields: Mapping[str, object] = MappingProxyType(dict(fields))
        super().__init__(code)

    def __str__(self) -> str:
        return sentence(self.code, self.fields)


class ScanError(SoundingError):
    """The export cannot be measured on."""


class PlanError(SoundingError):
    """The plan document cannot be used, or not with this scan."""


class OutputError(SoundingError):
    """A file could not be written; nothing half-written is left behind."""
