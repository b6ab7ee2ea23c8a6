"""Settings as text and back: each is read by itself, so that a damaged one costs no other."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict
from types import MappingProxyType
from typing import Any, get_args

from app.case.own_files import UNREADABLE
from app.case.settings_value import WINDOWS, Numbering, Paper, Settings
from core.distances.drilling import MARK_STEP_MM, MarksIncludeTip
from core.errors import PlanError, SoundingError
from core.image.radiograph import OBJECT_TO_FILM_MM, SOURCE_TO_FILM_MM, Tube
from core.measuring.control_film import CANAL, NEIGHBOUR, FilmResult
from core.measuring.drill_table import MOST_DRILLS, Drill
from core.plans.limits import KEYS, row_for
from core.plans.sizes import ListedSize, read_sizes, sizes_csv
from core.sheet.day import Pin

FORM = "sounding-settings"


def to_text(settings: Settings, others: Mapping[str, Any] = MappingProxyType({})) -> str:
    """Settings as JSON; what else stood in the file is kept."""
    return json.dumps({**others, **document_of(settings)}, ensure_ascii=False, indent=1)


def document_of(settings: Settings) -> dict[str, Any]:
    """Settings as a JSON object."""
    return {
        "format": FORM,
        "numbering": settings.numbering,
        "paper": settings.paper,
        "window": settings.window,
        "names_hidden": settings.names_hidden,
        "initials": settings.initials,
        "name": settings.name,
        "role": settings.role,
        "limits": dict(settings.limits),
        "risks_file": settings.risks_file,
        "tube": {
            "source_to_film_mm": settings.tube.source_to_film_mm,
            "object_to_film_mm": settings.tube.object_to_film_mm,
        },
        "pin": {"above_mm": settings.pin.above_mm, "diameter_mm": settings.pin.diameter_mm},
        "archive": settings.archive,
        "own_title": settings.own_title,
        "control_films": [asdict(film) for film in settings.control_films],
        "sizes": sizes_csv(settings.sizes).splitlines(),
        "drills": [
            {
                "name": d.name,
                "diameter_mm": d.diameter_mm,
                "marks_mm": list(d.marks_mm),
                "mark_step_mm": d.step_mm,
                "marks_include_tip": d.marks_include_tip,
                "tip_mm": d.tip_mm,
            }
            for d in settings.drills
        ],
    }


def settings_of_document(document: Mapping[str, Any]) -> tuple[Settings, tuple[str, ...]]:
    """Settings, and a line for each that could not be read and is the shipped one.

    Parameters
    ----------
    document : mapping
        Of a settings file; what it does not hold is the shipped value.
    """
    values: dict[str, Any] = {}
    unread: list[str] = []
    for name, read in _READERS.items():
        if name not in document:
            continue
        try:
            values[name] = read(document[name])
        except UNREADABLE as error:
            why = str(error) if isinstance(error, ValueError | SoundingError) else "another kind"
            unread.append(f"{name.replace('_', ' ')} ({why})")
    return Settings(**values), tuple(unread)


def _one_of(*allowed: str) -> Callable[[Any], str]:
    def read(value: Any) -> str:
        if value not in allowed:
            raise ValueError(f"it must be one of {', '.join(allowed)}")
        return str(value)

    return read


def _words(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError("it must be a text")
    return value


def _yes_or_no(value: Any) -> bool:
    if not isinstance(value, bool):
        raise TypeError("it must be true or false")
    return value


def _limits(values: Any) -> dict[str, float]:
    limits: dict[str, float] = {}
    for key, value in dict(values).items():
        if key not in KEYS:
            raise ValueError(f"there is no limit named {key!r}")
        limit = float(value)
        if not row_for(key).lower_line <= limit <= 20.0:
            raise ValueError(f"the limit {key!r} is not between its lower line and 20 mm")
        limits[key] = limit
    return limits


def _sizes(lines: Any) -> tuple[ListedSize, ...]:
    if not isinstance(lines, list):
        raise PlanError("sizes-empty")
    return read_sizes("\n".join(str(line) for line in lines))


def _tube(value: Any) -> Tube:
    value = dict(value)
    tube = Tube(
        source_to_film_mm=float(value.get("source_to_film_mm", SOURCE_TO_FILM_MM)),
        object_to_film_mm=float(value.get("object_to_film_mm", OBJECT_TO_FILM_MM)),
    )
    if not (100.0 <= tube.source_to_film_mm <= 1000.0 and tube.object_to_film_mm <= 50.0):
        raise ValueError("the distances of the tube are not believable")
    return tube


def _pin(value: Any) -> Pin:
    value = dict(value)
    pin = Pin(
        above_mm=float(value.get("above_mm", Pin().above_mm)),
        diameter_mm=float(value.get("diameter_mm", Pin().diameter_mm)),
    )
    if not (0.0 <= pin.above_mm <= 30.0 and 0.5 <= pin.diameter_mm <= 6.0):
        raise ValueError("the pin's size is not believable")
    return pin


def _film(value: Any) -> FilmResult:
    difference, what = float(value["difference_mm"]), str(value["what"])
    if what not in (NEIGHBOUR, CANAL) or not abs(difference) <= 50.0:
        raise ValueError("a control film's distance is not believable")
    return FilmResult(
        by=str(value["by"]),
        at=str(value["at"]),
        case=str(value["case"]),
        what=what,
        difference_mm=difference,
    )


def _drill(value: Any) -> Drill:
    include = value.get("marks_include_tip", "don't know")
    if include not in get_args(MarksIncludeTip):
        raise ValueError("whether a drill's marks include its tip is yes, no or don't know")
    step, tip = float(value.get("mark_step_mm", MARK_STEP_MM)), value.get("tip_mm")
    diameter, marks = value.get("diameter_mm"), [float(m) for m in value.get("marks_mm", ())]
    believable = (
        0.05 <= step <= 5.0
        and (tip is None or 0.0 <= float(tip) <= 10.0)
        and (diameter is None or 0.0 < float(diameter) <= 12.0)
        and marks == sorted(set(marks))
        and all(0.0 < m <= 60.0 for m in marks)
    )
    if not believable:
        raise ValueError("a drill's marks, diameter or tip are not believable lengths")
    return Drill(
        name=str(value.get("name", "")),
        diameter_mm=None if diameter is None else float(diameter),
        marks_mm=tuple(marks),
        step_mm=step,
        marks_include_tip=include,
        tip_mm=None if tip is None else float(tip),
    )


def _films(values: Any) -> tuple[FilmResult, ...]:
    return tuple(_film(value) for value in list(values))


def _drills(values: Any) -> tuple[Drill, ...]:
    return tuple(_drill(value) for value in list(values)[:MOST_DRILLS])


_READERS: Mapping[str, Callable[[Any], Any]] = MappingProxyType(
    {
        "numbering": _one_of(*get_args(Numbering)),
        "paper": _one_of(*get_args(Paper)),
        "window": _one_of(*WINDOWS),
        "names_hidden": _yes_or_no,
        "initials": _words,
        "name": _words,
        "role": _words,
        "archive": _words,
        "own_title": _words,
        "limits": _limits,
        "sizes": _sizes,
        "risks_file": _words,
        "tube": _tube,
        "pin": _pin,
        "control_films": _films,
        "drills": _drills,
    }
)
