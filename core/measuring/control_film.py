"""Planned against achieved, from the ordinary control film taken afterwards anyway.

Definitions: on the film two distances are read, platform to the neighbour and apex to the canal,
and made true by the fixture's own known length on the same film. Each is compared with the same
distance of the plan, seen along the film's rays (no distance towards the cheek can be told from
one film). The differences of one person's cases are that person's own figures.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from core.errors import OutputError
from core.image.radiograph import READ_OFF_U_MM, depth_from_film
from core.measurement import Budget, Reading

FIXTURE_LENGTH_U_MM = 0.05
LEAST_CASES = 10
"""Below that a spread says little: its own 95 % interval is wider than 0.69 to 1.83 times it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlFilm:
    """What is read off a control film, mm or pixels, all in one unit.

    Parameters
    ----------
    fixture_true_mm : float
        Length of the fixture that was placed.
    fixture_on_film : float
    neighbour_on_film : float or None
        From the platform's middle to the neighbour's facing surface, across the axis.
    canal_on_film : float or None
        From the apex to the canal's roof, along the axis; negative where it lies in it.
    """

    fixture_true_mm: float
    fixture_on_film: float
    neighbour_on_film: float | None = None
    canal_on_film: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Difference:
    """Achieved less planned, of one distance.

    Parameters
    ----------
    what : {'platform to neighbour', 'apex to canal'}
    planned_mm : float
    achieved : Reading
    budget : Budget
        Of the achieved distance; the plan's own doubt is not in it.
    """

    what: str
    planned_mm: float
    achieved: Reading
    budget: Budget

    @property
    def difference_mm(self) -> float:
        """Achieved less planned, mm; + further away than planned."""
        if self.achieved.value is None:
            raise ValueError("a difference needs an achieved distance")
        return self.achieved.value - self.planned_mm


def compare(
    film: ControlFilm,
    *,
    neighbour_planned_mm: float | None = None,
    canal_planned_mm: float | None = None,
    read_off_u: float = READ_OFF_U_MM,
) -> tuple[Difference, ...]:
    """Differences of the distances that are known on both sides.

    Raises
    ------
    OutputError
        ``film-number`` for a length that is not positive (a canal's may be negative), or where
        no distance is known on both sides.
    """
    pairs = (
        ("platform to neighbour", neighbour_planned_mm, film.neighbour_on_film),
        ("apex to canal", canal_planned_mm, film.canal_on_film),
    )
    found: list[Difference] = []
    for what, planned, on_film in pairs:
        if planned is None or on_film is None:
            continue
        signed = what == "apex to canal" and on_film <= 0
        reading, budget = _scaled(on_film, film, signed=signed, read_off_u=read_off_u)
        found.append(Difference(what=what, planned_mm=planned, achieved=reading, budget=budget))
    if not found:
        raise OutputError(
            "film-number", what="The control film", found="without a distance that the plan holds",
            wanted="the neighbour's or the canal's distance",
        )  # fmt: skip
    return tuple(found)


def _scaled(
    on_film: float, film: ControlFilm, *, signed: bool, read_off_u: float
) -> tuple[Reading, Budget]:
    # A distance of zero has no direction: a hair's length stands in for its scale.
    length = max(-on_film, 1e-6) if signed else on_film
    reading, budget = depth_from_film(
        length,
        pin_true_mm=film.fixture_true_mm,
        pin_on_film_mm=film.fixture_on_film,
        read_off_u_mm=read_off_u,
        pin_u_mm=FIXTURE_LENGTH_U_MM,
    )
    if not signed or reading.value is None:
        return reading, budget
    return Reading(value=-reading.value), budget


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnFigures:
    """What one person's control films say, for the free-hand line in place of published ones.

    Parameters
    ----------
    count : int
    mean_mm : float
        Mean of achieved less planned: a habit (too deep, too far forward).
    mean_size_mm : float
        Mean of its size: what stands in the free-hand line.
    sd_mm : float
    worst_mm : float
        Largest size.
    """

    count: int
    mean_mm: float
    mean_size_mm: float
    sd_mm: float
    worst_mm: float

    @property
    def is_enough(self) -> bool:
        """True from ten cases on."""
        return self.count >= LEAST_CASES


def own_figures(differences_mm: Sequence[float]) -> OwnFigures:
    """Figures of one person and one distance.

    Raises
    ------
    OutputError
        ``film-number`` with fewer than two cases, or a number that is not finite.
    """
    values = np.asarray(differences_mm, dtype=np.float64)
    if len(values) < 2 or not np.isfinite(values).all():
        raise OutputError(
            "film-number", what="The number of own cases", found=len(values),
            wanted="two finite differences or more",
        )  # fmt: skip
    return OwnFigures(
        count=len(values),
        mean_mm=float(values.mean()),
        mean_size_mm=float(np.abs(values).mean()),
        sd_mm=float(values.std(ddof=1)),
        worst_mm=float(np.abs(values).max()),
    )
