"""The plane that a ridge's top lies on, and how well the ridge tells it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter1d

from core.geometry import Array, unit, vector
from core.proposing.heights import Heights
from core.proposing.ridge import RidgeLine

SCALES = (6.0, 4.5, 3.5, 3.0, 2.5, 2.0, 2.0)
"""Which a top's distance from the plane is measured in, pass by pass, to weigh it: in parts of
the evenness. A top that far off counts a quarter."""
ALIKE_MM = 12.0
"""Tops nearer to each other than this are high or low together: a tooth, or the bone of two."""
TIP_MM = 7
"""Between two teeth the line's top lies in the notch; the next tip is nearer than half of this."""


@dataclass(frozen=True, slots=True)
class Firmness:
    """How well each sign tells how a plane lies, as SDs; all are own choices without source.

    Parameters
    ----------
    even_mm : float
        Of tops about one plane: on two real jaws 0.4 mm for teeth and 0.9 for a crest. The least
        scatter that they are credited with.
    surface_deg : float
        Of the lean of the ridge's upper surface against the plane along it.
    head_deg : float
        Of the lean of a jaw in a scanner.
    """

    even_mm: float
    surface_deg: float
    head_deg: float


TEETH = Firmness(even_mm=0.4, surface_deg=10.0, head_deg=9.0)
CREST = Firmness(even_mm=0.9, surface_deg=6.0, head_deg=9.0)
UPRIGHT = vector((0.0, 0.0, 1.0))
"""The scanner's axis."""


@dataclass(frozen=True, eq=False)
class Settled:
    """A plane through a ridge's top.

    Parameters
    ----------
    origin : (3,) turned mm
    normal : (3,)
    doubt_deg : float
        SD of its lean in the direction that the ridge tells least about.
    """

    origin: Array
    normal: Array
    doubt_deg: float


def settled(tops: Heights, line: RidgeLine, surface_normal: Array, firm: Firmness) -> Settled:
    """Weighs the tops along the ridge, the lean of its surface, and the scanner's axis.

    Bayesian least squares with the SDs of a `Firmness`; tops that
    lie off the plane, as at missing teeth, count for less and less.

    Parameters
    ----------
    tops : Heights
        Over the plane that the line was found on.
    line : RidgeLine
    surface_normal : (3,) turned
        Of the plane that most of the ridge's upper surface lies on.
    firm : Firmness
    """
    # Between two teeth the line's top lies in the notch: the plane lies along the tips.
    top = maximum_filter1d(line.top, TIP_MM)
    flat = tops.flat(line.places)
    middle = flat.mean(axis=0)
    sides = np.column_stack([flat - middle, np.ones(len(flat))])
    leans = np.eye(3)[:2]
    told = [(surface_normal, firm.surface_deg), (UPRIGHT, firm.head_deg)]
    A = np.vstack([sides, *(leans for _ in told)])
    values = np.concatenate([top, *(_lean(tops, normal) for normal, _ in told)])
    held = np.repeat([1.0 / np.tan(np.radians(sd)) ** 2 for _, sd in told], 2)
    found = np.array([0.0, 0.0, float(np.median(top))])
    for scale in firm.even_mm * np.array(SCALES):
        off = top - sides @ found
        weight = 1.0 / (1.0 + (off / scale) ** 2) ** 2 / ALIKE_MM / firm.even_mm**2
        weight = np.concatenate([weight, held])
        moment = A.T @ (weight[:, None] * A)
        found = np.linalg.solve(moment, A.T @ (weight * values))
    normal = unit(tops.normal - found[0] * tops.u - found[1] * tops.v)
    origin = tops.places(middle[None])[0] + found[2] * tops.normal
    return Settled(origin, normal, doubt_deg(moment))


def doubt_deg(moment: Array) -> float:
    """SD of a fitted plane's lean in the direction that is told least, from its (3, 3) moments."""
    spread = np.linalg.eigvalsh(np.linalg.inv(moment)[:2, :2])
    return float(np.degrees(np.sqrt(spread.max())))


def _lean(tops: Heights, normal: Array) -> Array:
    """Rise of another plane along columns and rows of the one that the tops are counted from."""
    return -np.array([normal @ tops.u, normal @ tops.v]) / float(normal @ tops.normal)
