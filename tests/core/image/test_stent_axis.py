"""The stent axis from one click: known rods, the sample scans, and what must be refused."""

from __future__ import annotations

import json

import numpy as np
import pytest

import sample_volumes
from core.geometry import angle_deg
from core.image.stent_axis import stent_axis
from core.scan import open_scan
from tests.core.bright_phantoms import ball, block, rod

FIRST, LAST = np.array([0.3, -0.2, -5.5]), np.array([0.9, 0.6, 5.2])
FILLING, METAL = 2400.0, 6000.0


def found_in(volume, click=(0.6, 0.2, 0.0), coronal=(0, 0, -1)):
    return stent_axis(volume, click, coronal=coronal, name="channel-36")


def errors(fit, first, last):
    """Furthest end from the true line, mm, and angle between both, degrees."""
    way = (last - first) / np.linalg.norm(last - first)
    ends = np.array([fit.axis.occlusal, fit.axis.gingival]) - first
    off = np.linalg.norm(ends - (ends @ way)[:, None] * way, axis=1).max()
    return off, angle_deg(fit.axis.gingival - fit.axis.occlusal, way)


@pytest.mark.parametrize("voxel", [0.2, 0.4])
@pytest.mark.parametrize("diameter", [2.0, 3.0])
def test_a_rod_is_found_from_anywhere_on_it(voxel, diameter):
    volume = block([(rod(FIRST, LAST, diameter), FILLING)], voxel_mm=voxel)
    for share in (0.1, 0.5, 0.9):
        fit = found_in(volume, FIRST + share * (LAST - FIRST) + [0.4, 0, 0])
        off, turn = errors(fit, FIRST, LAST)
        assert off < 0.05
        assert turn < (0.3 if voxel == 0.4 else 0.15)  # 2 mm are five such voxels
        assert fit.axis.occlusal == pytest.approx(FIRST, abs=0.15)
        assert fit.axis.gingival == pytest.approx(LAST, abs=0.15)
        assert fit.axis.diameter_mm == pytest.approx(diameter, abs=0.25)


def test_which_end_is_occlusal_follows_from_the_jaw_alone():
    volume = block([(rod(FIRST, LAST, 2.5), FILLING)])
    one, other = found_in(volume, coronal=(0, 0, -1)), found_in(volume, coronal=(0, 0, 1))
    assert one.axis.occlusal == pytest.approx(other.axis.gingival, abs=1e-6)
    assert one.axis.occlusal[2] < 0 < other.axis.occlusal[2]


@pytest.mark.parametrize("turn", [(1, 0, 0), (0, 1, 0), (0.6, -0.8, 0)])
def test_a_filling_tilted_by_40_degrees_is_found(turn):
    way = np.cos(np.radians(40)) * np.array([0, 0, 1.0]) + np.sin(np.radians(40)) * np.array(turn)
    first, last = -5.5 * way, 5.5 * way
    fit = found_in(block([(rod(first, last, 3.0), FILLING)]), click=(0.2, 0.3, 0))
    off, angle = errors(fit, first, last)
    assert off < 0.05
    assert angle < 0.15


def test_shading_across_the_filling_hardly_moves_it():
    """As strong as metal makes it in the sample scan: 80 grey values a mm."""
    parts = [(rod(FIRST, LAST, 3.0), FILLING)]
    off, angle = errors(found_in(block(parts, shading_per_mm=(80, 40, 0))), FIRST, LAST)
    assert off < 0.06
    assert angle < 0.2


@pytest.mark.parametrize(("name", "coronal"), [("lower_left_36", 1), ("upper_right_15", -1)])
def test_reconstructed_samples(name, coronal):
    """At most 0.1 mm and 0.3 degrees on cone-beam reconstructions with metal near, and within
    what the fit says of itself. The truth is the geometry that was projected."""
    volume = open_scan(sample_volumes.path(name))
    truth = json.loads(sample_volumes.path(f"{name}.truth.json").read_text("utf-8"))
    first, last = (np.array(truth["stent"][end]) for end in ("occlusal", "gingival"))
    up = coronal * np.array(truth["arch"]["up"])
    rng = np.random.default_rng(5)
    for _ in range(4):
        click = first + rng.uniform(0.15, 0.85) * (last - first) + rng.normal(0, 0.4, 3)
        fit = found_in(volume, click, up)
        off, turn = errors(fit, first, last)
        assert off <= 0.1
        assert turn <= 0.3
        assert off <= 2.45 * fit.end_sd_mm  # 95 % in two directions
        assert turn <= 2.45 * fit.axis.direction_sd_deg
        assert fit.axis.diameter_mm == pytest.approx(3.0, abs=0.2)
        assert fit.axis.occlusal == pytest.approx(first, abs=0.15)
        assert fit.axis.gingival == pytest.approx(last, abs=0.15)


def refusal(parts, click=(0.6, 0.2, 0.0), **scan):
    fit = found_in(block(parts, **scan), click)
    assert fit.axis is None
    assert len(fit.note.message) > 60
    return fit.note.code


def test_a_stent_without_filling_is_refused():
    assert refusal([]) == "stent-no-filling"
    assert refusal([(rod(FIRST, LAST, 3.0), FILLING)], click=(6, 6, 0)) == "stent-no-filling"


def test_a_click_between_several_fillings_is_refused_and_on_one_takes_that_one():
    left, right = np.array([-1.9, 0, 0]), np.array([1.9, 0, 0])
    up = np.array([0, 0, 5.0])
    parts = [(rod(m - up, m + up, 2.0), FILLING) for m in (left, right)]
    assert refusal(parts, click=(0, 0, 0)) == "stent-several"
    fit = found_in(block(parts), left)
    assert errors(fit, left - up, left + up)[0] < 0.05


def test_a_filling_that_touches_metal_is_refused():
    crown = ball(LAST + np.array([3.0, 0, 1.0]), 5.0)
    parts = [(rod(FIRST, LAST, 3.0), FILLING), (crown, METAL)]
    assert refusal(parts) == "stent-touches-metal"
    # A scan that cannot show more than the filling's own level: then the shape tells.
    assert refusal(parts, most=2500) == "stent-not-a-rod"


def test_metal_that_stands_apart_hardly_moves_it():
    parts = [(rod(FIRST, LAST, 3.0), FILLING), (ball([6.5, 0, 3.0], 5.0), METAL)]
    off, turn = errors(found_in(block(parts)), FIRST, LAST)
    assert off < 0.06
    assert turn < 0.3


def test_other_bright_things_are_no_filling():
    assert refusal([(ball([0, 0, 0], 4.0), FILLING)]) == "stent-not-a-rod"
    assert refusal([(rod([-7, 0, 0], [7, 0, 0], 7.0), FILLING)]) == "stent-not-a-rod"
    assert refusal([(rod([0, 0, -1.2], [0, 0, 1.2], 1.4), FILLING)]) == "stent-too-short"


def test_what_leaves_the_scan_is_refused():
    long = [(rod([0, 0, -20], [0, 0, 20], 3.0), FILLING)]
    assert refusal(long, click=(0, 0, 0)) == "stent-not-closed"
    assert refusal([], click=(50, 0, 0)) == "stent-not-scanned"
