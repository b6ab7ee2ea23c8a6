"""Random heads for what is proposed on opening: real jaw shapes and random jaws, and the truth.

A seed gives one case. Seeds under 100000 are open: choices may be tuned on them; those from there
on are held back, for the report alone. The crest's place and plane come from the shapes
themselves, see `tests.reference.real_jaws` and `tests.reference.random_jaws`.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

import numpy as np

from core.curve import Curve
from core.image.volume import Volume
from core.proposing.proposal import Proposal
from tests.reference import real_jaws
from tests.reference.random_jaws import kernels as k
from tests.reference.random_jaws.draw import choices
from tests.reference.random_jaws.image import scan_of
from tests.reference.random_jaws.shape import shape_of

FIELDS_MM = (40.0, 60.0, 80.0, None)
"""None: all of the jaw."""
PLANE_DEG, MEDIAN_MM, WORST_MM = 4.0, 1.5, 4.0
"""What a proposal must keep; own choice: a person would set it anew beyond."""
RANDOM_FIELDS_MM = (40.0, 60.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class Case:
    """A scan and what is true in it; places in patient LPS mm.

    Parameters
    ----------
    source : {'real', 'random'}
    shape : str
    jaw : {'lower', 'upper'}
    field_mm : float or None
    tilt_deg : float
        Of the plane of crest or cusps in the scanner.
    crest : (n, 3)
        The longest unbroken piece of the crest, or of the row of teeth, that was scanned.
    up : (3,)
        Normal of the plane of crest or cusps, to the head.
    """

    source: str
    shape: str
    jaw: str
    field_mm: float | None
    tilt_deg: float
    volume: Volume
    crest: np.ndarray
    up: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """What became of one case; angles and mm are None where nothing was proposed.

    ``along_deg`` and ``across_deg``: by how much the plane leans too far along the piece of crest
    and across it. ``median_mm`` and ``worst_mm``: from the middle 80 % of the crest to the arch.
    """

    seed: int
    source: str
    shape: str
    jaw: str
    field_mm: float | None
    tilt_deg: float
    crest_mm: float
    called: str | None
    plane_from: str
    plane_deg: float | None = None
    along_deg: float | None = None
    across_deg: float | None = None
    median_mm: float | None = None
    worst_mm: float | None = None

    @property
    def wrong(self) -> tuple[str, ...]:
        """What is wrong: jaw, arch, and the plane in the ways that it is called found."""
        if self.called is None:
            return ()
        plane = {"along": self.along_deg, "scanner": 0.0}.get(self.plane_from, self.plane_deg)
        parts = {
            "jaw": self.called != self.jaw,
            "arch": self.median_mm >= MEDIAN_MM or self.worst_mm >= WORST_MM,
            "plane": plane >= PLANE_DEG,
        }
        return tuple(name for name, held in parts.items() if held)

    @property
    def leans_and_says_so(self) -> bool:
        """The plane is off, in a way that is said not to be found."""
        return (
            self.called is not None
            and self.plane_from in ("along", "scanner")
            and self.plane_deg >= PLANE_DEG
        )

    def record(self) -> dict:
        """For a line of a file."""
        return asdict(self)


def real_case(seed: int) -> Case:
    """A real shape in a scanner: every 16 seeds hold each shape and jaw with each field once."""
    name = real_jaws.NAMES[seed % 2]
    upper = bool(seed // 2 % 2)
    field_mm = FIELDS_MM[seed // 4 % 4]
    draw = np.random.default_rng([seed, 14])
    shape = real_jaws.upper_like(name) if upper else real_jaws.shape(name)
    scan = real_jaws.drawn_scan(draw, shape, field_mm=field_mm, to_the_ends=0.05, seed=seed)
    return Case(
        source="real", shape=name, jaw=scan.jaw, field_mm=field_mm, tilt_deg=_lean(scan.up),
        volume=scan.volume, crest=scan.crest_inside, up=scan.up,
    )  # fmt: skip


def random_case(seed: int) -> Case:
    """A random jaw in a field large enough that a proposal may be wanted."""
    field_mm = RANDOM_FIELDS_MM[seed % 2]
    drawn = replace(
        choices(seed), along=field_mm, across=field_mm, height=0.75 * field_mm, voxel=0.25,
        fault="none",
    )  # fmt: skip
    shape = shape_of(drawn)
    volume = scan_of(shape, drawn)
    s = np.arange(-60.0, 60.1, 0.5)
    deep = 1.5
    share = np.sqrt(1.0 - max(0.0, 1.0 - deep / shape.v[k.ROUND_TOP]) ** 2)
    b, w = (np.interp(deep, _U, shape.by_u[row]) * share for row in (k.HALF_B, k.HALF_L))
    middle = shape.row(k.MIDDLE, s) + shape.v[k.TILT] * deep + 0.5 * shape.row(k.WIDE, s) * (b - w)
    crest = shape.patient(shape.place(s, middle, shape.row(k.TOP, s)))
    up = shape.turn @ np.array([0.0, 0.0, 1.0])
    teeth = {"none": "toothless", "one": "one tooth"}.get(drawn.teeth, "two teeth")
    return Case(
        source="random", shape=teeth, jaw=drawn.jaw, field_mm=field_mm, tilt_deg=_lean(up),
        volume=volume, crest=_scanned(crest, volume), up=up,
    )  # fmt: skip


_U = k.U_FIRST + k.U_STEP * np.arange(1401)


def judged(seed: int, case: Case, proposal: Proposal) -> Judged:
    """Holds a proposal against the truth."""
    held = {
        "seed": seed, "source": case.source, "shape": case.shape, "jaw": case.jaw,
        "field_mm": case.field_mm, "tilt_deg": round(case.tilt_deg, 1),
        "crest_mm": round(float(np.linalg.norm(np.diff(case.crest, axis=0), axis=1).sum()), 1),
        "called": proposal.jaw, "plane_from": proposal.plane_from,
    }  # fmt: skip
    if proposal.arch_points is None:
        return Judged(**held)
    off = off_the_arch_mm(case, proposal.arch_points)
    up, chord = proposal.level.up, case.crest[-1] - case.crest[0]
    chord -= (chord @ case.up) * case.up
    chord /= np.linalg.norm(chord)
    leans = [np.degrees(np.arctan2(up @ way, up @ case.up)) for way in (
        chord, np.cross(case.up, chord)
    )]  # fmt: skip
    whole = np.degrees(np.arccos(np.clip(up @ case.up, -1.0, 1.0)))
    numbers = (whole, *np.abs(leans), np.median(off), off.max())
    names = ("plane_deg", "along_deg", "across_deg", "median_mm", "worst_mm")
    return Judged(**held, **{n: round(float(v), 2) for n, v in zip(names, numbers, strict=True)})


def off_the_arch_mm(case: Case, arch_points: np.ndarray) -> np.ndarray:
    """(n,) of the middle 80 % of the scanned crest, seen along the jaw's true plane."""

    def flat(places):
        return places - np.outer((places - case.crest[0]) @ case.up, case.up)

    arch = Curve.through(flat(arch_points))
    cut = len(case.crest) // 10
    middle = flat(case.crest[cut : len(case.crest) - cut])
    return np.linalg.norm(arch.at(arch.nearest_stations(middle)) - middle, axis=1)


def _scanned(crest, volume):
    on = np.flatnonzero(volume.scanned_at(crest))
    pieces = np.split(on, np.flatnonzero(np.diff(on) > 1) + 1)
    return crest[max(pieces, key=len)]


def _lean(up):
    return float(np.degrees(np.arccos(min(1.0, up[2]))))
