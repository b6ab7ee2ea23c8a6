"""What the program itself found of the faults of the image that a person is asked about.

It answers nothing: what is found is shown beside the question and confirmed by who looked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from core.bone.field_edge import SURFACE_REACH_MM
from core.fixture import Fixture
from core.measurement import Note
from core.measuring.basis import Basis
from core.measuring.hindrances import along, image_faults_at
from core.plans.plan import Site
from core.words.numbers import Figure

_FAULTS = {"image_moved": "movement", "image_streaks": "streaks"}


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundTrouble:
    """One fault that was found.

    Parameters
    ----------
    trouble : str
        One of `core.plans.plan.TROUBLES`.
    place : str
        One of `core.plans.plan.TROUBLE_PLACES`; empty where only a person can say.
    note : Note
        What was found.
    """

    trouble: str
    place: str
    note: Note


def found_troubles(basis: Basis, subjects: Sequence[Fixture | Site]) -> tuple[FoundTrouble, ...]:
    """Faults found in the image, each with its place where that is a fact.

    Parameters
    ----------
    basis : Basis
    subjects : sequence of Fixture or Site
        What is planned; without any no fault has a place.

    Returns
    -------
    tuple of FoundTrouble
        At most one for each fault. A cut through bone nearer to an axis than the outer surface is
        searched lies at the site. How far movement and streaks reach is a judgement.
    """
    found: dict[str, FoundTrouble] = {}
    for subject in subjects:
        for fault in image_faults_at(basis, subject):
            trouble = _FAULTS.get(fault.note.code)
            if trouble is not None:
                found.setdefault(trouble, FoundTrouble(trouble=trouble, place="", note=fault.note))
    if len(basis.cut_mm):
        found["cut-off field"] = _cut(basis, subjects)
    return tuple(found.values())


def _cut(basis: Basis, subjects: Sequence[Fixture | Site]) -> FoundTrouble:
    if not subjects:
        return FoundTrouble(trouble="cut-off field", place="", note=Note("jaw_cut_somewhere"))
    axes = np.concatenate([along(basis, subject) for subject in subjects])
    away = float(np.linalg.norm(basis.cut_mm[:, None] - axes, axis=2).min())
    return FoundTrouble(
        trouble="cut-off field",
        place="at the site" if away < SURFACE_REACH_MM else "away from the site",
        note=Note("jaw_cut", {"mm": Figure(f"{away:.0f}")}),
    )
