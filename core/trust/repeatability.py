"""Repeat study: the same marks placed again, and what that tells about the hand that placed them.

One or two people place the same marks n times on sections that they see shuffled and without the
earlier marks. It shows scatter, never bias: a canal misread twice alike looks perfect.
"""

from __future__ import annotations

import math
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.stats import chi2

from core.errors import SoundingError
from core.geometry import Array, vector
from core.trust.method_error import (
    Agreement,
    Interval,
    Intraclass,
    bland_altman,
    dahlberg,
    intraclass,
)

_MOST_PEOPLE = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RepeatReading:
    """One mark, placed once.

    Parameters
    ----------
    person : str
    section : str
        Which section it was placed on.
    mark : str
        Which mark of that section: ``crest``, ``canal-top`` ...
    round : int
        1 for the first placing, 2 for the second ...
    point : (3,) mm
        Patient LPS, in the section's plane.
    """

    person: str
    section: str
    mark: str
    round: int
    point: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "point", vector(self.point))
        if not self.person or self.round < 1:
            raise ValueError("a reading needs a person and a round from 1")


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Scatter of one person's marks, for each direction in the section, mm.

    Parameters
    ----------
    sd_mm : float
        Pooled within-mark standard deviation.
    interval_mm : (low, high)
        95 % confidence interval by chi-square.
    freedom : int
        Degrees of freedom: two a repeated placing.
    marks, placings, rounds : int
        How many marks were repeated, how many placings of them there are, most of one mark.
    """

    sd_mm: float
    interval_mm: Interval
    freedom: int
    marks: int
    placings: int
    rounds: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MethodError:
    """What two series of readings of the same lengths say about each other.

    Parameters
    ----------
    first, second : (person, round)
    agreement : Agreement
        Of first - second, mm.
    dahlberg_mm : float
    correlations : Intraclass
    """

    first: tuple[str, int]
    second: tuple[str, int]
    agreement: Agreement
    dahlberg_mm: float
    correlations: Intraclass


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyDesign:
    """What is placed, how often, and in which order: told before the first mark is placed.

    Parameters
    ----------
    seed : int
        The order follows from it: printed, so that a study can be followed, and taken up again.
    rounds : int
    marks : tuple of str
        Names of the marks of each section, in the order of placing.
    stations : tuple of (section, station mm)
    """

    seed: int
    rounds: int
    marks: tuple[str, ...]
    stations: tuple[tuple[str, float], ...]

    def order(self, person_number: int) -> tuple[tuple[str, int], ...]:
        """(section, round) in the order in which a person sees them, each person another."""
        names = [section for section, _ in self.stations]
        return shuffled(names, self.rounds, seed=self.seed + person_number)

    def station_of(self, section: str) -> float:
        """Where on the arch a section lies, mm."""
        return dict(self.stations)[section]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RepeatStudy:
    """All readings of one study.

    Parameters
    ----------
    design : StudyDesign or None
    series_uid : str
        Scan that it was made on.
    at : str
        ISO 8601.
    readings : tuple of RepeatReading

    Raises
    ------
    SoundingError
        ``repeat-too-many-people``; ``repeat-twice-placed`` where one person placed one mark twice
        in one round.
    """

    design: StudyDesign | None = None
    series_uid: str = ""
    at: str = ""
    readings: tuple[RepeatReading, ...]

    def __post_init__(self) -> None:
        if len(self.people) > _MOST_PEOPLE:
            raise SoundingError("repeat-too-many-people", found=len(self.people))
        seen: set[tuple[str, str, str, int]] = set()
        for r in self.readings:
            key = (r.person, r.section, r.mark, r.round)
            if key in seen:
                raise SoundingError(
                    "repeat-twice-placed",
                    person=r.person, mark=r.mark, section=r.section, round=r.round,
                )  # fmt: skip
            seen.add(key)

    @property
    def people(self) -> tuple[str, ...]:
        """Who took part, in the order of their first reading."""
        return tuple(dict.fromkeys(r.person for r in self.readings))

    def left_of(self, person: str) -> tuple[tuple[str, int], ...]:
        """(section, round) that a person has not placed yet, in their order.

        A person who has placed nothing is the next one.
        """
        if self.design is None:
            return ()
        people = self.people
        number = people.index(person) if person in people else len(people)
        done = {(r.section, r.round) for r in self.readings if r.person == person}
        return tuple(step for step in self.design.order(number) if step not in done)

    def spread(self, person: str) -> Spread:
        """Scatter of a person's marks about each mark's own mean.

        sd² = sum of squared distances from the mark's mean / (2 x (placings - 1)), pooled over
        all marks: a hand moves a mark in the two directions of its section.

        Raises
        ------
        SoundingError
            ``repeat-one-reading`` where no mark was placed twice.
        """
        placed = self._by_mark(person)
        repeated = [np.array(points) for points in placed.values() if len(points) > 1]
        if not repeated:
            raise SoundingError("repeat-one-reading")
        squares = sum(float(((p - p.mean(axis=0)) ** 2).sum()) for p in repeated)
        freedom = 2 * sum(len(p) - 1 for p in repeated)
        low, high = (math.sqrt(squares / float(chi2.ppf(q, freedom))) for q in (0.975, 0.025))
        return Spread(
            sd_mm=math.sqrt(squares / freedom),
            interval_mm=(low, high),
            freedom=freedom,
            marks=len(repeated),
            placings=sum(len(p) for p in repeated),
            rounds=max(len(p) for p in repeated),
        )

    def lengths(
        self, marks: tuple[str, str], columns: Sequence[tuple[str, int]]
    ) -> tuple[tuple[str, ...], Array]:
        """Distance between two marks of a section, once for each person and round.

        Parameters
        ----------
        marks : (first, second)
        columns : sequence of (person, round)

        Returns
        -------
        sections : tuple of str, n long
            Those in which every column holds both marks.
        table : (n, k) mm
        """
        at = {(r.section, r.mark, r.person, r.round): r.point for r in self.readings}
        sections, rows = [], []
        for section in dict.fromkeys(r.section for r in self.readings):
            ends = [
                tuple(at.get((section, mark, person, number)) for mark in marks)
                for person, number in columns
            ]
            row = [float(np.linalg.norm(b - a)) for a, b in ends if a is not None and b is not None]
            if len(row) == len(columns):
                sections.append(section)
                rows.append(row)
        return tuple(sections), np.array(rows).reshape(-1, len(columns))

    def method_error(
        self, marks: tuple[str, str], first: tuple[str, int], second: tuple[str, int]
    ) -> MethodError:
        """Agreement of two series of readings of the same lengths.

        Parameters
        ----------
        marks : (first, second)
            The length's two marks.
        first, second : (person, round)
            Two rounds of one person, or one round of each of two people.

        Raises
        ------
        SoundingError
            ``repeat-one-reading``, ``repeat-no-spread``.
        """
        if first == second:
            raise SoundingError("repeat-one-reading")
        _, table = self.lengths(marks, (first, second))
        return MethodError(
            first=first,
            second=second,
            agreement=bland_altman(table[:, 0], table[:, 1]),
            dahlberg_mm=dahlberg(table[:, 0], table[:, 1]),
            correlations=intraclass(table),
        )

    def to_json(self) -> dict[str, object]:
        """The study as JSON values, every reading in it."""
        return {
            "format": "sounding-repeat-study",
            "version": 1,
            "series_uid": self.series_uid,
            "at": self.at,
            "design": None if self.design is None else _design_json(self.design),
            "readings": [
                {
                    "person": r.person,
                    "section": r.section,
                    "mark": r.mark,
                    "round": r.round,
                    "point": r.point.tolist(),
                }
                for r in self.readings
            ],
        }

    @classmethod
    def of_json(cls, document: Mapping[str, object]) -> RepeatStudy:
        """Read what `to_json` wrote.

        Raises
        ------
        SoundingError
            ``repeat-unreadable`` for anything else.
        """
        try:
            rows = document["readings"]
            if document["format"] != "sounding-repeat-study" or document["version"] != 1:
                raise ValueError("another format")  # noqa: TRY301  told as one refusal below
            if not isinstance(rows, list):
                raise TypeError("readings are a list")  # noqa: TRY301
            readings = tuple(
                RepeatReading(
                    person=str(row["person"]),
                    section=str(row["section"]),
                    mark=str(row["mark"]),
                    round=int(row["round"]),
                    point=row["point"],
                )
                for row in rows
            )
            raw = document.get("design")
            design = None if raw is None else _design_of(raw)
        except (KeyError, TypeError, ValueError, AttributeError) as fault:
            raise SoundingError("repeat-unreadable", reason=str(fault)) from fault
        return cls(
            design=design,
            series_uid=str(document.get("series_uid", "")),
            at=str(document.get("at", "")),
            readings=readings,
        )

    def _by_mark(self, person: str) -> dict[tuple[str, str], list[Array]]:
        placed: dict[tuple[str, str], list[Array]] = {}
        for r in self.readings:
            if r.person == person:
                placed.setdefault((r.section, r.mark), []).append(r.point)
        return placed


def _design_json(design: StudyDesign) -> dict[str, object]:
    return {
        "seed": design.seed,
        "rounds": design.rounds,
        "marks": list(design.marks),
        "stations": [{"section": s, "station_mm": mm} for s, mm in design.stations],
    }


def _design_of(raw: Any) -> StudyDesign:
    return StudyDesign(
        seed=int(raw["seed"]),
        rounds=int(raw["rounds"]),
        marks=tuple(str(mark) for mark in raw["marks"]),
        stations=tuple((str(s["section"]), float(s["station_mm"])) for s in raw["stations"]),
    )


def shuffled(sections: Sequence[str], rounds: int, *, seed: int) -> tuple[tuple[str, int], ...]:
    """Order in which the sections are shown: each round shuffled anew, none twice in a row.

    Parameters
    ----------
    sections : sequence of str
        At least two, so that the one just marked is not shown again at once.
    rounds : int
    seed : int
        The same seed gives the same order, so that a study can be taken up again.

    Raises
    ------
    SoundingError
        ``repeat-one-reading`` with fewer than two rounds or two sections.
    """
    if rounds < 2 or len(sections) < 2:
        raise SoundingError("repeat-one-reading")
    draw = random.Random(seed)  # noqa: S311  an order to look at pictures in is no secret
    order: list[tuple[str, int]] = []
    for number in range(1, rounds + 1):
        left = list(sections)
        draw.shuffle(left)
        if order and left[0] == order[-1][0]:
            left.append(left.pop(0))
        order += [(section, number) for section in left]
    return tuple(order)
