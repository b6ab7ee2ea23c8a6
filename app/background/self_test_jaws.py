"""The self-test's two drawn jaws: written as DICOM, read back, measured, and compared."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from core import load_plan, measure, open_scan
from core.errors import PlanError
from core.image.canal_fit import fit_canal
from core.image.stent_axis import stent_axis
from core.image.volume import Volume
from core.measuring.ledger import Ledger
from core.measuring.self_test import stent_checks
from core.measuring.self_test_check import Check, holds
from core.measuring.self_test_rows import jaw_checks, value
from core.plans.plan import Plan
from core.plans.plan_parse import parse
from core.words.catalogue import say
from sample_volumes import path, small_jaw
from sample_volumes.dicom_out import slice_dataset, stored_values
from sample_volumes.distances import balls, clearances, fixture_distance, profile_of
from sample_volumes.phantom import HEADER, small_upper_jaw
from sample_volumes.voxelise import Grid

VOXEL_MM = 0.4
BOX_MM = (32.0, 36.0, 52.0)
UPPER_BOX_MM = (32.0, 34.0, 40.0)
SLOPE, INTERCEPT = 0.5, 120.0
"""Of the lower jaw's stored values: no number may hang on the scale of the grey values."""

TIP_MM = 1.5
RULER_MM, ANGLE_DEG = 7.3, 35.0
OTHER_SIDE = {"36": "46", "15": "25"}

Told = Callable[[str], None]


def lower_jaw(draw: np.random.Generator, seed: int, folder: Path, told: Told) -> Iterator[Check]:
    """All checks of a drawn lower jaw; its grey values lie on a scale of their own."""
    told(say("background.self_test_jaws.drawing-an-invented-lower-jaw"))
    voxels, affine, truth = small_jaw(seed, size_mm=BOX_MM, **_look(draw))
    truth = _with_more(truth, "lower_left_36.truth.json", tip="canal-left")
    wrong = truth.pop("wrong_plan")
    for plan_document in (truth["plan"], wrong):
        _inside(plan_document, affine, voxels.shape)
    truth["fixtures"]["right"]["clearances"] = clearances(truth["plan"])
    told(say("background.self_test_jaws.writing-it-as-dicom-and"))
    volume = written(folder, voxels, affine, slope=SLOPE, intercept=INTERCEPT)
    plan = read_plan(folder, truth["plan"])
    yield _same_voxels(volume, truth, say("background.self_test_jaws.lower-jaw"))
    middle = tuple(n // 2 for n in voxels.shape)
    stored = float(stored_values(voxels)[middle])
    grey = float(volume.grey_at(volume.mm([middle[::-1]]))[0])
    yield Check(what=say("background.self_test_jaws.lower-jaw-grey-value-of"), found=grey,
                true=SLOPE * stored + INTERCEPT, bound=0.01, unit="")  # fmt: skip
    told(say("background.self_test_jaws.measuring-it"))
    ledger = measure(plan, volume)
    yield from jaw_checks(ledger, truth, say("background.self_test_jaws.lower-jaw"))
    ends = np.array([truth["stent"][end] for end in ("occlusal", "gingival")])
    click = ends[0] + draw.uniform(0.2, 0.8) * (ends[1] - ends[0])
    fit = stent_axis(volume, click, coronal=truth["arch"]["up"], name="channel-36")
    yield from stent_checks(truth, fit)
    yield from _canal(volume, truth)
    told(say("background.self_test_jaws.measuring-what-must-not-pass"))
    yield from _refused(plan, volume)
    yield from _wrong_plan(wrong, volume)


def upper_jaw(draw: np.random.Generator, seed: int, folder: Path, told: Told) -> Iterator[Check]:
    """All checks of a drawn upper jaw."""
    told(say("background.self_test_jaws.drawing-an-invented-upper-jaw"))
    voxels, affine, truth = small_upper_jaw(seed, size_mm=UPPER_BOX_MM, **_look(draw))
    truth = _with_more(truth, "upper_right_15.truth.json", tip="root-14")
    right = truth["fixtures"]["right"]
    for rows in (right["platform_depth_mm"], right["bone_surface"]):
        # In the small box the section along the arch and the way into the sinus are cut off.
        for side in ("mesial", "distal", "apical"):
            rows.pop(side, None)
    told(say("background.self_test_jaws.writing-it-as-dicom-and"))
    volume = written(folder, voxels, affine)
    plan = read_plan(folder, truth["plan"])
    yield _same_voxels(volume, truth, say("background.self_test_jaws.upper-jaw"))
    told(say("background.self_test_jaws.measuring-it"))
    yield from jaw_checks(measure(plan, volume), truth, say("background.self_test_jaws.upper-jaw"))


def written(
    folder: Path, voxels: Any, affine: Any, *, slope: float = 1.0, intercept: float | None = None
) -> Volume:
    """The voxels written as a DICOM series and read back by the program."""
    x, y, z = (float(v) for v in affine[:3, 3])
    k, j, i = voxels.shape
    grid = Grid(first_mm=(x, y, z), shape=(k, j, i), voxel_mm=VOXEL_MM)
    scan = folder / "scan"
    scan.mkdir(parents=True)
    for n, stored in enumerate(stored_values(voxels)):
        dataset = slice_dataset(HEADER, grid, stored, n)
        if intercept is not None:
            dataset.RescaleSlope, dataset.RescaleIntercept = str(slope), str(intercept)
        dataset.save_as(scan / f"slice{n + 1:03d}.dcm", enforce_file_format=True)
    return open_scan(scan)


def read_plan(folder: Path, document: dict[str, Any]) -> Plan:
    """A plan written to a file and read back."""
    file = folder / "case.plan.json"
    file.write_text(json.dumps(document), encoding="utf-8")
    return load_plan(file)


def _look(draw: np.random.Generator) -> dict[str, Any]:
    pitch, roll, yaw = (float(v) for v in draw.uniform(-6.0, 6.0, 3))
    return {
        "voxel_mm": VOXEL_MM,
        "blur_fwhm_mm": float(draw.uniform(0.4, 0.6)),
        "noise_sd": float(draw.uniform(20.0, 50.0)),
        "tilt_deg": (pitch, roll, yaw),
    }


def _inside(document: dict[str, Any], affine: Any, shape: tuple[int, ...]) -> None:
    """Leave out marks of the canal beyond the drawn box: it was traced in the whole jaw."""
    last = affine[:3, 3] + (np.array(shape[::-1]) - 1) * np.diag(affine)[:3]
    for structure in document["structures"]:
        if structure["kind"] == "canal":
            structure["points"] = [
                p for p in structure["points"] if (affine[:3, 3] < p).all() and (p < last).all()
            ]
            structure.pop("seen", None)


@cache
def _kept_truth(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(path(name).read_text(encoding="utf-8"))
    return found


def _with_more(truth: dict[str, Any], kept: str, *, tip: str) -> dict[str, Any]:
    """The truth with what the drawn scan alone does not give.

    Distances to the bone surface come from the kept sample of the same jaw and plan: they are the
    same however the jaw lies. A ruler, an angle and a drill's tip are worked out here.
    """
    plan = truth["plan"]
    fixture = plan["fixtures"][0]
    truth["fixtures"]["right"]["bone_surface"] = _kept_truth(kept)["fixtures"]["right"][
        "bone_surface"
    ]
    start, axis = np.array(fixture["platform"]), np.array(fixture["towards_apex"])
    axis = axis / np.linalg.norm(axis)
    across = np.cross(axis, [0.0, 1.0, 0.0])
    across /= np.linalg.norm(across)
    turn = np.radians(ANGLE_DEG)
    arm = np.cos(turn) * axis + np.sin(turn) * across
    plan["rulers"] = [
        {"id": "ruler-1", "points": [start.tolist(), (start + RULER_MM * axis).tolist()]}
    ]
    plan["angles"] = [
        {
            "id": "angle-1",
            "points": [(start + 5 * axis).tolist(), start.tolist(), (start + 5 * arm).tolist()],
        }
    ]
    truth["rulers"] = {"ruler-1": (RULER_MM, "mm"), "angle-1": (ANGLE_DEG, "deg")}
    structure = next(s for s in plan["structures"] if s["id"] == tip)
    profile = profile_of(fixture["size"])
    with_tip = np.vstack([profile, [profile[-1, 0] + TIP_MM, 0.0]])
    centres, radii = balls(structure)
    nearest = float((fixture_distance(centres, start, axis, with_tip) - radii).min())
    bare = float((fixture_distance(centres, start, axis, profile) - radii).min())
    if nearest < bare - 0.05:
        truth["tips"] = {f"{fixture['id']}/clearance/{tip}/tip": nearest}
    return truth


def _same_voxels(volume: Volume, truth: dict[str, Any], jaw: str) -> Check:
    same = volume.fingerprint() == truth["plan"]["scan"]["fingerprint"]
    return holds(say("background.self_test_jaws.voxels-and-grid-read-back", jaw=jaw), same)


def _canal(volume: Volume, truth: dict[str, Any]) -> Iterator[Check]:
    """The canal's diameter from one click, on a canal whose diameter is known."""
    marks = next(s for s in truth["plan"]["structures"] if s["id"] == "canal-left")["points"]
    top = np.array(truth["canal"]["top"])
    line = np.array(marks)
    at = int(np.argmin(np.linalg.norm(line - top, axis=1)))
    at = min(max(at, 1), len(line) - 2)
    fit = fit_canal(volume, line[at], line[at + 1] - line[at - 1])
    yield Check(
        what=say("background.self_test_jaws.lower-jaw-canals-diameter-from"),
        found=fit.diameter_mm,
        true=truth["canal"]["diameter_mm"],
        bound=max(0.3, 2 * fit.sd_mm),
    )


def _refused(plan: Plan, volume: Volume) -> Iterator[Check]:
    """A plan of the other side, of other voxels, or with an impossible size gives no comfort."""
    fixture = plan.fixtures[0]
    other = replace(
        plan,
        fixtures=(replace(fixture, tooth=OTHER_SIDE[fixture.tooth]),),
        sites=(),
        side_check=None,
    )
    yield holds(say("background.self_test_jaws.a-tooth-of-the-other"), not _met(other, volume))
    changed = np.array(volume.voxels)
    changed[tuple(n // 2 for n in changed.shape)] += 50
    yield holds(
        say("background.self_test_jaws.a-plan-is-refused-on"),
        _refusal(plan, replace(volume, voxels=changed)) == "plan-scan-changed",
    )
    size = replace(fixture.size, diameter_mm=9.0, platform_diameter_mm=None)
    wide = replace(plan, fixtures=(replace(fixture, size=size),))
    yield holds(
        say("background.self_test_jaws.a-fixture-of-9-mm"),
        _refusal(wide, volume) == "plan-impossible-size",
    )


def _refusal(plan: Plan, volume: Volume) -> str:
    try:
        measure(plan, volume, fine=False)
    except PlanError as refused:
        return refused.code
    return ""


def _met(plan: Plan, volume: Volume) -> list[str]:
    try:
        ledger = measure(plan, volume, fine=False)
    except PlanError:
        return []
    return [m.id for m in ledger.measurements if m.verdict == "meets limit"]


def _wrong_plan(document: dict[str, Any], volume: Volume) -> Iterator[Check]:
    """A plan that is wrong on purpose: too near to the canal and through the buccal bone."""
    document = json.loads(json.dumps(document))
    document["fixtures"][0]["tooth"] = "36"
    document["scan"] = None
    document["arch"].pop("starts", None)
    ledger = measure(parse(document), volume)
    kept = _kept_truth("lower_left_36.truth.json")["fixtures"]["wrong"]
    yield from _below(ledger, "36/clearance/canal-left", clearances(document))
    near = min(w["value_mm"] for w in kept["walls"] if w["turn_deg"] in (0.0, 45.0, 315.0))
    verdict = _verdict_of(ledger, "36/wall/buccal")
    yield Check(
        what=say("background.self_test_jaws.wrong-plan-remaining-bone-buccal"),
        found=value(ledger, "36/wall/buccal"),
        true=near,
        bound=0.35,
    )
    yield holds(
        say("background.self_test_jaws.wrong-plan-buccal-bone-is"), verdict == "below limit"
    )


def _below(ledger: Ledger, row: str, exact: dict[str, Any]) -> Iterator[Check]:
    true = exact[row]["value_mm"]
    yield Check(
        what=say("background.self_test_jaws.wrong-plan-clearance-to-the"),
        found=value(ledger, row),
        true=true,
        bound=0.05,
    )
    yield holds(
        say("background.self_test_jaws.wrong-plan-canal-is-below"),
        _verdict_of(ledger, row) == "below limit",
    )


def _verdict_of(ledger: Ledger, row: str) -> str:
    try:
        return str(ledger.get(row).verdict)
    except KeyError:
        return ""
