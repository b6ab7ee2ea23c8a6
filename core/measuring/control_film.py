"""Planned against achieved, from the ordinary control film taken afterwards anyway.

Definitions: on the film two distances are read, platform to the neighbour and apex to the canal,
and made true by the fixture's own known length on the same film. Each is compared with the same
distance of the plan, seen along the film's rays (no distance towards the cheek can be told from
one film). The differences of one person's cases are that person's own figures.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from core.arch import FixtureFrame
from core.distances.freehand import FREE_HAND, Series
from core.distances.tubes import tubes_of
from core.errors import OutputError
from core.fixture import Fixture
from core.image.radiograph import READ_OFF_U_MM, depth_from_film
from core.measurement import Budget, Reading
from core.structures import Course
from core.words.catalogue import Words, message
from core.words.values import row_of

NEIGHBOUR = "platform to neighbour"
CANAL = "apex to canal"
_WORDS = {
    NEIGHBOUR: message("measuring.film.neighbour"),
    CANAL: message("measuring.film.canal"),
}

FIXTURE_LENGTH_U_MM = 0.05
_STEP_MM = 0.05
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
    read_off_u: float | None = None,
) -> tuple[Difference, ...]:
    """Differences of the distances that are known on both sides.

    Parameters
    ----------
    read_off_u : float, optional
        Standard uncertainty of reading one length, in the film's unit; when left out 0.3 mm of
        the mouth, which the fixture turns into that unit: a pixel is no millimetre.

    Raises
    ------
    OutputError
        ``film-number`` for a length that is not positive (a canal's may be negative), or where
        no distance is known on both sides.
    """
    pairs = (
        (NEIGHBOUR, neighbour_planned_mm, film.neighbour_on_film),
        (CANAL, canal_planned_mm, film.canal_on_film),
    )
    found: list[Difference] = []
    if read_off_u is None:
        usable = film.fixture_true_mm > 0 and film.fixture_on_film > 0
        scale = film.fixture_on_film / film.fixture_true_mm if usable else 1.0
        read_off_u = READ_OFF_U_MM * scale
    for what, planned, on_film in pairs:
        if planned is None or on_film is None:
            continue
        signed = what == CANAL and on_film <= 0
        reading, budget = _scaled(on_film, film, signed=signed, read_off_u=read_off_u)
        found.append(Difference(what=what, planned_mm=planned, achieved=reading, budget=budget))
    if not found:
        raise OutputError(
            "film-number", what=message("measuring.film.control"),
            found=message("measuring.film.no-distance"),
            wanted=message("measuring.film.a-distance"),
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
            "film-number", what=message("measuring.film.own-cases"), found=len(values),
            wanted=message("measuring.film.two-or-more"),
        )  # fmt: skip
    return OwnFigures(
        count=len(values),
        mean_mm=float(values.mean()),
        mean_size_mm=float(np.abs(values).mean()),
        sd_mm=float(values.std(ddof=1)),
        worst_mm=float(np.abs(values).max()),
    )


def canal_on_film_mm(fixture: Fixture, frame: FixtureFrame, canal: Course) -> float | None:
    """What the plan's film would show from the apex to the canal's roof, along the axis, mm.

    Seen along parallel rays square to axis and mesial, as an ordinary film shows it: how far the
    canal lies towards cheek or tongue makes no difference. Negative where the apex stands in it;
    None where the canal does not pass below the apex.

    Parameters
    ----------
    fixture : Fixture
    frame : FixtureFrame
    canal : Course
    """
    (tube,) = tubes_of(canal)
    count = max(2, round(tube.length_mm / _STEP_MM) + 1)
    centres, radii = tube.at(np.linspace(0.0, tube.length_mm, count))
    offset = centres - fixture.apex
    along, aside = offset @ fixture.towards_apex, offset @ frame.m
    below = np.abs(aside) < radii
    if not below.any():
        return None
    return float((along - np.sqrt(np.maximum(radii**2 - aside**2, 0.0)))[below].min())


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmResult:
    """One distance of one control film as it is kept: nothing of the patient.

    Parameters
    ----------
    by : str
        Who placed the fixture.
    at : str
        ISO 8601.
    case : str
        Tells one placing from another, so that none counts twice; not to be read back.
    what : str
        `NEIGHBOUR` or `CANAL`.
    difference_mm : float
        Achieved less planned.
    """

    by: str
    at: str
    case: str
    what: str
    difference_mm: float


def distance_words(what: str) -> Words:
    """What a distance of a film is called, for people.

    Parameters
    ----------
    what : str
        `NEIGHBOUR` or `CANAL`.
    """
    return _WORDS[what]


def with_result(results: Iterable[FilmResult], new: FilmResult) -> tuple[FilmResult, ...]:
    """Results with a new one, in place of an older one of the same placing and distance."""
    kept = [r for r in results if (r.case, r.what) != (new.case, new.what)]
    return (*kept, new)


def figures_of(results: Iterable[FilmResult], by: str, what: str) -> OwnFigures | None:
    """One person's figures of one distance; None with fewer than two cases.

    Parameters
    ----------
    results : iterable of FilmResult
    by : str
        Initials or name of who did it.
    what : str
    """
    values = [r.difference_mm for r in results if r.by == by and r.what == what]
    return own_figures(values) if len(values) > 1 else None


def own_series(results: Iterable[FilmResult], by: str) -> Series | None:
    """One person's own mean deviations, for one more line of placement by hand.

    From ten films on, each distance by itself: *apex to canal* tells the depth, *platform to
    neighbour* the mesio-distal shift. What a film cannot tell (cheek and tongue, tilt), and what
    is not yet told by ten films, stays that of the published series. None while neither is told.
    """
    results = tuple(results)
    depth, across = (figures_of(results, by, what) for what in (CANAL, NEIGHBOUR))
    told: list[Words] = []
    deeper, mesiodistal = FREE_HAND.deeper_mm, FREE_HAND.mesiodistal_mm
    if by and depth is not None and depth.is_enough:
        deeper = depth.mean_size_mm
        told.append(message("measuring.film.depth", mm=deeper, count=depth.count))
    if by and across is not None and across.is_enough:
        mesiodistal = across.mean_size_mm
        told.append(message("measuring.film.mesiodistal", mm=mesiodistal, count=across.count))
    if not told:
        return None
    return Series(
        key="own_figures",
        name=message("measuring.film.own-figures"),
        deeper_mm=deeper,
        mesiodistal_mm=mesiodistal,
        buccolingual_mm=FREE_HAND.buccolingual_mm,
        tilt_deg=FREE_HAND.tilt_deg,
        together=True,
        source=message(
            "measuring.film.own-source", by=by, told=row_of(told), source=FREE_HAND.source
        ),
    )
