"""What a practice sets once, as one value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from core.image.radiograph import Tube
from core.measuring.control_film import FilmResult
from core.measuring.drill_table import Drill
from core.plans.sizes import ListedSize, default_sizes
from core.sheet.day import Pin
from core.words.catalogue import SOURCE

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
    archive, own_title : str
        Where sheets were last sent, AET@HOST:PORT, and by which AE title of ours.
    language, sheet_language, patient_language : str
        Of the screen, from the next start on, of sheet and record, and of the patient's page.
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
    archive: str = ""
    own_title: str = "SOUNDING"
    language: str = SOURCE
    sheet_language: str = SOURCE
    patient_language: str = SOURCE
