"""Teeth: ISO 3950 and 1-32 numbers, names, sides, neighbours, and what must be marked near them.

Sources: ISO 3950 (two digits: quadrant 1 upper right, 2 upper left, 3 lower left, 4 lower right
by the patient's sides; 1-8 from the midline); 1-32 runs from the upper right third molar along
the upper arch to 16, and from the lower left third molar (17) to 32.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, TypeAlias

from core.errors import PlanError
from core.kinds import KIND, KINDS, UNNAMED, declared_kind
from core.kinds import Expected as Place
from core.structures import Structure, Tapered, kind_of
from core.words.catalogue import Message, Words, message
from core.words.values import SIDES, TISSUES, any_of

Side: TypeAlias = Literal["left", "right"]

_NAMES: Mapping[int, Message] = MappingProxyType(
    {
        1: message("things.tooth.1"),
        2: message("things.tooth.2"),
        3: message("things.tooth.3"),
        4: message("things.tooth.4"),
        5: message("things.tooth.5"),
        6: message("things.tooth.6"),
        7: message("things.tooth.7"),
        8: message("things.tooth.8"),
    }
)
_QUADRANTS: Mapping[int, str] = MappingProxyType(
    {
        1: "things.quadrant.1",
        2: "things.quadrant.2",
        3: "things.quadrant.3",
        4: "things.quadrant.4",
    }
)


@dataclass(frozen=True, slots=True, order=True)
class Tooth:
    """A permanent tooth.

    Parameters
    ----------
    quadrant : int
        1 upper right, 2 upper left, 3 lower left, 4 lower right; the patient's sides.
    position : int
        1 (central incisor) to 8 (third molar), counted from the midline.

    Raises
    ------
    PlanError
        ``tooth-unknown`` when either number is out of its range.
    """

    quadrant: int
    position: int

    def __post_init__(self) -> None:
        if self.quadrant not in (1, 2, 3, 4) or self.position not in _NAMES:
            raise PlanError("tooth-unknown", found=f"{self.quadrant}{self.position}")

    @classmethod
    def of(cls, iso: str) -> Tooth:
        """Tooth of an ISO 3950 number such as ``"36"``.

        Raises
        ------
        PlanError
            ``tooth-deciduous`` for a milk tooth (51-55, 61-65, 71-75, 81-85), ``tooth-unknown``
            for anything else that is not one of 11-18, 21-28, 31-38, 41-48.
        """
        if len(iso) != 2 or not iso.isascii() or not iso.isdigit():
            raise PlanError("tooth-unknown", found=iso)
        quadrant, position = int(iso[0]), int(iso[1])
        if quadrant in (5, 6, 7, 8) and 1 <= position <= 5:
            raise PlanError("tooth-deciduous", found=iso)
        return cls(quadrant, position)

    @classmethod
    def of_1_to_32(cls, number: int) -> Tooth:
        """Tooth of a number from 1 to 32.

        Raises
        ------
        PlanError
            ``tooth-unknown-1-to-32`` for any other number.
        """
        if not 1 <= number <= 32:
            raise PlanError("tooth-unknown-1-to-32", found=number)
        if number <= 8:
            return cls(1, 9 - number)
        if number <= 16:
            return cls(2, number - 8)
        if number <= 24:
            return cls(3, 25 - number)
        return cls(4, number - 24)

    @property
    def iso(self) -> str:
        """Two-digit number of ISO 3950."""
        return f"{self.quadrant}{self.position}"

    @property
    def number_1_to_32(self) -> int:
        """Number from 1 to 32."""
        return {
            1: 9 - self.position,
            2: 8 + self.position,
            3: 25 - self.position,
            4: 24 + self.position,
        }[self.quadrant]

    @property
    def jaw(self) -> Literal["lower", "upper"]:
        """The jaw that it stands in."""
        return "upper" if self.quadrant in (1, 2) else "lower"

    @property
    def side(self) -> Side:
        """The patient's side, never a side of a picture."""
        return "right" if self.quadrant in (1, 4) else "left"

    @property
    def name(self) -> Message:
        """For people: ``lower left first molar``."""
        return message(_QUADRANTS[self.quadrant], tooth=_NAMES[self.position])

    def words(self) -> Message:
        """For people, both systems: ``36, lower left first molar (19 in 1–32)``."""
        return message(
            "things.tooth.both-systems",
            iso=self.iso,
            name=self.name,
            universal=self.number_1_to_32,
        )

    def neighbours(self) -> tuple[Tooth, ...]:
        """The next teeth in the arch, mesial first; across the midline for a central incisor."""
        if self.position == 1:
            mesial = Tooth({1: 2, 2: 1, 3: 4, 4: 3}[self.quadrant], 1)
        else:
            mesial = Tooth(self.quadrant, self.position - 1)
        if self.position == 8:
            return (mesial,)
        return (mesial, Tooth(self.quadrant, self.position + 1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What must be marked or declared at a tooth, else the ledger says *not marked*.

    Parameters
    ----------
    any_of : tuple of str
        Names as in ``declared.structure``; one of them is enough.
    """

    any_of: tuple[str, ...]

    @property
    def name(self) -> str:
        """The name that the ledger row carries: the first of them."""
        return self.any_of[0]

    def words(self) -> Words:
        """For people: ``root of 35``, ``loop or foramen``."""
        return any_of([structure_words(name) for name in self.any_of])

    def is_marked_by(self, structure: Structure) -> bool:
        """True when the structure is of this kind.

        The side is not looked at: the caller compares where the structure lies.
        """
        return declared_name(structure) in self.any_of


def expected_structures(tooth: Tooth) -> tuple[Expected, ...]:
    """What must be marked or declared for a fixture at a tooth, as `core.kinds` says it.

    Lower 4-8: canal and foramen; lower 1-3: loop or foramen; 33-35 and 43-45: the loop by itself;
    upper 4-8: sinus floor; upper 1-3: nasal floor; the root of each neighbour.
    """
    roots = tuple(
        Expected(any_of=(f"{kind.declared_as}{neighbour.iso}",))
        for kind in KINDS
        if kind.of_neighbours
        for neighbour in tooth.neighbours()
    )
    return _expected_at(tooth.jaw, tooth.position) + roots


def expected_in_jaw(jaw: Literal["lower", "upper"]) -> tuple[Expected, ...]:
    """What must be marked or declared for a fixture whose tooth nobody named."""
    return _expected_at(jaw, UNNAMED)


def _expected_at(jaw: str, position: int) -> tuple[Expected, ...]:
    def holds(place: Place) -> bool:
        return place.jaw == jaw and position in place.positions

    return tuple(
        Expected(any_of=(kind.declared_as, *place.otherwise))
        for kind in KINDS
        for place in kind.expected
        if holds(place)
    )


def inner_side(jaw: str | None) -> Literal["lingual", "palatal"]:
    """What the side away from the cheek is called: towards the tongue, above it the palate."""
    return "palatal" if jaw == "upper" else "lingual"


def declared_name(structure: Structure) -> str:
    """Name of a structure's kind as used in declarations; empty for kinds never expected."""
    name = kind_of(structure).declared_as
    if not name.endswith("-"):
        return name
    tooth = structure.tooth if isinstance(structure, Tapered) else ""
    return f"{name}{tooth}" if tooth else ""


def structure_words(name: str) -> Words:
    """For people: a declaration's name, ``root-35`` → ``root of 35``."""
    kind = declared_kind(name)
    if kind is None:
        return name
    return thing_words(name) if kind.declared_as.endswith("-") else kind.words


_CALLED: Mapping[str, Words] = MappingProxyType(
    {kind.id.replace("_", "-"): kind.words for kind in KINDS}
    | {kind.declared_as: kind.words for kind in KINDS if not kind.declared_as.endswith("-")}
    | {tissue.replace(" ", "-"): words for tissue, words in TISSUES.items()}
    | {
        "nasal-floor": KIND["nasal"].words,
        "stent-axis": message("things.named.stent-axis"),
        "channel": message("things.named.stent-axis"),
        "ruler": message("things.named.ruler"),
        "angle": message("things.named.angle"),
        "arch": message("things.named.arch"),
        "midline": message("things.named.midline"),
        "fixture": message("things.named.fixture"),
        "note": message("things.named.note"),
        "bone surface": message("things.named.bone-surface"),
    }
)
"""How ids begin that the program gives, and the words in place of it."""


def thing_words(thing_id: str) -> Words:
    """For people: the id of anything marked, ``canal-left`` → ``canal left``, ``root of 35``.

    What a person named otherwise is called as they named it; what has no name, not at all.
    """
    if not thing_id:
        return ""
    parts = thing_id.split("-")
    for n in range(len(parts), 0, -1):
        kind = _CALLED.get("-".join(parts[:n]))
        if kind is None:
            continue
        if n == len(parts):
            return kind
        if parts[0] == "root":
            return _with_rest(message("things.named.root", rest=parts[n]), parts[n + 1 :])
        return _with_rest(kind, parts[n:])
    return " ".join(parts)


def _with_rest(kind: Words, rest: list[str]) -> Words:
    """``canal left 2``: each further part of an id in words."""
    for part in rest:
        kind = message("things.named.other", kind=kind, rest=SIDES.get(part, part))
    return kind
