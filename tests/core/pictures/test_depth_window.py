"""What part of the axis a picture shows: platform and canal, whatever the room."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.pictures.depth_window import deepest_structure_mm, depth_window
from tests.sheet_material import CANAL_Z_MM, arch_of, fixture_at, plan_with


def test_the_canals_lower_wall_is_the_deepest():
    """By hand: the platform at z = 20, the canal's middle at 5 with a radius of 1.5 mm."""
    plan = plan_with(fixture_at(15.0, "36"))
    found = deepest_structure_mm(plan, arch_of(plan), plan.fixtures[0])
    assert found == pytest.approx(20.0 - CANAL_Z_MM + 1.5, abs=0.05)


def test_without_a_canal_it_is_the_fixtures_apex():
    plan = plan_with(fixture_at(15.0, "36", length_mm=10.0))
    bare = type(plan)(**{f: getattr(plan, f) for f in ("jaw", "level", "fixtures")})
    assert deepest_structure_mm(bare, arch_of(plan), plan.fixtures[0]) == 10.0


@given(st.floats(4.0, 40.0), st.floats(20.0, 40.0), st.floats(2.0, 10.0))
def test_the_deepest_is_always_shown_and_the_platform_where_there_is_room(deepest, height, centre):
    middle, tall = depth_window(deepest, height, centre, most_mm=height * 5 / 3)
    assert height <= tall <= height * 5 / 3
    assert middle + tall / 2 >= deepest + 2.0 - 1e-9
    if deepest + 5.0 <= height * 5 / 3:
        assert middle - tall / 2 <= 0.0
