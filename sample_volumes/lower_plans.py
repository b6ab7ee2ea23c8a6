"""Plans of the lower jaw: one that is right, one that goes wrong on purpose."""

from __future__ import annotations

from typing import Any

import numpy as np

from sample_volumes import lower_jaw as lower
from sample_volumes.plans import Case, root_rows

STATIONS = (-13.0, -6.5, 0.0, 6.5, 13.0, 19.5, 26.0, 32.0, 37.0, 42.0, 47.0, 53.0)


def _structures(case: Case) -> list[dict[str, Any]]:
    f = lower.FORAMEN
    edge = lower.surface_offset
    h = f["height"]
    middle = 0.5 * (f["mesial"] + f["distal"])
    mesial, distal, upper = case.marks([
        (f["mesial"], edge(f["mesial"], h), h), (f["distal"], edge(f["distal"], h), h),
        (middle, edge(middle, h + f["rise"]), h + f["rise"]),
    ])  # fmt: skip
    border = [(s, 0.0, float(lower.border_height(np.array(s)))) for s in (27, 32, 37, 42, 47, 52)]
    return [
        {"id": "canal-left", "kind": "canal", "points": case.marks(lower.CANAL_MARKS),
         "diameter_mm": lower.CANAL_DIAMETER, "seen": ["yes"] * 6 + ["faint"] * 2},
        {"id": "foramen-left", "kind": "foramen", "mesial": mesial, "distal": distal,
         "upper": upper, "loop": "seen"},
        {"id": "loop-left", "kind": "loop", "points": case.marks(lower.LOOP_MARKS),
         "diameter_mm": lower.LOOP_DIAMETER},
        *root_rows(case, lower.ROOTS[:3]),
        {"id": "border-left", "kind": "border", "points": case.marks(border)},
        {"id": "gum-36", "kind": "gum", "points": case.marks([(37.0, 0.0, -10.2)])},
        {"id": "stent-top-36", "kind": "stent_top", "points": case.marks([(37.0, 0.6, 2.0)])},
        {"id": "contacts-36", "kind": "contact",
         "points": case.marks([(31.4, 0.0, -3.5), (42.6, 0.0, -4.2)])},
    ]  # fmt: skip


def lower_plans(case: Case) -> tuple[dict[str, Any], dict[str, Any], list[str]]:
    """Right plan, wrong plan, and what is wrong with the latter, for the gap at 36."""
    base = case.plan("36", lower.STENT, STATIONS, lower.GAP)
    size = {"diameter_mm": 4.5, "length_mm": 8.0, "platform_diameter_mm": 4.2,
            "apical_diameter_mm": 3.2, "taper_from_mm": 4.0, "bone_level_mm": 0.5}  # fmt: skip
    structures = _structures(case)
    right = base | {
        "structures": structures,
        "fixtures": [case.fixture("36", "36", ((37.1, 0.0, -13.5), (-1.0, 1.0)), size)],
    }
    missing = ("root-37-mesial", "root-37-distal", "foramen-left", "loop-left")
    kept = [
        s | {"points": s["points"][3:]} if s["id"] == "border-left" else s
        for s in structures
        if s["id"] not in missing
    ]
    size = {"diameter_mm": 5.0, "length_mm": 12.0}
    wrong = base | {
        "arch": base["arch"] | {"starts": "first"},
        "structures": kept,
        "fixtures": [case.fixture("36", "46", ((36.2, 1.2, -14.3), (2.0, -4.0)), size)],
    }
    faults = [
        "canal-left: the fixture's end is less than 2.0 mm from the canal",
        "tooth 46 is on the patient's right, the fixture and the side check on the left",
        "root of 37 (47 by the wrong number): not marked and not declared",
        "foramen and loop: not marked and not declared",
        "border-left: its marks begin distal of the fixture, so the distance is not assessed",
        "buccal bone: less than 1.5 mm within 4 mm of the platform",
    ]
    return right, wrong, faults
