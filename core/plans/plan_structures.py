"""What is marked in the scan, read from a plan document."""

from __future__ import annotations

from typing import assert_never

from core.geometry import points, vector
from core.kinds import FILE_KINDS, KINDS, ids_of
from core.plans.plan_reader import At, text_at
from core.structures import (
    Course,
    Floor,
    Foramen,
    KnownObject,
    PointMarks,
    Seen,
    Structure,
    Tapered,
)


def read_structure(at: At) -> Structure:
    """Structure of any kind.

    Raises
    ------
    PlanError
        ``plan-invalid``, ``plan-missing-key``, ``plan-invalid-value`` or ``plan-wrong-tooth``.
    """
    # A kind that is not known here must not be passed over: it would count as far away.
    name = at.get("kind").one_of(*FILE_KINDS)
    kind = next(kind for kind in KINDS if kind.file_kind == name)
    match kind.shape:
        case "course":
            return _course(at, name)
        case "foramen":
            return _foramen(at, name)
        case "tapered":
            return _tapered(at, name)
        case "floor":
            return _floor(at)
        case "points":
            return _point_marks(at, name)
        case "object":
            return _known_object(at)
        case _:
            assert_never(kind.shape)


def _seen(at: At, count: int) -> tuple[Seen, ...]:
    seen: tuple[Seen, ...] = at.each("seen", lambda s: s.one_of("yes", "faint", "no"))
    if at.has("seen") and len(seen) != count:
        raise at.get("seen").wrong(f"one of yes, faint, no for each of {count} marks")
    return seen


def _course(at: At, kind: str) -> Course:
    marks = at.get("points").points()
    course_id, seen = at.get("id").id(), _seen(at, len(marks))
    diameter = at.maybe("diameter_mm", At.length)
    spread = at.maybe("diameter_sd_mm", At.length)
    course = at.maybe("course", lambda c: points(c.points(least=2)))
    by = text_at(at, "course_by")
    return at.built(
        lambda: Course(
            id=course_id,
            kind=kind,
            points=points(marks),
            diameter_mm=diameter,
            diameter_sd_mm=spread,
            seen=seen,
            course=course,
            course_by=by,
        )
    )


def _foramen(at: At, kind: str) -> Foramen:
    return Foramen(
        id=at.get("id").id(),
        kind=kind,
        mesial=vector(at.get("mesial").point()),
        distal=vector(at.get("distal").point()),
        upper=at.maybe("upper", lambda p: vector(p.point())),
        loop=text_at(at, "loop"),
    )


def _tapered(at: At, kind: str) -> Tapered:
    marks = at.get("points").points(least=2)
    diameters = at.get("diameters_mm")
    ends = tuple(d.length() for d in diameters.items())
    if len(ends) != 2:
        raise diameters.wrong("two diameters in mm, at the first and the last mark")
    structure_id, seen = at.get("id").id(), _seen(at, len(marks))
    tooth = at.maybe("tooth", At.tooth) or ""
    removed = at.maybe("to_be_removed", At.yes_no) or False
    return at.built(
        lambda: Tapered(
            id=structure_id,
            kind=kind,
            tooth=tooth,
            points=points(marks),
            diameters_mm=(ends[0], ends[1]),
            to_be_removed=removed,
            seen=seen,
        )
    )


def _floor(at: At) -> Floor:
    marks = at.get("points").points()
    return Floor(
        id=at.get("id").id(),
        of=at.get("of").one_of(*ids_of("floor")),
        points=points(marks),
        seen=_seen(at, len(marks)),
        elevation_intended=at.maybe("elevation_intended", At.yes_no) or False,
    )


def _point_marks(at: At, kind: str) -> PointMarks:
    return PointMarks(
        id=at.get("id").id(),
        kind=kind,
        points=points(at.get("points").points()),
        label=text_at(at, "label"),
        tooth=at.maybe("tooth", At.tooth) or "",
    )


def _known_object(at: At) -> KnownObject:
    object_id, centres = at.get("id").id(), at.get("points").points(least=2)
    size = at.get("size_mm").length()
    return at.built(lambda: KnownObject(id=object_id, points=points(centres), size_mm=size))
