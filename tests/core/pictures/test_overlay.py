"""What lies over the panorama stays within the panorama."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import sample_volumes
from core import load_plan
from core.arch import Arch
from core.image.ribbon import Ribbon
from core.pictures.overlay import panorama_overlay, within_width

HALF = 10.0
PLACES = st.tuples(st.floats(-30, 30), st.floats(-5, 5))


@given(st.lists(PLACES, min_size=2, max_size=8))
def test_what_is_left_of_a_line_is_exactly_what_lies_within(places):
    line = np.array(places)
    parts = within_width(line, HALF)
    for part in parts:
        assert np.abs(part[:, 0]).max() <= HALF + 1e-9
    # Held against many samples of the line itself: as much of its length lies within.
    ways = np.diff(line, axis=0)
    lengths = np.linalg.norm(ways, axis=1)
    t = (np.arange(2000) + 0.5) / 2000
    inside = [
        length * np.mean(np.abs(a[0] + t * way[0]) <= HALF)
        for a, way, length in zip(line, ways, lengths, strict=False)
    ]
    kept = sum(np.linalg.norm(np.diff(part, axis=0), axis=1).sum() for part in parts)
    assert kept == pytest.approx(sum(inside), abs=0.02 * len(line) + 1e-6)


def test_a_canal_longer_than_the_panorama_ends_at_its_edge():
    plan = load_plan(sample_volumes.path("lower_left_36.plan.json"))
    arch = Arch.trace(plan.arch_points, level=plan.level, starts=plan.arch_starts)
    ribbon = Ribbon.along(arch, heights_mm=(-30, 10), pixel_mm=0.5)
    half = ribbon.cols * ribbon.pixel_mm / 2
    lines = [x.points for x in panorama_overlay(plan, arch, ribbon).lines if x.style == "canal"]
    assert lines
    assert max(np.abs(points[:, 0]).max() for points in lines) == pytest.approx(half)
