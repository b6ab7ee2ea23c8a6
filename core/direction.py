"""Which way along a traced arch the patient's right lies, and which side of it is the cheek.

Weighed from signs that do not depend on each other: the scan's own coordinates, the shape of the
trace, the teeth that a person names, and what a person sees (front teeth, tongue, the patient's
right). Only where the signs agree, and enough of them speak, is the direction settled. A
disagreement is never resolved here: coordinates can be those of a mirrored or wrongly stored scan,
and people answer wrongly too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, TypeAlias

from core.findings import Finding
from core.geometry import Array, unit
from core.identity import Side, Tooth
from core.words.catalogue import Message, Words, message
from core.words.values import listed

Region: TypeAlias = Literal["right back", "front", "left back", "whole arch"]
Point: TypeAlias = tuple[float, float, float]
State: TypeAlias = Literal["settled", "open", "contradicted"]
NamedPlace: TypeAlias = tuple[Tooth, Point]
Question: TypeAlias = Literal["teeth", "front end", "right end", "tongue", "midline"]

REGIONS: tuple[Region, ...] = ("right back", "front", "left back", "whole arch")

MIN_APART_MM = 3.0
"""Marked teeth nearer to each other along the arch tell no order: roots stand aslant. Own choice,
no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheekAnswer:
    """A person looked at a section and said on which side of it the tongue lies.

    Parameters
    ----------
    at : point, patient LPS mm
        Where the section crosses the jaw.
    towards : direction
        From the tongue to the cheek.
    """

    at: Point
    towards: Point

    def __post_init__(self) -> None:
        unit(self.towards)


@dataclass(frozen=True, slots=True, kw_only=True)
class SideAnswers:
    """What a person said about the side; None: not asked, or not known.

    Points lie in the patient, so that an answer stays true when the arch is traced anew.

    Parameters
    ----------
    region : Region or None
        The teeth that are in the scan.
    front_end : point or None
        The end of the traced piece that is nearer the front teeth.
    right_end : point or None
        The end that lies on the patient's right; only for pieces that run round the front.
    cheek : CheekAnswer or None
    """

    region: Region | None = None
    front_end: Point | None = None
    right_end: Point | None = None
    cheek: CheekAnswer | None = None

    @property
    def side(self) -> Side | None:
        """The patient's side that the named teeth lie on; None for front and whole arch."""
        return side_of(self.region)


def as_point(place: Array) -> Point:
    """A place as plain numbers, to be kept in an answer."""
    return (float(place[0]), float(place[1]), float(place[2]))


def from_the_right(tooth: Tooth) -> int:
    """Place in the row of teeth of one jaw, growing from the patient's right to the left."""
    return tooth.position if tooth.side == "left" else 1 - tooth.position


def side_of(region: Region | None) -> Side | None:
    """The patient's side of a region; None for the front, the whole arch, and none."""
    return {"right back": "right", "left back": "left"}.get(region or "")  # type: ignore[return-value]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sign:
    """One thing that tells the direction.

    Parameters
    ----------
    what : str
        ``coordinates``, ``shape``, ``front end``, ``right end``, ``tongue``,
        ``place`` or ``order``.
    says : {1, -1, 0}
        1: the trace runs from the patient's right to the left in its present order; 0: it cannot
        lie where the named teeth stand, whichever way it runs.
    """

    what: str
    says: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Direction:
    """How the signs of a trace weigh.

    Parameters
    ----------
    way : {1, -1}
        1: the traced order runs from the patient's right to the left. While the direction is not
        settled this is only the order that pictures follow.
    signs : tuple of Sign
        All that spoke.
    ask : tuple of Question
        What a person is asked next, the most telling question first; empty where enough is known.
    round_the_front : bool
        The trace runs round the front teeth, so its shape tells front and back.
    """

    way: int
    signs: tuple[Sign, ...] = ()
    ask: tuple[Question, ...] = ()
    round_the_front: bool = False

    @property
    def spoken(self) -> frozenset[str]:
        """What told something."""
        return frozenset(sign.what for sign in self.signs)

    @property
    def agreeing(self) -> tuple[str, ...]:
        """Signs for the way."""
        return tuple(s.what for s in self.signs if s.says == self.way)

    @property
    def against(self) -> tuple[str, ...]:
        """Signs against it."""
        return tuple(s.what for s in self.signs if s.says != self.way)

    @property
    def state(self) -> State:
        """Settled, open or contradicted; a contradiction comes first."""
        if self.against:
            return "contradicted"
        return "open" if self.ask else "settled"

    @property
    def finding(self) -> Finding | None:
        """What a person must know; None while the direction is settled."""
        if self.against:
            fields = {"one": _listed(self.agreeing), "other": _listed(self.against)}
            return Finding("side-signs-disagree", "caution", fields)
        if self.ask:
            return Finding(question_code(self.ask[0]), "refused")
        return None


def question_codes() -> frozenset[str]:
    """Codes of all questions about left and right."""
    return frozenset(_QUESTIONS.values())


def question_code(question: Question) -> str:
    """Code of the sentence that asks a question."""
    return _QUESTIONS[question]


_WORDS: Mapping[str, Message] = MappingProxyType(
    {
        "coordinates": message("things.sign.coordinates"),
        "shape": message("things.sign.shape"),
        "place": message("things.sign.place"),
        "tongue": message("things.sign.tongue"),
        "front end": message("things.sign.front-end"),
        "right end": message("things.sign.right-end"),
        "order": message("things.sign.order"),
    }
)


def _listed(names: tuple[str, ...]) -> Words:
    return listed([_WORDS[name] for name in names] or [message("things.sign.none")])


_QUESTIONS: dict[Question, str] = {
    "teeth": "side-ask-teeth",
    "front end": "side-ask-front-end",
    "right end": "side-ask-right-end",
    "tongue": "side-ask-tongue",
    "midline": "side-ask-midline",
}
