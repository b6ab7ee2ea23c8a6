"""Findings: what limits measuring on a scan or plan, as codes with fields."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

from core.words import sentence
from core.words.catalogue import sentences_of

Severity = Literal["note", "caution", "refused"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that the user must know before trusting a number.

    Parameters
    ----------
    code : str
        Stable code; its sentence stands in `core.words`.
    severity : {'note', 'caution', 'refused'}
        ``note``: worth knowing; ``caution``: numbers may be off; ``refused``: no number is given.
    fields : mapping
        What the sentence needs.
    stops_verdicts : bool
        True where the pictures contradict their header: then no number of the scan meets a limit,
        and none counts as below it either.
    """

    code: str
    severity: Severity
    fields: Mapping[str, object] = field(default_factory=dict)
    stops_verdicts: bool = field(default=False, kw_only=True)

    def __post_init__(self) -> None:
        object.__setattr__(self, "fields", MappingProxyType(dict(self.fields)))

    @property
    def message(self) -> str:
        """The plain sentence: what is so, and what it means for measuring."""
        return sentence(self.code, self.fields)

    def __str__(self) -> str:
        return self.message


@dataclass(frozen=True, slots=True)
class Brief:
    """What a finding says first, without its full stop: a part of another sentence.

    Parameters
    ----------
    finding : Finding
    """

    finding: Finding

    def __str__(self) -> str:
        return sentences_of(self.finding.message)[0].rstrip(".")
