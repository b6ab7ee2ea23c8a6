"""The settings file, described once: what is read, what is written, and its JSON Schema.

Each setting is read by itself, so that a damaged one costs no other.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from types import MappingProxyType
from typing import Any, TypeAlias, get_args

from app.case.own_files import UNREADABLE
from app.case.settings_value import WINDOWS, Numbering, Paper, Settings
from core.distances.drilling import MARK_STEP_MM, MarksIncludeTip
from core.errors import SoundingError
from core.image.radiograph import Tube
from core.measuring.control_film import CANAL, NEIGHBOUR, FilmResult
from core.measuring.drill_table import MOST_DRILLS, Drill
from core.plans.limits import KEYS, row_for
from core.plans.sizes import ListedSize, read_sizes, sizes_csv
from core.sheet.day import Pin
from core.words.catalogue import languages, say

Schema: TypeAlias = dict[str, Any]
Values: TypeAlias = dict[str, Any]

FORM = "sounding-settings"

_DIALECT = "https://json-schema.org/draft/2020-12/schema"
_MOST_LIMIT_MM = 20.0


def _as_it_is(value: Any) -> Any:
    return value


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting and the key of the file that holds it.

    Parameters
    ----------
    name : str
        Of the key, and of the field of `Settings`.
    read : function of a JSON value
        Raises one of `UNREADABLE` for what it does not take.
    schema : mapping
        What it takes, as JSON Schema (draft 2020-12).
    write : function of the field's value
        JSON of it.
    """

    name: str
    read: Callable[[Any], Any]
    schema: Schema
    write: Callable[[Any], Any] = _as_it_is


# -- single values -------------------------------------------------------------------------


def _one_of(value: Any, schema: Schema) -> Any:
    if value not in schema["enum"]:
        raise ValueError(f"it must be one of {', '.join(schema['enum'])}")
    return value


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError("it must be a text")
    return value


def _yes_or_no(value: Any) -> bool:
    if not isinstance(value, bool):
        raise TypeError("it must be true or false")
    return value


def _length(value: Any, schema: Schema, refusal: str) -> float:
    """A number inside the bounds of its schema; neither true or false nor a text."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError(refusal)
    if not schema["minimum"] <= value <= schema["maximum"]:
        raise ValueError(refusal)
    return float(value)


def _choice(name: str, *allowed: str) -> Setting:
    schema = {"enum": list(allowed)}
    return Setting(name, lambda value: _one_of(value, schema), schema)


def _words(name: str) -> Setting:
    return Setting(name, _text, _TEXT)


# -- objects and lists ---------------------------------------------------------------------


def _between(least: float, most: float) -> Schema:
    return {"type": "number", "minimum": least, "maximum": most}


def _or_null(schema: Schema) -> Schema:
    return {"anyOf": [schema, {"type": "null"}]}


def _object(*needed: str, **keys: Schema) -> Schema:
    return {"type": "object", "properties": keys, "required": list(needed)}


def _keys(schema: Schema) -> tuple[str, ...]:
    return tuple(schema["properties"])


def _lengths(value: Any, schema: Schema, refusal: str) -> Values:
    """Lengths of an object of nothing else, those that it holds."""
    if not isinstance(value, dict):
        raise TypeError(refusal)
    keys = schema["properties"]
    return {key: _length(value[key], keys[key], refusal) for key in keys if key in value}


_TEXT: Schema = {"type": "string"}
_LIMITS = _object(**{key: _between(row_for(key).lower_line, _MOST_LIMIT_MM) for key in KEYS})
_LIMITS["additionalProperties"] = False
_TUBE = _object(source_to_film_mm=_between(100.0, 1000.0), object_to_film_mm=_between(0.0, 50.0))
_PIN = _object(above_mm=_between(0.0, 30.0), diameter_mm=_between(0.5, 6.0))
_FILM = _object(
    "by", "at", "case", "what", "difference_mm",
    by=_TEXT, at=_TEXT, case=_TEXT, what={"enum": [NEIGHBOUR, CANAL]},
    difference_mm=_between(-50.0, 50.0),
)  # fmt: skip
_DRILL = _object(
    name=_TEXT,
    diameter_mm=_or_null(_between(0.05, 12.0)),
    marks_mm={"type": "array", "items": _between(0.05, 60.0)},
    mark_step_mm=_between(0.05, 5.0),
    marks_include_tip={"enum": list(get_args(MarksIncludeTip))},
    tip_mm=_or_null(_between(0.0, 10.0)),
)


def _items(value: Any) -> list[Any]:
    if not isinstance(value, list):
        raise TypeError("it must be a list")
    return value


def _limits(value: Any) -> dict[str, float]:
    strange = [key for key in dict(value) if key not in KEYS]
    if strange:
        raise ValueError(f"there is no limit named {strange[0]!r}")
    return _lengths(
        value,
        _LIMITS,
        say("case.settings_table.a-limit-is-not-between", most_limit_mm=_MOST_LIMIT_MM),
    )


def _sizes(value: Any) -> tuple[ListedSize, ...]:
    return read_sizes("\n".join(_text(line) for line in _items(value)))


def _tube(value: Any) -> Tube:
    return Tube(**_lengths(value, _TUBE, say("case.settings_table.the-distances-of-the-tube")))


def _pin(value: Any) -> Pin:
    return Pin(**_lengths(value, _PIN, say("case.settings_table.the-pins-size-is-not")))


def _film(value: Any) -> FilmResult:
    keys, refusal = _FILM["properties"], say("case.settings_table.a-control-films-distance-is")
    return FilmResult(
        by=_text(value["by"]),
        at=_text(value["at"]),
        case=_text(value["case"]),
        what=_one_of(value["what"], keys["what"]),
        difference_mm=_length(value["difference_mm"], keys["difference_mm"], refusal),
    )


def _drill(value: Any) -> Drill:
    keys, refusal = _DRILL["properties"], say("case.settings_table.a-drills-marks-diameter-or")

    def length(key: str) -> float | None:
        found = value.get(key)
        return None if found is None else _length(found, keys[key]["anyOf"][0], refusal)

    marks = tuple(
        _length(m, keys["marks_mm"]["items"], refusal) for m in _items(value.get("marks_mm", []))
    )
    if list(marks) != sorted(set(marks)):
        raise ValueError(refusal)
    step = _length(value.get("mark_step_mm", MARK_STEP_MM), keys["mark_step_mm"], refusal)
    return Drill(
        name=_text(value.get("name", "")),
        diameter_mm=length("diameter_mm"),
        marks_mm=marks,
        step_mm=step,
        marks_include_tip=_one_of(
            value.get("marks_include_tip", "don't know"), keys["marks_include_tip"]
        ),
        tip_mm=length("tip_mm"),
    )


def _drill_written(drill: Drill) -> Values:
    values = asdict(drill)
    values["mark_step_mm"] = values.pop("step_mm")
    return values


# -- the whole -----------------------------------------------------------------------------

SETTINGS: tuple[Setting, ...] = (
    _choice("numbering", *get_args(Numbering)),
    _choice("paper", *get_args(Paper)),
    _choice("window", *WINDOWS),
    Setting("names_hidden", _yes_or_no, {"type": "boolean"}),
    _words("initials"),
    _words("name"),
    _words("role"),
    Setting("limits", _limits, _LIMITS, dict),
    _words("risks_file"),
    Setting("tube", _tube, _TUBE, lambda tube: {key: getattr(tube, key) for key in _keys(_TUBE)}),
    Setting("pin", _pin, _PIN, lambda pin: {key: getattr(pin, key) for key in _keys(_PIN)}),
    _words("archive"),
    _words("own_title"),
    _choice("language", *languages()),
    _choice("sheet_language", *languages()),
    _choice("patient_language", *languages()),
    Setting(
        "control_films",
        lambda values: tuple(_film(value) for value in _items(values)),
        {"type": "array", "items": _FILM},
        lambda films: [asdict(film) for film in films],
    ),
    Setting(
        "sizes",
        _sizes,
        {"type": "array", "items": _TEXT, "minItems": 2},
        lambda sizes: sizes_csv(sizes).splitlines(),
    ),
    Setting(
        "drills",
        lambda values: tuple(_drill(value) for value in _items(values)[:MOST_DRILLS]),
        {"type": "array", "items": _DRILL},
        lambda drills: [_drill_written(drill) for drill in drills],
    ),
)
"""Every key of the file that this program knows."""


def to_text(settings: Settings, others: Mapping[str, Any] = MappingProxyType({})) -> str:
    """Settings as JSON; what else stood in the file is kept."""
    known = {one.name: one.write(getattr(settings, one.name)) for one in SETTINGS}
    return json.dumps({**others, "format": FORM, **known}, ensure_ascii=False, indent=1)


def settings_of_document(document: Mapping[str, Any]) -> tuple[Settings, tuple[str, ...]]:
    """Settings, and a line for each that could not be read and is the shipped one.

    Parameters
    ----------
    document : mapping
        Of a settings file; what it does not hold is the shipped value.
    """
    values: Values = {}
    unread: list[str] = []
    for one in SETTINGS:
        if one.name not in document:
            continue
        try:
            values[one.name] = one.read(document[one.name])
        except UNREADABLE as error:
            why = (
                str(error)
                if isinstance(error, ValueError | SoundingError)
                else say("case.settings_table.another-kind")
            )
            unread.append(f"{one.name.replace('_', ' ')} ({why})")
    return Settings(**values), tuple(unread)


def settings_schema() -> Schema:
    """JSON Schema (draft 2020-12) of the settings file; further keys may stand in it.

    Stricter rules that no schema can tell (marks of a drill grow, sizes are a table) are the
    reader's.
    """
    return {
        "$schema": _DIALECT,
        "title": say("case.settings_table.settings-of-a-practice"),
        "type": "object",
        "properties": {"format": {"const": FORM}} | {one.name: one.schema for one in SETTINGS},
        "required": ["format"],
    }
