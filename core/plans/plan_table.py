"""The plan document, described once: what is read, what is written, and its JSON Schema.

Structures have a table of their own: `core.plans.structure_table`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, get_args

from core.direction import REGIONS, CheekAnswer, SideAnswers, as_point
from core.distances.drilling import ORIGINS
from core.errors import PlanError
from core.fixture import Fixture, FixtureSize
from core.level import Level
from core.plans.limits import KEYS
from core.plans.parts import (
    DIRECTION,
    ID,
    LENGTH,
    PLACE,
    POINT,
    TEXT,
    Key,
    Part,
    Schema,
    Values,
    keys_schema,
    listed,
    number,
    one_of,
    over,
    point_list,
    record,
    texts_by_name,
    whole,
)
from core.plans.plan import (
    MISSING,
    TISSUES,
    TROUBLE_PLACES,
    TROUBLES,
    ChangedLimit,
    Declaration,
    DeclaredState,
    ImageCheck,
    OwnHand,
    Plan,
    ScanTie,
    SideCheck,
    SignOff,
    Site,
    TissuePoint,
)
from core.plans.plan_reader import At
from core.plans.structure_table import ID_KEY, LABEL_KEY, STRUCTURE, TOOTH_KEY
from core.structures import AngleMark, Ruler, StentAxis
from core.words.catalogue import message

FORMAT = "sounding-plan"
VERSION = 2

STATES = get_args(DeclaredState)

_BY, _AT = Key("by", TEXT, empty=""), Key("at", TEXT, empty="")

# -- what a person decided -----------------------------------------------------------------


def _check_declaration(at: At, values: Values) -> None:
    # Only this state takes a structure out of the summary; nobody may do that without a reason.
    if values["state"] == "not near this site" and not values["reason"].strip():
        raise PlanError("plan-reason-missing", where=at.where, structure=values["structure"])
    if values["state"] == MISSING and not values["structure"].startswith("root-"):
        raise at.get("state").wrong(message("plans.file.only-a-root"))


_DECLARATION = record(
    Declaration,
    Key("structure", TEXT, needed=True),
    Key("state", one_of(*STATES), needed=True),
    Key("reason", TEXT, empty=""),
    _BY,
    _AT,
    check=_check_declaration,
)


def _read_troubles(at: At) -> dict[str, str]:
    at.must_be_object()
    answers: dict[str, str] = {}
    for key, found in at.value.items():
        # An unanswered question (null) stays unanswered; a wrong word is not an answer.
        if found is not None and (key in TROUBLES or found in TROUBLE_PLACES):
            answers[key] = at.get(key).one_of(*TROUBLE_PLACES)
    return answers


_TROUBLES = Part(
    _read_troubles,
    lambda value, before: over(before if isinstance(before, dict) else {}, dict(value)),
    {
        "type": "object",
        "properties": {name: {"enum": [*TROUBLE_PLACES, None]} for name in TROUBLES},
    },
)


def _limit_mm(at: At) -> float:
    value = at.number(size=50.0)
    if value < 0:
        raise at.wrong(message("plans.file.limit"))
    return value


_CHANGED = record(
    ChangedLimit,
    Key(
        "value",
        Part(_limit_mm, lambda v, _: v, {"type": "number", "minimum": 0, "maximum": 50}),
        needed=True,
    ),
    _BY,
    _AT,
    Key("reason", TEXT, empty=""),
)


def _read_limits(at: At) -> dict[str, ChangedLimit]:
    at.must_be_object()
    # Other keys stay in the document; `core.plans.plan_checks` says that they have no effect.
    found = {key: at.maybe(key, _CHANGED.read) for key in KEYS}
    return {key: changed for key, changed in found.items() if changed is not None}


def _write_limits(limits: Mapping[str, ChangedLimit], before: Any) -> Values:
    raw = before if isinstance(before, dict) else {}
    known: Values = dict.fromkeys(KEYS)
    return over(raw, known | {k: _CHANGED.write(v, raw.get(k)) for k, v in limits.items()})


_LIMITS = Part(
    _read_limits,
    _write_limits,
    {
        "type": "object",
        "properties": {key: {"anyOf": [_CHANGED.schema, {"type": "null"}]} for key in KEYS},
    },
)

# -- arch and side -------------------------------------------------------------------------

_CHEEK = record(
    CheekAnswer,
    Key("at", PLACE, needed=True),
    Key("towards", PLACE, needed=True),
    blame="towards",
)
_STARTS = one_of("first", "last")
_TRACE = Key("points", point_list(least=2), needed=True, attr="arch_points")
_ANSWERS = (
    Key("teeth", one_of(*REGIONS), attr="region"),
    Key("front_end", PLACE),
    Key("right_end", PLACE),
    Key("cheek", _CHEEK),
)


def _read_arch(at: At) -> Values:
    trace = _TRACE.read(at)
    answers: Values = {}
    for key in _ANSWERS:
        answers |= key.read(at)
    starts = at.maybe("starts", _STARTS.read)
    if answers["right_end"] is None and starts is not None:
        # Older plans name the traced point instead of its place.
        answers["right_end"] = as_point(trace["arch_points"][0 if starts == "first" else -1])
    return trace | {"side_answers": SideAnswers(**answers)}


def _write_arch(plan: Plan, before: Any) -> Values | None:
    if plan.arch_points is None:
        return None
    raw = before if isinstance(before, dict) else {}
    starts, told = raw.get("starts"), plan.side_answers
    named = {"first": plan.arch_points[0], "last": plan.arch_points[-1]}.get(starts or "")
    known: Values = {"points": _TRACE.write(plan, raw)}
    known |= {key.name: key.write(told, raw) for key in _ANSWERS}
    # An older plan that names the right end by its traced point stays as it is.
    kept = named is not None and told.right_end == as_point(named)
    known |= {"starts": starts, "right_end": None} if kept else {"starts": None}
    return over(raw, known)


_ARCH = Part(_read_arch, _write_arch, keys_schema((_TRACE, Key("starts", _STARTS), *_ANSWERS)))

# -- the whole -----------------------------------------------------------------------------


def _read_interpreted(at: At) -> Values:
    return {f"interpreted_{key.name}": key.read(at)[key.name] for key in (_BY, _AT)}


def _write_interpreted(plan: Plan, before: Any) -> Values | None:
    if not plan.interpreted_by and not plan.interpreted_at:
        return None
    known = {"by": plan.interpreted_by, "at": plan.interpreted_at}
    return over(before if isinstance(before, dict) else {}, known)


def _entry(at: At) -> Mapping[str, object]:
    at.must_be_object()
    return dict(at.value)


def _read_note(at: At) -> Mapping[str, object]:
    return {"text": at.value} if isinstance(at.value, str) else _entry(at)


def _write_notes(notes: tuple[Mapping[str, object], ...], before: Any) -> list[Any]:
    """Notes; one that was a bare text in the file stays a bare text."""
    bare = {n for n in before or [] if isinstance(n, str)}
    out: list[Any] = []
    for note in notes:
        text = note.get("text")
        out.append(text if set(note) == {"text"} and text in bare else dict(note))
    return out


_NOTES = Part(
    lambda at: tuple(_read_note(item) for item in at.items()),
    _write_notes,
    {"type": "array", "items": {"type": ["string", "object"]}},
)
_HISTORY = Part(
    lambda at: tuple(_entry(item) for item in at.items()),
    lambda value, _: [dict(entry) for entry in value],
    {"type": "array", "items": {"type": "object"}},
)
_LOCKED = Part(
    lambda at: tuple(item.id() for item in at.items()),
    lambda value, _: list(value),
    {"type": "array", "items": ID.schema},
)
_RULER = record(
    Ruler, ID_KEY, Key("points", point_list(least=2), needed=True), LABEL_KEY, blame="points"
)
_ANGLE = record(
    AngleMark, ID_KEY, Key("points", point_list(least=3), needed=True), LABEL_KEY, blame="points"
)
_STENT = record(
    StentAxis,
    ID_KEY,
    Key("occlusal", POINT, needed=True),
    Key("gingival", POINT, needed=True),
    Key("diameter_mm", LENGTH, empty=3.0),
    Key("offset_sd_mm", LENGTH, empty=0.0, drop=True),
    Key("direction_sd_deg", number(size=90.0), empty=0.0, drop=True),
)
_SIZE = record(
    FixtureSize,
    Key("diameter_mm", LENGTH, needed=True),
    Key("length_mm", LENGTH, needed=True),
    Key("platform_diameter_mm", LENGTH),
    Key("apical_diameter_mm", LENGTH),
    Key("taper_from_mm", number()),
    Key("bone_level_mm", number(), empty=0.0),
)


def _check_sizes(at: At, values: Values) -> None:
    # A size cannot be the planned one and not be it: which of both was meant, only a person knows.
    if values["other_size"] == values["size"]:
        raise at.get("other_size").wrong(message("plans.file.other-size"))


_FIXTURE = record(
    Fixture,
    ID_KEY,
    TOOTH_KEY,
    Key("platform", POINT, needed=True),
    Key("towards_apex", DIRECTION, needed=True),
    Key("size", _SIZE, needed=True),
    Key("other_size", _SIZE, drop=True),
    blame="towards_apex",
    check=_check_sizes,
)
_SCAN = record(
    ScanTie,
    *(Key(n, TEXT, empty="") for n in ("series_uid", "frame_of_reference_uid", "fingerprint")),
)
_LEVEL = record(
    Level, Key("origin", POINT, needed=True), Key("up", DIRECTION, needed=True), blame="up"
)
_SITE = record(Site, ID_KEY, TOOTH_KEY, Key("station_mm", number(), needed=True))
_TISSUE = record(
    TissuePoint, Key("tissue", one_of(*TISSUES), needed=True), Key("at", POINT, needed=True)
)
_SIDE_CHECK = record(
    SideCheck,
    Key("side", one_of("left", "right"), needed=True),
    Key("against", TEXT, empty=""),
    _BY,
    _AT,
)
_IMAGE_CHECK = record(ImageCheck, Key("trouble", _TROUBLES, empty={}), _BY, _AT)
_OWN_HAND = record(
    OwnHand,
    Key("person", TEXT, needed=True),
    Key("sd_mm", number(), needed=True),
    Key("marks", whole(least=0), empty=0),
    Key("placings", whole(least=0), empty=0),
    Key("studied", TEXT, empty=""),
    _BY,
    _AT,
)
_SIGN_OFF = record(
    SignOff,
    Key("name", TEXT, needed=True),
    Key("role", TEXT, empty=""),
    _AT,
    Key("plan_fingerprint", TEXT, empty=""),
    Key("revision", whole(least=0), empty=0),
)

PLAN: tuple[Key, ...] = (
    Key("scan", _SCAN),
    Key("jaw", one_of("lower", "upper")),
    Key("level", _LEVEL),
    Key("arch", _ARCH, spread=True),
    Key("sites", listed(_SITE), empty=()),
    Key("structures", listed(STRUCTURE), empty=()),
    Key("stent_axes", listed(_STENT), empty=()),
    Key("fixtures", listed(_FIXTURE), empty=()),
    Key("rulers", listed(_RULER), empty=()),
    Key("angles", listed(_ANGLE), empty=()),
    Key("locked", _LOCKED, empty=()),
    Key("declared", listed(_DECLARATION, by="structure"), empty=()),
    Key("midline", POINT),
    Key("tissue_points", listed(_TISSUE, by="tissue"), empty=()),
    Key("side_check", _SIDE_CHECK),
    Key("image_check", _IMAGE_CHECK),
    Key("own_hand", _OWN_HAND),
    Key("interpreted", Part(_read_interpreted, _write_interpreted, keys_schema((_BY, _AT))),
        spread=True),
    Key("depth_from", one_of(*ORIGINS)),
    Key("limits", _LIMITS, empty={}),
    Key("reasons", texts_by_name(), empty={}),
    Key("accepted", texts_by_name(), empty={}),
    Key("revision", whole(least=1), empty=1),
    Key("sign_off", _SIGN_OFF),
    Key("notes", _NOTES, empty=()),
    Key("history", _HISTORY, empty=()),
)  # fmt: skip
"""Every key of the document that this program knows."""


def plan_schema() -> Schema:
    """JSON Schema (draft 2020-12) of a plan document; further keys may stand everywhere.

    Stricter rules that no schema can tell (ids used twice, a reason that must be given) are the
    reader's.
    """
    told = keys_schema(PLAN)
    known = {"format": {"const": FORMAT}, "version": {"const": VERSION}} | told["properties"]
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Plan of a case",
        "description": "Points are in patient space (DICOM LPS), mm.",
        "type": "object",
        "properties": known,
        "required": ["format", "version"],
    }
