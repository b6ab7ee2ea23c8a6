"""The signs that tell the direction of a traced arch, each by itself, and how they weigh."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from core.direction import (
    MIN_APART_MM,
    Direction,
    NamedPlace,
    Point,
    Question,
    Region,
    SideAnswers,
    Sign,
    from_the_right,
)
from core.geometry import Array, unit
from core.level import Level

MIN_BOW_MM = 1.0
"""A trace that bows less does not tell cheek from tongue: hand-placed points wander by as much.
Own choice, no source."""

MIN_BOW_SHARE = 0.02
"""The same, as a part of the straight line between the ends. Own choice, no source."""

MOST_COUNTER_BOW = 0.4
"""A trace that bows both ways tells only if the smaller bow is under this part of the greater."""

FRONT_BOW_SHARE = 0.25
"""A trace that bows more, as a part of the line between its ends, runs round the front teeth: a
back piece of a jaw, even from the canine on, stays well under it. Own choice, no source."""

MIN_SHARE = 0.3
"""Least part of a direction along an axis of the patient for that axis to tell its sense."""

_PLAIN_SHARE = 0.8
"""The same for a piece of which nobody said which teeth it holds."""

_FRONT_SHARE = 0.5
"""Least part of the cheek's direction forwards where front teeth or a whole arch were named, and
of a straight trace along the direction in which the named teeth stand in a row."""

_NEAR_END = 0.6
"""A named end counts while the point is nearer to it than this part of the way to the other."""

_NEAR_ARCH_MM = 15.0
"""A tongue answer counts while it was given this near to the trace."""


_STEP_MM = 0.25


def weigh(
    line_mm: Array,
    level: Level,
    answers: SideAnswers,
    *,
    planned: Region | None = None,
    named: Sequence[NamedPlace] = (),
) -> Direction:
    """Weigh what tells the direction of a traced arch.

    Parameters
    ----------
    line_mm : (m, 3) patient LPS mm
        The traced curve, on the jaw plane, in the order in which it was drawn.
    level : Level
    answers : SideAnswers
    planned : Region or None
        Where the planned teeth stand; counts where nobody said which teeth are in the scan, and
        the trace does not run round the front.
    named : sequence of (tooth, point)
        Marked roots that a person named by their tooth.
    """
    trace = _Trace.of(line_mm, level)
    if answers.region is None and not trace.round_the_front:
        answers = replace(answers, region=planned)
    signs = tuple(
        Sign(what=what, says=says)
        for what, look in _SIGNS
        if (says := look(trace, answers)) is not None
    )
    order = _by_order(trace, named)
    signs += () if order is None else (Sign(what="order", says=order),)
    spoken = {sign.what: sign.says for sign in signs if sign.says}
    rank = ("shape", "coordinates", "tongue", "front end", "right end", "order")
    way = next((spoken[what] for what in rank if what in spoken), 0)
    if way == 0:
        way = 1 if trace.chord[0] >= 0 else -1
    return Direction(
        way=way,
        signs=signs,
        ask=_lacking(trace, answers, frozenset(spoken)),
        round_the_front=trace.round_the_front,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Trace:
    """A trace in its drawn order.

    Parameters
    ----------
    line : (m, 3) patient LPS mm
    up : (3,)
    chord : (3,)
        Unit vector from its first end to its last.
    bow_mm : float
        Greatest distance from the chord, positive towards chord x up.
    counter_mm : float
        Greatest distance to the other side, not negative.
    length_mm : float
        Between the ends, straight.
    """

    line: Array
    up: Array
    chord: Array
    bow_mm: float
    counter_mm: float
    length_mm: float

    @classmethod
    def of(cls, line_mm: Array, level: Level) -> _Trace:
        apart = np.linalg.norm(np.diff(line_mm, axis=0), axis=1)
        at = np.concatenate([[0.0], np.cumsum(apart)])
        even = np.linspace(0.0, at[-1], max(3, int(at[-1] / _STEP_MM)))
        line = np.stack([np.interp(even, at, line_mm[:, n]) for n in range(3)], axis=1)
        along = line[-1] - line[0]
        length = float(np.linalg.norm(along))
        # A trace that ends where it began has no direction; its first step tells as little.
        chord = unit(along if length > _STEP_MM else line[1] - line[0])
        off = (line - line[0]) @ np.cross(chord, level.up)
        most, least = float(off.max()), float(off.min())
        bow = most if most >= -least else least
        counter = max(-least if bow > 0 else most, 0.0)
        return cls(
            line=line, up=level.up, chord=chord, bow_mm=bow, counter_mm=counter, length_mm=length
        )

    @property
    def bows(self) -> bool:
        """Bowed enough, and one way only."""
        least = max(MIN_BOW_MM, MIN_BOW_SHARE * self.length_mm)
        return abs(self.bow_mm) >= least and self.counter_mm <= MOST_COUNTER_BOW * abs(self.bow_mm)

    @property
    def round_the_front(self) -> bool:
        """Runs round the front teeth."""
        return self.bows and abs(self.bow_mm) >= FRONT_BOW_SHARE * self.length_mm

    @property
    def cheek(self) -> Array:
        """Direction from tongue to cheek by the bow."""
        return np.asarray(np.cross(self.chord, self.up) * np.sign(self.bow_mm))

    def end_near(self, place: Point) -> int | None:
        """1 for the first end, -1 for the last, None where the place is near neither."""
        first, last = (float(np.linalg.norm(np.subtract(place, self.line[n]))) for n in (0, -1))
        if min(first, last) > _NEAR_END * max(first, last):
            return None
        return 1 if first < last else -1


def _by_coordinates(trace: _Trace, answers: SideAnswers) -> int | None:
    """LPS: x grows to the patient's left, y to the back.

    In a back piece both ends are of one side, and it runs mainly along y: on the left the way
    from right to left leads backwards, on the right forwards, a little leftwards on both.
    """
    side = answers.side
    x, y = float(trace.chord[0]), float(trace.chord[1])
    if trace.round_the_front or side is None:
        told = trace.round_the_front or answers.region is not None
        return _sense(x, MIN_SHARE if told else _PLAIN_SHARE)
    back = y if side == "left" else -y
    return _sense((0.6 * x + back) / float(np.hypot(0.6, 1.0)), MIN_SHARE)


def _by_shape(trace: _Trace, answers: SideAnswers) -> int | None:
    """The arch bows towards the cheek, and buccal is travel x up."""
    del answers
    return int(np.sign(trace.bow_mm)) if trace.bows else None


def _by_place(trace: _Trace, answers: SideAnswers) -> int | None:
    """Whether the trace can lie where the named teeth stand.

    Front teeth and whole arches run across the patient and bow forwards; back teeth run along
    the patient's front and back, and bow to their side.
    """
    if answers.region is None:
        return None
    side = answers.side
    if trace.bows:
        cheek = trace.cheek
        if side is None:
            fits = -float(cheek[1]) >= _FRONT_SHARE
        else:
            fits = float(cheek[0]) * (1 if side == "left" else -1) >= MIN_SHARE
    else:
        fits = abs(float(trace.chord[0 if side is None else 1])) >= _FRONT_SHARE
    return None if fits else 0


def _by_tongue(trace: _Trace, answers: SideAnswers) -> int | None:
    """The section's cheek against travel x up there."""
    if answers.cheek is None:
        return None
    apart = np.linalg.norm(trace.line - np.asarray(answers.cheek.at), axis=1)
    nearest = int(np.argmin(apart))
    if apart[nearest] > _NEAR_ARCH_MM:
        return None
    behind, ahead = max(nearest - 4, 0), min(nearest + 4, len(trace.line) - 1)
    buccal = unit(np.cross(trace.line[ahead] - trace.line[behind], trace.up))
    return _sense(float(buccal @ unit(np.asarray(answers.cheek.towards))), MIN_SHARE)


def _by_front_end(trace: _Trace, answers: SideAnswers) -> int | None:
    """On the left the way from right to left begins at the front teeth, on the right it ends."""
    if answers.front_end is None or answers.side is None:
        return None
    begins = trace.end_near(answers.front_end)
    return begins if begins is None or answers.side == "left" else -begins


def _by_right_end(trace: _Trace, answers: SideAnswers) -> int | None:
    """Both ends of a back piece lie on one side: there the answer would tell nothing."""
    back_piece = answers.side is not None and not trace.round_the_front
    return None if answers.right_end is None or back_piece else trace.end_near(answers.right_end)


def _by_order(trace: _Trace, named: Sequence[NamedPlace]) -> int | None:
    """Teeth of one jaw stand in the order of their numbers; 0 where the marked ones do not."""
    places = [
        (from_the_right(tooth), int(np.argmin(np.linalg.norm(trace.line - np.asarray(at), axis=1))))
        for tooth, at in named
    ]
    told = {
        int(np.sign((b[0] - a[0]) * (b[1] - a[1])))
        for a, b in combinations(places, 2)
        if a[0] != b[0] and abs(b[1] - a[1]) * _STEP_MM >= MIN_APART_MM
    }
    if not told:
        return None
    return told.pop() if len(told) == 1 else 0


_SIGNS: tuple[tuple[str, Callable[[_Trace, SideAnswers], int | None]], ...] = (
    ("shape", _by_shape),
    ("coordinates", _by_coordinates),
    ("place", _by_place),
    ("tongue", _by_tongue),
    ("front end", _by_front_end),
    ("right end", _by_right_end),
)


def _lacking(trace: _Trace, answers: SideAnswers, spoken: frozenset[str]) -> tuple[Question, ...]:
    """What the trace by itself leaves unknown.

    Cheek and tongue need a sign that is not the scan's coordinates; and in which sense the
    coordinates are to be read is known only from the teeth.
    """
    ask: list[Question] = []
    if answers.region is None and not trace.round_the_front:
        ask.append("teeth")
    elif not trace.round_the_front:
        end: Question = "right end" if answers.side is None else "front end"
        if not spoken & {end, "order"}:
            ask.append(end)
    if not spoken & {"shape", "tongue"}:
        ask.append("tongue")
    return tuple(ask)


def _sense(value: float, least: float) -> int | None:
    return None if abs(value) < least else int(np.sign(value))
