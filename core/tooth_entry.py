"""A tooth's number as a person types it, in the system that they use."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from core.errors import PlanError
from core.identity import Tooth

Numbering: TypeAlias = Literal["iso", "1-32"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ToothEntry:
    """What a typed number means.

    Parameters
    ----------
    tooth : Tooth or None
        In the system in use.
    other : Tooth or None
        Where it means nothing there: the tooth that it is in the other system.
    problem : PlanError or None
        Why it is no tooth of the system in use.
    """

    tooth: Tooth | None = None
    other: Tooth | None = None
    problem: PlanError | None = None


def read_entry(text: str, numbering: Numbering) -> ToothEntry:
    """Read a number that a person typed.

    Parameters
    ----------
    text : str
    numbering : {'iso', '1-32'}
        The system that the person chose for the program.
    """
    systems = (_iso, _one_to_32) if numbering == "iso" else (_one_to_32, _iso)
    try:
        return ToothEntry(tooth=systems[0](text.strip()))
    except PlanError as error:
        problem = error
    try:
        return ToothEntry(other=systems[1](text.strip()), problem=problem)
    except PlanError:
        return ToothEntry(problem=problem)


def number_of(tooth: Tooth, numbering: Numbering) -> str:
    """A tooth's number in the system in use."""
    return tooth.iso if numbering == "iso" else str(tooth.number_1_to_32)


def _iso(text: str) -> Tooth:
    return Tooth.of(text)


def _one_to_32(text: str) -> Tooth:
    if not (text.isascii() and text.isdigit()):
        raise PlanError("tooth-unknown-1-to-32", found=text)
    return Tooth.of_1_to_32(int(text))
