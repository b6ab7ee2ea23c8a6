"""How each way of marking a structure stands in the plan document."""

from __future__ import annotations

from collections.abc import Mapping

from core.kinds import FILE_KINDS, KINDS, Shape, ids_of
from core.plans.parts import (
    ID,
    LENGTH,
    POINT,
    TEXT,
    TOOTH,
    YES_NO,
    Key,
    Part,
    Values,
    listed,
    one_of,
    point_list,
    record,
)
from core.plans.plan_reader import At
from core.structures import (
    Course,
    Floor,
    Foramen,
    KnownObject,
    PointMarks,
    Structure,
    Tapered,
    kind_of,
)
from core.words.catalogue import message

ID_KEY = Key("id", ID, needed=True)
TOOTH_KEY = Key("tooth", TOOTH, empty="", drop=True)
LABEL_KEY = Key("label", TEXT, empty="")
_POINTS = Key("points", point_list(), needed=True)


def _check_seen(at: At, values: Values) -> None:
    count = len(values["points"])
    if at.has("seen") and len(values["seen"]) != count:
        raise at.get("seen").wrong(message("plans.file.seen", count=count))


def _two_lengths(at: At) -> tuple[float, float]:
    ends = tuple(d.length() for d in at.items())
    if len(ends) != 2:
        raise at.wrong(message("plans.file.two-diameters"))
    return ends[0], ends[1]


_SEEN_LIST = listed(one_of("yes", "faint", "no"))
_SEEN = Key("seen", Part(_SEEN_LIST.read, lambda v, _: list(v), _SEEN_LIST.schema), empty=())
_ENDS = Part(
    _two_lengths,
    lambda value, _: [float(d) for d in value],
    {"type": "array", "items": LENGTH.schema, "minItems": 2, "maxItems": 2},
)


def _kind(shape: Shape) -> Key:
    return Key("kind", one_of(*ids_of(shape)), needed=True)


STRUCTURES: Mapping[Shape, Part] = {
    "course": record(
        Course,
        ID_KEY,
        _kind("course"),
        _POINTS,
        Key("diameter_mm", LENGTH),
        _SEEN,
        Key("diameter_sd_mm", LENGTH, drop=True),
        Key("course", point_list(least=2)),
        Key("course_by", TEXT, empty=""),
        check=_check_seen,
    ),
    "foramen": record(
        Foramen,
        ID_KEY,
        _kind("foramen"),
        Key("mesial", POINT, needed=True),
        Key("distal", POINT, needed=True),
        Key("upper", POINT),
        Key("loop", TEXT, empty=""),
    ),
    "tapered": record(
        Tapered,
        ID_KEY,
        _kind("tapered"),
        TOOTH_KEY,
        Key("points", point_list(least=2), needed=True),
        Key("diameters_mm", _ENDS, needed=True),
        Key("to_be_removed", YES_NO, empty=False),
        _SEEN,
        check=_check_seen,
    ),
    "floor": record(
        Floor,
        ID_KEY,
        Key("of", one_of(*ids_of("floor")), needed=True),
        _POINTS,
        _SEEN,
        Key("elevation_intended", YES_NO, empty=False),
        check=_check_seen,
        constants={"kind": "floor"},
    ),
    "points": record(PointMarks, ID_KEY, _kind("points"), _POINTS, LABEL_KEY, TOOTH_KEY),
    "object": record(
        KnownObject,
        ID_KEY,
        Key("points", point_list(least=2), needed=True),
        Key("size_mm", LENGTH, needed=True),
        constants={"kind": "object"},
    ),
}
"""By the way in which a structure is marked."""


def _read_structure(at: At) -> Structure:
    # A kind that is not known here must not be passed over: it would count as far away.
    name = at.get("kind").one_of(*FILE_KINDS)
    kind = next(kind for kind in KINDS if kind.file_kind == name)
    structure: Structure = STRUCTURES[kind.shape].read(at)
    return structure


STRUCTURE = Part(
    _read_structure,
    lambda value, before: STRUCTURES[kind_of(value).shape].write(value, before),
    {"anyOf": [part.schema for part in STRUCTURES.values()]},
)
