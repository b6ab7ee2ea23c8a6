"""Every point of a plan that a hand placed, under one kind of address."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, TypeAlias

from core.geometry import Array, vector
from core.identity import thing_words
from core.plans.notes import places_of_notes
from core.plans.plan import Plan
from core.structures import Foramen, KnownObject, PointMarks, Structure, kind_of
from core.words.catalogue import Words, message

Sort: TypeAlias = Literal[
    "structure", "stent axis", "ruler", "angle", "arch", "midline", "note", "tissue"
]

FORAMEN_PARTS = ("mesial", "distal", "upper")
STENT_PARTS = ("occlusal", "gingival")
_PARTS = {
    "mesial": "things.mark.edge-mesial",
    "distal": "things.mark.edge-distal",
    "upper": "things.mark.edge-upper",
    "occlusal": "things.mark.end-occlusal",
    "gingival": "things.mark.end-gingival",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mark:
    """One hand-placed point and where it belongs.

    Parameters
    ----------
    sort : str
        Which list of the plan holds its owner.
    owner : str
        Id of the owner; ``arch`` and ``midline`` for these two, the tissue for a place that was
        pointed at.
    part : str
        Number in the owner's points from 0, or the name of an edge or end.
    kind : str
        Kind of the owner, as in plan files.
    point_mm : (3,) patient LPS mm
    seen : {'yes', 'faint', 'no'}
    text : str
        What a note says; empty for everything else.
    """

    sort: Sort
    owner: str
    part: str
    kind: str
    point_mm: Array
    seen: str = "yes"
    text: str = ""

    @property
    def key(self) -> tuple[str, str, str]:
        """What stays the same when the mark is moved."""
        return self.sort, self.owner, self.part

    def words(self) -> Words:
        """For people: ``canal left: mark 3``, ``foramen left: mesial edge``."""
        name = thing_words(self.owner)
        if self.sort == "midline":
            return name
        if self.sort == "note":
            return message("things.mark.note", name=name, text=self.text)
        if self.sort == "tissue":
            return message("things.mark.pointed-at", name=name)
        if self.part.isdigit():
            return message("things.mark.number", name=name, number=int(self.part) + 1)
        return message(_PARTS[self.part], name=name)


@lru_cache(maxsize=8)
def marks_of(plan: Plan) -> tuple[Mark, ...]:
    """Every mark of a plan: structures, stent axes, rulers, angles, arch, midline, tissues, notes.

    Remembered: every picture asks for them at every move of a hand.
    """
    return tuple(_all(plan))


def marks_of_structures(structures: Iterable[Structure]) -> Iterator[Mark]:
    """The marks of structures alone."""
    for structure in structures:
        yield from _of_structure(structure)


def mark_at(plan: Plan, key: tuple[str, str, str]) -> Mark | None:
    """The mark with a key; None where it is not there any more."""
    return next((m for m in _all(plan) if m.key == key), None)


def id_from(words: str) -> str:
    """An id made of a person's words: ``Left canal`` → ``left-canal``; may be empty."""
    return re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-")


def _all(plan: Plan) -> Iterator[Mark]:
    yield from marks_of_structures(plan.structures)
    for axis in plan.stent_axes:
        for part in STENT_PARTS:
            place = vector(getattr(axis, part))
            yield Mark(
                sort="stent axis", owner=axis.id, part=part, kind="stent axis", point_mm=place
            )
    for ruler in plan.rulers:
        yield from _numbered("ruler", ruler.id, ruler.points)
    for angle in plan.angles:
        yield from _numbered("angle", angle.id, angle.points)
    if plan.arch_points is not None:
        yield from _numbered("arch", "arch", plan.arch_points)
    if plan.midline is not None:
        yield Mark(sort="midline", owner="midline", part="0", kind="midline", point_mm=plan.midline)
    for i, pointed in enumerate(plan.tissue_points):
        owner = id_from(pointed.tissue)
        yield Mark(sort="tissue", owner=owner, part=str(i), kind="tissue", point_mm=pointed.at)
    for owner, text, place in places_of_notes(plan):
        yield Mark(sort="note", owner=owner, part="0", kind="note", point_mm=place, text=text)


def _of_structure(s: Structure) -> Iterator[Mark]:
    kind = kind_of(s).file_kind
    if isinstance(s, Foramen):
        for part in FORAMEN_PARTS:
            place = getattr(s, part)
            if place is not None:
                yield Mark(sort="structure", owner=s.id, part=part, kind=kind, point_mm=place)
        return
    seen = ("yes",) * len(s.points) if isinstance(s, PointMarks | KnownObject) else s.seen
    for i, (place, how) in enumerate(zip(s.points, seen, strict=True)):
        yield Mark(
            sort="structure", owner=s.id, part=str(i), kind=kind, point_mm=vector(place), seen=how
        )


def _numbered(sort: Sort, owner: str, places: Array) -> Iterator[Mark]:
    for i, place in enumerate(places):
        yield Mark(sort=sort, owner=owner, part=str(i), kind=sort, point_mm=vector(place))
