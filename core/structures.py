"""What is marked in the scan: canal, foramen, roots, floor, vessel and the rest.

All points are patient LPS mm. `Seen` tells how well the operator saw each mark.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias, assert_never

import numpy as np

from core.geometry import Array, points, vector
from core.kinds import KIND, Shape, StructureKind, ids_of

Seen: TypeAlias = Literal["yes", "faint", "no"]


def _check_kind(kind: str, shape: Shape) -> None:
    if kind not in ids_of(shape):
        raise ValueError(f"{kind!r} is none of {', '.join(ids_of(shape))}")


def _check_seen(seen: tuple[Seen, ...], count: int) -> tuple[Seen, ...]:
    if not seen:
        taken_as: Seen = "yes"
        return (taken_as,) * count
    if len(seen) != count or any(s not in ("yes", "faint", "no") for s in seen):
        raise ValueError(f"'seen' needs one of yes, faint, no for each of {count} marks")
    return seen


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """A tube along a curve through marks: canal, loop, vessel, lower border.

    Parameters
    ----------
    id : str
    kind : str
        Id of a kind with this shape in `core.kinds`.
    points : (n, 3) mm
        Marks on the middle of the tube.
    diameter_mm : float or None
        Outside of the bony wall. None for a canal: 3.0 mm with an SD of 0.35 is used and said;
        None for the others: a curve without thickness.
    diameter_sd_mm : float or None
        Standard deviation of the diameter, from its fit or as it was stated. None where nobody
        stated one: a diameter then counts as read off a picture, see `core.distances.tubes`.
    seen : tuple of {'yes', 'faint', 'no'}
        One a mark; all ``yes`` when left out.
    course : (m, 3) mm or None
        A course that is not the spline of the marks; clearances then use it.
    """

    id: str
    kind: str
    points: Array
    diameter_mm: float | None = None
    diameter_sd_mm: float | None = None
    seen: tuple[Seen, ...] = ()
    course: Array | None = None
    course_by: str = ""

    def __post_init__(self) -> None:
        _check_kind(self.kind, "course")
        object.__setattr__(self, "points", points(self.points))
        if len(self.points) < 1:
            raise ValueError("a curve needs at least one mark")
        object.__setattr__(self, "seen", _check_seen(self.seen, len(self.points)))
        if self.diameter_mm is not None and not self.diameter_mm > 0:
            raise ValueError("a diameter must be positive")
        if self.diameter_sd_mm is not None and self.diameter_sd_mm < 0:
            raise ValueError("the spread of a diameter cannot be negative")
        if self.course is not None:
            object.__setattr__(self, "course", points(self.course))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Foramen:
    """The mental foramen: its mesial, distal and upper edge, and what is known of the loop."""

    id: str
    kind: str = "foramen"
    mesial: Array
    distal: Array
    upper: Array | None = None
    loop: str = ""

    def __post_init__(self) -> None:
        _check_kind(self.kind, "foramen")
        object.__setattr__(self, "mesial", vector(self.mesial))
        object.__setattr__(self, "distal", vector(self.distal))
        if self.upper is not None:
            object.__setattr__(self, "upper", vector(self.upper))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tapered:
    """A root, or an existing implant or metal: balls along a polyline, radius linear in length.

    Parameters
    ----------
    id : str
    kind : str
        Id of a kind with this shape in `core.kinds`.
    tooth : str
        ISO 3950, for roots.
    points : (n, 3) mm, n >= 2
    diameters_mm : (first, last)
        Diameter at the first and the last point.
    to_be_removed : bool
        No limit to it, and its socket is not bone.
    """

    id: str
    kind: str
    tooth: str = ""
    points: Array
    diameters_mm: tuple[float, float]
    to_be_removed: bool = False
    seen: tuple[Seen, ...] = ()

    def __post_init__(self) -> None:
        _check_kind(self.kind, "tapered")
        object.__setattr__(self, "points", points(self.points))
        if len(self.points) < 2:
            raise ValueError("a root or an existing implant needs two marks or more")
        if len(self.diameters_mm) != 2 or not all(d > 0 for d in self.diameters_mm):
            raise ValueError("two positive diameters are needed, at the first and the last mark")
        object.__setattr__(self, "seen", _check_seen(self.seen, len(self.points)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Floor:
    """Sinus or nasal floor: a surface through marks; `of` is the id of a kind in `core.kinds`."""

    id: str
    of: str
    points: Array
    seen: tuple[Seen, ...] = ()
    elevation_intended: bool = False

    def __post_init__(self) -> None:
        _check_kind(self.of, "floor")
        object.__setattr__(self, "points", points(self.points))
        object.__setattr__(self, "seen", _check_seen(self.seen, len(self.points)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PointMarks:
    """One or more points of a kind in `core.kinds`: a mark, gum, stent top, cusps, contacts ..."""

    id: str
    kind: str
    points: Array
    label: str = ""
    tooth: str = ""

    def __post_init__(self) -> None:
        _check_kind(self.kind, "points")
        object.__setattr__(self, "points", points(self.points))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KnownObject:
    """Objects whose centre-to-centre distance was measured, for the scale check."""

    id: str
    points: Array
    size_mm: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "points", points(self.points))
        if len(self.points) != 2 or not self.size_mm > 0:
            raise ValueError("a scale object needs two centres and their true distance")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ruler:
    """A straight line between two marks, measured as it stands.

    Parameters
    ----------
    id : str
    points : (2, 3) mm
    label : str
        What the person called it.
    """

    id: str
    points: Array
    label: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "points", points(self.points))
        if len(self.points) != 2:
            raise ValueError("a ruler has two marks")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AngleMark:
    """An angle between two arms that meet in the second of three marks.

    Parameters
    ----------
    id : str
    points : (3, 3) mm
        End of the first arm, corner, end of the second arm.
    label : str
    """

    id: str
    points: Array
    label: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "points", points(self.points))
        if len(self.points) != 3:
            raise ValueError("an angle has three marks: an arm's end, the corner, an arm's end")
        arms = np.linalg.norm(self.points[[0, 2]] - self.points[1], axis=1)
        if float(arms.min()) < 1e-6:
            raise ValueError("both arms of an angle need a length")


Structure: TypeAlias = Course | Foramen | Tapered | Floor | PointMarks | KnownObject


def kind_of(structure: Structure) -> StructureKind:
    """What a structure is: its row of `core.kinds`."""
    match structure:
        case Course() | Foramen() | Tapered() | PointMarks():
            return KIND[structure.kind]
        case Floor():
            return KIND[structure.of]
        case KnownObject():
            return KIND["object"]
        case _:
            assert_never(structure)


def is_in_force(structure: Structure) -> bool:
    """False where no limit is held: it is to be removed, or a floor is to be elevated."""
    match structure:
        case Tapered():
            return not structure.to_be_removed
        case Floor():
            return not structure.elevation_intended
        case _:
            return True


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StentAxis:
    """The stent's radiopaque filling as an axis, from its occlusal to its gingival end.

    Parameters
    ----------
    id : str
    occlusal, gingival : (3,) patient LPS mm
    diameter_mm : float
        Of the filling as it shows, blooming included: no scale, no limit hangs on it.
    offset_sd_mm, direction_sd_deg : float
        Of an axis that was found in the image: standard deviation of its middle, in each
        direction across it, and of its direction, in each plane through it. Both 0: the two ends
        were set by hand, and their marks carry the doubt.
    """

    id: str
    occlusal: Array
    gingival: Array
    diameter_mm: float = 3.0
    offset_sd_mm: float = 0.0
    direction_sd_deg: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "occlusal", vector(self.occlusal))
        object.__setattr__(self, "gingival", vector(self.gingival))
        if float(np.linalg.norm(self.gingival - self.occlusal)) < 1e-6:
            raise ValueError("the two ends of a stent axis must differ")
        if min(self.offset_sd_mm, self.direction_sd_deg) < 0:
            raise ValueError("the spread of an axis cannot be negative")

    @property
    def found(self) -> bool:
        """True where the axis was found in the image; False where its ends were set by hand."""
        return self.offset_sd_mm > 0 or self.direction_sd_deg > 0

    def sd_at_mm(self, share: float) -> float:
        """SD across a found axis at a share of its length, 0 the occlusal end, 1 the gingival.

        Middle and slope of a fitted line are independent; the slope counts by the distance from
        the middle.
        """
        away = (share - 0.5) * float(np.linalg.norm(self.gingival - self.occlusal))
        return float(np.hypot(self.offset_sd_mm, away * np.radians(self.direction_sd_deg)))
