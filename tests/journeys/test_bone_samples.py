"""Bone of the sample scans against their exact geometry: plates, widths, heights, undercut.

The scans are reconstructed cone-beam scans (see `sample_volumes`); truth files hold the analytic
surfaces that they were projected from. Bounds are those that the program set itself: ridge width
0.10 mm, height 0.15 mm, outer edges 0.05 mm on average, plates of 0.5 mm and more 0.06 mm on
average and ± 0.15 mm in 95 of 100. An undercut's depth is a width, between two edges, too.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

import sample_volumes
from core import load_plan, measure, open_scan
from core.arch import fixture_frame
from core.bone.plates import thickness_at
from core.bone.remaining_bone import remaining_bone_map
from core.measuring.basis import Basis
from core.measuring.ledger import Ledger

SAMPLES = ("lower_left_36", "upper_right_15")


@pytest.fixture(scope="module", params=SAMPLES)
def sample(request: pytest.FixtureRequest) -> Any:
    name = str(request.param)
    volume = open_scan(sample_volumes.path(name))
    plan = load_plan(sample_volumes.path(f"{name}.plan.json"))
    basis = Basis.of(plan, volume)
    truth = json.loads(sample_volumes.path(f"{name}.truth.json").read_text())
    return plan, basis, measure(plan, volume, basis=basis), truth


WIDTH_MM, HEIGHT_MM, EDGE_MM = 0.10, 0.15, 0.05


def _exact(truth: Any, along: str) -> tuple[str, Any]:
    """Part of a row's name, and the truth: at the fixture by direction, or at the site."""
    if along == "site":
        return "up", truth["site"]
    return along, truth["fixtures"]["right"][along]


def _subject(ledger: Ledger, along: str) -> str:
    return ledger.plan.sites[0].id if along == "site" else ledger.plan.fixtures[0].id


@pytest.mark.parametrize("along", ["axis", "up", "site"])
def test_widths_and_their_ends_agree(sample: Any, along: str) -> None:
    _, _, ledger, truth = sample
    name, exact = _exact(truth, along)
    off = []
    for width in exact["widths"]:
        depth = width["at_depth_mm"]
        row = ledger.get(f"{_subject(ledger, along)}/ridge_width/{name}/{depth:g}")
        assert row.value is not None
        assert abs(row.value - width["value_mm"]) <= WIDTH_MM, depth
        if along == "site":
            continue
        across = np.array(exact["side"])
        ends = sorted(float(p @ across) for p in row.reading.witness)
        true = sorted(float(np.array(p) @ across) for p in width["ends"])
        off += [abs(a - b) for a, b in zip(ends, true, strict=True)]
    assert not off or np.mean(off) <= EDGE_MM


@pytest.mark.parametrize("along", ["axis", "site"])
def test_the_height_agrees(sample: Any, along: str) -> None:
    _, _, ledger, truth = sample
    name, exact = _exact(truth, along)
    (row,) = [
        m
        for m in ledger.measurements
        if m.id.startswith(f"{_subject(ledger, along)}/ridge_height/")
        and m.details.along == name
        and m.target
    ]
    assert row.value == pytest.approx(exact["height_mm"], abs=HEIGHT_MM)


def test_errors_of_widths_are_what_their_doubt_says(sample: Any) -> None:
    _, _, ledger, truth = sample
    z = []
    for along in ("axis", "up"):
        for width in truth["fixtures"]["right"][along]["widths"]:
            row = ledger.get(
                f"{_subject(ledger, along)}/ridge_width/{along}/{width['at_depth_mm']:g}"
            )
            z.append((row.value - width["value_mm"]) / np.hypot.reduce(row.reading.edge_sd_mm))
    assert np.abs(z).max() < 2.5


def _plate_errors(ledger: Ledger, truth: Any) -> tuple[list[float], list[float]]:
    subject = ledger.plan.fixtures[0].id
    errors, z = [], []
    for width in truth["fixtures"]["right"]["up"]["widths"]:
        for side in ("buccal", "lingual"):
            row = ledger.get(f"{subject}/plate_thickness/{side}/{width['at_depth_mm']:g}")
            if row.value is None:
                assert row.reading.notes
                continue
            errors.append(row.value - width[f"{side}_plate_mm"])
            z.append(errors[-1] / float(np.hypot.reduce(row.reading.edge_sd_mm)))
    return errors, z


def test_plates_of_both_samples_agree_with_the_truth() -> None:
    errors, z = [], []
    for name in SAMPLES:
        volume = open_scan(sample_volumes.path(name))
        ledger = measure(load_plan(sample_volumes.path(f"{name}.plan.json")), volume)
        truth = json.loads(sample_volumes.path(f"{name}.truth.json").read_text())
        of_one, z_of_one = _plate_errors(ledger, truth)
        errors += of_one
        z += z_of_one
    assert len(errors) >= 18
    assert np.mean(np.abs(errors)) <= 0.06
    assert abs(np.mean(errors)) + 1.96 * np.std(errors) <= 0.15
    assert 0.8 < np.std(z) < 1.3


def test_a_thin_place_is_read_and_told_to_be_thin(sample: Any) -> None:
    _, basis, _, truth = sample
    edge = np.array(truth["thin_place"]["edge"])
    frame = basis.arch.frame(basis.arch.station(edge))
    reading = thickness_at(basis.edges, edge, -frame.buccal, frame.up)
    assert reading.value == pytest.approx(truth["thin_place"]["plate_mm"], abs=0.12)
    assert "plate_thin" in [n.code for n in reading.notes]


def test_remaining_bone_agrees_with_the_truth(sample: Any) -> None:
    plan, basis, _, truth = sample
    fixture = plan.fixtures[0]
    frame = fixture_frame(fixture, basis.arch)
    remaining = remaining_bone_map(
        basis.volume, fixture, frame, basis.levels, basis.finder, plan.structures
    )
    errors = []
    for exact in truth["fixtures"]["right"]["walls"]:
        row = int(np.argmin(np.abs(remaining.depths_mm - exact["depth_mm"])))
        turned = (remaining.turns_deg - exact["turn_deg"] + 180.0) % 360.0 - 180.0
        at = row, int(np.argmin(np.abs(turned)))
        whole = remaining.bone_mm[at] + remaining.gap_mm[at] + remaining.other_mm[at]
        errors.append(whole - exact["value_mm"])
    errors = np.array(errors)
    assert np.isfinite(errors).mean() > 0.9
    assert np.nanmean(np.abs(errors)) < 0.05
    assert np.nanmax(np.abs(errors)) < 0.15


def test_the_bone_surface_is_as_near_as_it_is(sample: Any) -> None:
    _, _, ledger, truth = sample
    subject = ledger.plan.fixtures[0].id
    for side, exact in truth["fixtures"]["right"]["bone_surface"].items():
        if exact is None or exact >= 8.0:
            continue
        found = ledger.get(f"{subject}/clearance/bone surface/{side}").value
        assert found == pytest.approx(exact, abs=0.12), side


def test_the_bone_around_the_apex_says_why_no_limit_holds(sample: Any) -> None:
    """Once a floor is marked its limit judges: what was short before must not vanish silently."""
    plan, _, ledger, _ = sample
    for part in ("", "/tip"):
        (row,) = [
            m for m in ledger.measurements if m.id.endswith(f"/clearance/bone surface/apical{part}")
        ]
        codes = [note.code for note in row.reading.notes]
        assert (row.limit is None) is (plan.jaw == "upper")
        assert ("surface_floor_judges" in codes) is (plan.jaw == "upper")


def test_the_lingual_undercut_agrees(sample: Any) -> None:
    """Depth, angle and widths after Chan et al. 2011 (Clin Oral Implants Res 22:201-206)."""
    plan, _, ledger, truth = sample
    if "hollow" not in truth["site"]:
        assert not [m for m in ledger.measurements if m.kind.startswith("undercut")]
        return
    exact = truth["site"]["hollow"]
    for subject in (plan.fixtures[0].id, plan.sites[0].id):
        depth = ledger.get(f"{subject}/undercut_depth/level")
        assert depth.value == pytest.approx(exact["depth_mm"], abs=WIDTH_MM)
        assert depth.details.undercut_type == "U"
        for name, true in (("crest", "width_crest_2mm"), ("base", "width_line_a")):
            assert depth.details.by_key()[f"width_{name}_mm"] == pytest.approx(
                exact[true], abs=WIDTH_MM
            )
        # By the bounds of its legs, 0.10 mm of 2.4 mm and 0.15 mm of 4.1 mm: 2 degrees.
        angle = ledger.get(f"{subject}/undercut_angle/level").value
        assert angle == pytest.approx(exact["angle_deg"], abs=2.0)
