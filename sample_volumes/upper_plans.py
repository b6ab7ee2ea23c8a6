"""Plans of the upper jaw: one that is right, one that goes wrong on purpose."""

from __future__ import annotations

from typing import Any

from sample_volumes import upper_jaw as upper
from sample_volumes.plans import Case, root_rows

STATIONS = (-53.0, -47.0, -42.0, -37.5, -33.0, -28.0, -22.0, -15.0, -7.5, 0.0, 7.5, 14.0)
FLOOR = (
    *((s, r) for s in (-40.05, -36.5, -33.0, -29.5, -25.6) for r in (-3.6, -0.6, 2.4)),
    (-32.0, 0.9),
)


def _structures(case: Case) -> list[dict[str, Any]]:
    floor = case.marks([(s, r, upper.floor_height(s, r)) for s, r in FLOOR])
    near = [root for root in upper.ROOTS if root.tooth in ("14", "16")]
    top = (-upper.SEPTUM, -0.5, 30.0)
    return [
        {"id": "sinus-right", "kind": "floor", "of": "sinus", "points": floor},
        *root_rows(case, near),
        {"id": "septum-right", "kind": "mark", "points": case.marks([top]),
         "label": "top of the septum in the sinus"},
        {"id": "gum-15", "kind": "gum", "points": case.marks([(-33.0, 0.0, 9.4)])},
        {"id": "stent-top-15", "kind": "stent_top", "points": case.marks([(-33.0, -0.3, -2.0)])},
        {"id": "contacts-15", "kind": "contact",
         "points": case.marks([(-29.5, 0.0, 4.0), (-36.7, 0.0, 4.2)])},
    ]  # fmt: skip


def upper_plans(case: Case) -> tuple[dict[str, Any], dict[str, Any], list[str]]:
    """Right plan, wrong plan, and what is wrong with the latter, for the gap at 15."""
    base = case.plan("15", upper.STENT, STATIONS, upper.GAP)
    size = {"diameter_mm": 4.0, "length_mm": 8.0, "apical_diameter_mm": 3.0, "taper_from_mm": 3.0}
    structures = _structures(case)
    right = base | {
        "structures": structures,
        "fixtures": [case.fixture("15", "15", ((-32.9, -0.8, 12.4), (1.0, 0.5)), size)],
    }
    kept = [
        s | {"points": [p for p, (at, _) in zip(s["points"], FLOOR, strict=True) if at > -33.5]}
        if s["id"] == "sinus-right"
        else s
        for s in structures
        if s["id"] != "root-14"
    ]
    size = {"diameter_mm": 4.5, "length_mm": 8.0}
    wrong = base | {
        "arch": base["arch"] | {"starts": "first"},
        "structures": kept,
        "fixtures": [case.fixture("15", "25", ((-34.6, 0.9, 12.2), (3.0, -5.0)), size)],
    }
    faults = [
        "root-16-mesial: less than 1.0 mm from the fixture",
        "tooth 25 is on the patient's left, the fixture and the side check on the right",
        "root of 14 (24 by the wrong number): not marked and not declared",
        "sinus-right: its marks end at the fixture's middle, so the distance is not assessed",
        "buccal bone: less than 2.0 mm within 4 mm of the platform",
    ]
    return right, wrong, faults
