"""`core.plans.plan.Plan` → plan document and text; keys that this program does not know stay."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

import numpy as np

from core.direction import as_point
from core.geometry import Array, unit
from core.plans.limits import KEYS
from core.plans.plan import Plan, TissuePoint
from core.structures import (
    AngleMark,
    Course,
    Floor,
    Foramen,
    KnownObject,
    PointMarks,
    Ruler,
    StentAxis,
    Structure,
    Tapered,
    kind_of,
)

FORMAT = "sounding-plan"
VERSION = 1
WIDTH = 100
OUTSIDE_FINGERPRINT = ("sign_off", "history", "history_head", "locked")
"""What changes no measurement: a signed plan stays signed when something is locked."""

T = TypeVar("T")
Values = dict[str, Any]


def document_of(plan: Plan) -> Values:
    """Return the plan as JSON values, with every key of `Plan.document` not known here.

    Elements of lists are the same when their ids are; a removed element takes its keys along.
    A value that did not change is written as it was read (``0``, not ``0.0``).
    """
    raw = dict(plan.document)
    known: Values = {
        "format": FORMAT,
        "version": VERSION,
        "scan": _part(raw, "scan", _fields_or_none(plan.scan)),
        "jaw": plan.jaw,
        "level": _level(raw, plan),
        "arch": _part(raw, "arch", _arch(raw, plan)),
        "sites": _parts(raw, "sites", plan.sites, lambda s: _without_empty(_fields(s), "tooth")),
        "structures": _parts(raw, "structures", plan.structures, _structure),
        "channels": _parts(raw, "channels", plan.stent_axes, _stent_axis),
        "fixtures": _fixtures(raw, plan),
        "rulers": _parts(raw, "rulers", plan.rulers, _straight),
        "angles": _parts(raw, "angles", plan.angles, _straight),
        "locked": list(plan.locked),
        "declared": _parts(raw, "declared", plan.declared, _fields, key="structure"),
        "midline": None if plan.midline is None else _point(plan.midline),
        "tissue_points": _parts(
            raw, "tissue_points", plan.tissue_points, _tissue_point, key="tissue"
        ),
        "side_check": _part(raw, "side_check", _fields_or_none(plan.side_check)),
        "image_check": _image_check(raw, plan),
        "own_hand": _part(raw, "own_hand", _fields_or_none(plan.own_hand)),
        "interpreted": _part(raw, "interpreted", _interpreted(plan)),
        "limits": _limits(raw, plan),
        "reasons": dict(plan.reasons),
        "revision": plan.revision,
        "sign_off": _part(raw, "sign_off", _fields_or_none(plan.sign_off)),
        "notes": _notes(raw, plan),
        "history": [dict(entry) for entry in plan.history],
    }
    out = _over(raw, known)
    out.setdefault("sign_off", None)
    return out


def text_of(document: Mapping[str, Any]) -> str:
    """JSON for people: one line for each thing that fits on one, UTF-8 left as it is."""
    lines = [f"  {_quoted(key)}: {_pretty(value, 2)}" for key, value in document.items()]
    return "{\n" + ",\n".join(lines) + "\n}\n"


def fingerprint_of(document: Mapping[str, Any], *, without: Iterable[str] = ()) -> str:
    """``sha256:...`` over canonical JSON: sorted keys, no spaces, every number a float.

    `without` names top-level keys that are left out. ``1`` and ``1.0``, ``-0.0`` and ``0`` are
    the same; the order of keys and the layout of the file do not matter.
    """
    kept = {key: value for key, value in document.items() if key not in set(without)}
    canonical = json.dumps(
        _canonical(kept), sort_keys=True, separators=(",", ":"), ensure_ascii=False
    )
    return f"sha256:{hashlib.sha256(canonical.encode('utf-8')).hexdigest()}"


def plan_fingerprint(plan: Plan) -> str:
    """``sha256:...`` over the canonical plan document without sign-off and history."""
    return fingerprint_of(document_of(plan), without=OUTSIDE_FINGERPRINT)


def _canonical(value: Any) -> Any:
    match value:
        case bool() | None | str():
            return value
        case int() | float():
            return float(value) + 0.0
        case Mapping():
            return {key: _canonical(item) for key, item in value.items()}
        case _:
            return [_canonical(item) for item in value]


def _over(raw: Mapping[str, Any], known: Mapping[str, Any]) -> Values:
    """Lay known values over the object as read.

    None: the key goes. False, empty text, list or object: only where the file had the key.
    """
    out = dict(raw)
    for key, value in known.items():
        if value is None:
            if out.get(key) is not None:
                del out[key]
        elif key not in raw and (value is False or value in ("", [], {})):
            continue
        elif key not in raw or _canonical(raw[key]) != _canonical(value):
            out[key] = value
    return out


def _part(raw: Mapping[str, Any], key: str, known: Values | None) -> Values | None:
    before = raw.get(key)
    return None if known is None else _over(before if isinstance(before, dict) else {}, known)


def _parts(
    raw: Mapping[str, Any],
    name: str,
    items: tuple[T, ...],
    known: Callable[[T], Values],
    *,
    key: str = "id",
) -> list[Values]:
    """Each item over the element of the file with the same id, each element used once."""
    left = [e for e in raw.get(name) or [] if isinstance(e, dict)]
    out = []
    for item in items:
        values = known(item)
        before = next((e for e in left if e.get(key) == values[key]), None)
        if before is not None:
            left.remove(before)
        out.append(_over(before or {}, values))
    return out


def _fields(value: Any) -> Values:
    """Every field of a dataclass whose field names are the file's keys."""
    return {name: getattr(value, name) for name in value.__dataclass_fields__}


def _fields_or_none(value: Any) -> Values | None:
    return None if value is None else _fields(value)


def _without_empty(values: Values, *names: str) -> Values:
    return {k: (None if k in names and not v else v) for k, v in values.items()}


def _point(point: Array) -> list[float]:
    return [float(x) for x in np.asarray(point)]


def _points(points: Array) -> list[list[float]]:
    return [_point(p) for p in points]


def _direction(before: Any, direction: Array) -> Any:
    # Made unit twice, a direction can move by its last digit, and the plan's fingerprint with it.
    if isinstance(before, list) and np.array_equal(unit(before), direction):
        return before
    return _point(direction)


def _level(raw: Mapping[str, Any], plan: Plan) -> Values | None:
    if plan.level is None:
        return None
    before = raw.get("level")
    before = before if isinstance(before, dict) else {}
    up = _direction(before.get("up"), plan.level.up)
    return _over(before, {"origin": _point(plan.level.origin), "up": up})


def _arch(raw: Mapping[str, Any], plan: Plan) -> Values | None:
    if plan.arch_points is None:
        return None
    told, cheek = plan.side_answers, plan.side_answers.cheek
    before = raw.get("arch")
    starts = before.get("starts") if isinstance(before, dict) else None
    named = {"first": plan.arch_points[0], "last": plan.arch_points[-1]}.get(starts or "")
    # An older plan that names the right end by its traced point stays as it is.
    kept = named is not None and told.right_end == as_point(named)
    right_end = None if told.right_end is None or kept else list(told.right_end)
    return {
        "points": _points(plan.arch_points),
        "starts": starts if kept else None,
        "teeth": told.region,
        "front_end": None if told.front_end is None else list(told.front_end),
        "right_end": right_end,
        "cheek": None if cheek is None else {"at": list(cheek.at), "towards": list(cheek.towards)},
    }


def _structure(structure: Structure) -> Values:
    out: Values = {"id": structure.id, "kind": kind_of(structure).file_kind}
    match structure:
        case Course():
            out |= {"points": _points(structure.points)}
            out |= {"diameter_mm": structure.diameter_mm, "seen": list(structure.seen)}
            out |= {"diameter_sd_mm": structure.diameter_sd_mm or None}
            out |= {"course": None if structure.course is None else _points(structure.course)}
            out |= {"course_by": structure.course_by}
        case Foramen():
            out |= {"mesial": _point(structure.mesial)}
            out |= {"distal": _point(structure.distal)}
            out |= {"upper": None if structure.upper is None else _point(structure.upper)}
            out |= {"loop": structure.loop}
        case Tapered():
            out |= {"tooth": structure.tooth}
            out |= {"points": _points(structure.points)}
            out |= {"diameters_mm": [float(d) for d in structure.diameters_mm]}
            out |= {"to_be_removed": structure.to_be_removed}
            out |= {"seen": list(structure.seen)}
        case Floor():
            out |= {"of": structure.of, "points": _points(structure.points)}
            out |= {"seen": list(structure.seen)}
            out |= {"elevation_intended": structure.elevation_intended}
        case PointMarks():
            out |= {"points": _points(structure.points)}
            out |= {"label": structure.label, "tooth": structure.tooth}
        case KnownObject():
            out |= {"points": _points(structure.points)}
            out |= {"size_mm": structure.size_mm}
    return _without_empty(out, "tooth")


def _stent_axis(axis: StentAxis) -> Values:
    return {
        "id": axis.id,
        "occlusal": _point(axis.occlusal),
        "gingival": _point(axis.gingival),
        "diameter_mm": axis.diameter_mm,
        "offset_sd_mm": axis.offset_sd_mm or None,
        "direction_sd_deg": axis.direction_sd_deg or None,
    }


def _tissue_point(point: TissuePoint) -> Values:
    return {"tissue": point.tissue, "at": _point(point.at)}


def _straight(mark: Ruler | AngleMark) -> Values:
    return {"id": mark.id, "points": _points(mark.points), "label": mark.label}


def _fixtures(raw: Mapping[str, Any], plan: Plan) -> list[Values]:
    before = {e["id"]: e for e in raw.get("fixtures") or [] if isinstance(e, dict) and "id" in e}
    out = []
    for fixture in plan.fixtures:
        as_read = before.get(fixture.id, {})
        known: Values = {
            "id": fixture.id,
            "tooth": fixture.tooth or None,
            "platform": _point(fixture.platform),
            "towards_apex": _direction(as_read.get("towards_apex"), fixture.towards_apex),
            "size": _part(as_read, "size", _fields(fixture.size)),
        }
        out.append(_over(as_read, known))
    return out


def _image_check(raw: Mapping[str, Any], plan: Plan) -> Values | None:
    if plan.image_check is None:
        return None
    before = raw.get("image_check")
    before = before if isinstance(before, dict) else {}
    known = _fields(plan.image_check)
    known["trouble"] = _part(before, "trouble", dict(plan.image_check.trouble))
    return _over(before, known)


def _interpreted(plan: Plan) -> Values | None:
    if not plan.interpreted_by and not plan.interpreted_at:
        return None
    return {"by": plan.interpreted_by, "at": plan.interpreted_at}


def _limits(raw: Mapping[str, Any], plan: Plan) -> Values:
    before = raw.get("limits")
    before = before if isinstance(before, dict) else {}
    known: Values = dict.fromkeys(KEYS)
    for key, changed in plan.limits.items():
        known[key] = _part(before, key, _fields(changed))
    return _over(before, known)


def _notes(raw: Mapping[str, Any], plan: Plan) -> list[Any]:
    """Notes; one that was a bare text in the file stays a bare text."""
    bare = {n for n in raw.get("notes") or [] if isinstance(n, str)}
    out: list[Any] = []
    for note in plan.notes:
        text = note.get("text")
        out.append(text if set(note) == {"text"} and text in bare else dict(note))
    return out


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _pretty(value: Any, indent: int) -> str:
    flat = json.dumps(value, ensure_ascii=False, allow_nan=False)
    if len(flat) + indent <= WIDTH or not isinstance(value, (dict, list)):
        return flat
    inner = " " * (indent + 2)
    if isinstance(value, dict):
        rows = [f"{inner}{_quoted(k)}: {_pretty(v, indent + 2)}" for k, v in value.items()]
        return "{\n" + ",\n".join(rows) + "\n" + " " * indent + "}"
    rows = [inner + _pretty(item, indent + 2) for item in value]
    return "[\n" + ",\n".join(rows) + "\n" + " " * indent + "]"
