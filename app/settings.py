"""What a practice sets once: kept as JSON in the user's settings folder, never in a plan.

A settings file that cannot be read never stops the work: the defaults stand in, the file is kept
beside it, and the trouble is told.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any, Literal, TypeAlias, get_args

from platformdirs import user_config_path
from PySide6.QtCore import QObject, Signal

from core.atomic import write_whole
from core.distances.drilling import MARK_STEP_MM, MarksIncludeTip
from core.errors import PlanError, SoundingError
from core.image.radiograph import OBJECT_TO_FILM_MM, SOURCE_TO_FILM_MM, Tube
from core.measuring.control_film import CANAL, NEIGHBOUR, FilmResult
from core.measuring.drill_table import MOST_DRILLS, Drill
from core.plans.limits import KEYS, row_for
from core.plans.plan import ChangedLimit, Plan
from core.plans.sizes import ListedSize, default_sizes, read_sizes, sizes_csv
from core.sheet.day import Pin

Numbering: TypeAlias = Literal["iso", "1-32"]
Paper: TypeAlias = Literal["A4", "Letter"]

WINDOWS = ("from the scan", "bone", "all")
"""How grey values are spread when a scan is opened."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """All settings; a change makes a new one.

    Parameters
    ----------
    numbering : {'iso', '1-32'}
        Which tooth number stands first; both are always shown.
    initials, name, role : str
        Offered in answers and at sign-off; always shown before they are used.
    limits : mapping
        Practice limits in mm by key, put into each new plan as changes that anybody can see.
    risks_file : str
        The practice's own text for the patient's page; empty: none.
    tube, pin : Tube, Pin
        Of the expected check film: distances and the pin's size, never what one patient needed.
    control_films : tuple of FilmResult
        Planned against achieved, a person each; nothing of a patient is in them.
    """

    numbering: Numbering = "iso"
    paper: Paper = "A4"
    window: str = WINDOWS[0]
    names_hidden: bool = False
    initials: str = ""
    name: str = ""
    role: str = ""
    limits: Mapping[str, float] = field(default_factory=dict)
    sizes: tuple[ListedSize, ...] = field(default_factory=default_sizes)
    drills: tuple[Drill, ...] = ()
    risks_file: str = ""
    tube: Tube = field(default_factory=Tube)
    pin: Pin = field(default_factory=Pin)
    control_films: tuple[FilmResult, ...] = ()


class SettingsStore(QObject):
    """The settings in force, and the file that they live in.

    Parameters
    ----------
    path : Path, optional
        The file; the user's settings folder when left out.
    """

    changed = Signal()

    def __init__(self, parent: QObject | None = None, path: Path | None = None) -> None:
        super().__init__(parent)
        self.path = settings_file() if path is None else path
        self.trouble = ""
        """A sentence where the file could not be read; shown once by the bench."""
        self.value = self._read()

    def change(self, **changes: Any) -> None:
        """Change some settings and write them.

        Raises
        ------
        OutputError
            When the file cannot be written; the change holds until the program ends.
        """
        self.value = replace(self.value, **changes)
        self.changed.emit()
        self.path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(self.path, to_text(self.value).encode("utf-8"))

    def _read(self) -> Settings:
        try:
            return from_text(self.path.read_text(encoding="utf-8"))
        except FileNotFoundError:
            return Settings()
        except (OSError, ValueError, KeyError, TypeError, SoundingError) as error:
            kept = self.path.with_suffix(".unread.json")
            with contextlib.suppress(OSError):
                kept.write_bytes(self.path.read_bytes())
            self.trouble = (
                f"The settings could not be read ({error}) - practice limits and my sizes are the"
                f" shipped ones now - the old file is kept as {kept}; set them again."
            )
            return Settings()


def settings_of(owner: QObject) -> SettingsStore:
    """The store that belongs to a session; made at the first call, one an owner."""
    found = owner.findChild(SettingsStore)
    return SettingsStore(owner) if found is None else found


def settings_file() -> Path:
    """Where the settings are kept."""
    return user_config_path("sounding", appauthor=False) / "settings.json"


def with_practice_limits(plan: Plan, settings: Settings, *, at: str) -> Plan:
    """A new plan with the practice's limits, each as a change with who, when and why."""
    changed = {
        key: ChangedLimit(value=value, by="practice settings", at=at, reason="practice limit")
        for key, value in settings.limits.items()
        if value != row_for(key).value
    }
    return replace(plan, limits={**changed, **plan.limits}) if changed else plan


def to_text(settings: Settings) -> str:
    """Settings as JSON."""
    document = {
        "format": "sounding-settings",
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
    return json.dumps(document, ensure_ascii=False, indent=1)


def from_text(text: str) -> Settings:
    """Settings from JSON.

    Raises
    ------
    ValueError
        When the text is no settings document, or a value in it is not as it must be.
    PlanError
        When the list of sizes is not as it must be.
    """
    document = json.loads(text)
    if not isinstance(document, dict) or document.get("format") != "sounding-settings":
        raise ValueError("it is no settings file")
    default = Settings()

    def one_of(key: str, *allowed: str) -> Any:
        value = document.get(key, allowed[0])
        if value not in allowed:
            raise ValueError(f"{key} must be one of {', '.join(allowed)}")
        return value

    def words(key: str) -> str:
        return str(document.get(key, ""))

    return Settings(
        numbering=one_of("numbering", *get_args(Numbering)),
        paper=one_of("paper", *get_args(Paper)),
        window=one_of("window", *WINDOWS),
        names_hidden=document.get("names_hidden") is True,
        initials=words("initials"),
        name=words("name"),
        role=words("role"),
        limits=_limits(document.get("limits", {})),
        sizes=_sizes(document["sizes"]) if document.get("sizes") else default.sizes,
        risks_file=words("risks_file"),
        tube=_tube(document.get("tube", {})),
        pin=_pin(document.get("pin", {})),
        control_films=tuple(_film(f) for f in document.get("control_films", ())),
        drills=tuple(_drill(d) for d in document.get("drills", ())[:MOST_DRILLS]),
    )


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
