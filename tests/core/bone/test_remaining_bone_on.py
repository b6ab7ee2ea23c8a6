"""The bone left on each ray, on rays written by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.bone.bone_levels import BoneLevels
from core.bone.edges import STEP_MM
from core.bone.remaining_bone import remaining_bone_on
from core.bone.remaining_bone_rays import (
    EDGE,
    GAP,
    NO_BONE,
    NOT_FOUND,
    NOT_SCANNED,
    OTHER,
    REACHES,
    ROOT,
    TO_ROOT,
    RemainingBoneRays,
)
from core.fixture import FixtureSize
from core.measurement import Note

LEVELS = BoneLevels(
    soft=100.0, spongy=400.0, cortical=1100.0, cortical_sd=40.0, noise_sd=5.0, voxel_mm=0.3
)
SIZE = FixtureSize(diameter_mm=4.0, length_mm=1.0)
COUNT, TURNS = 141, 8
T = STEP_MM * np.arange(COUNT)


def rays(edge=6.0, state=EDGE, *, marked=(), gap=(), skims=(), rows=4):
    """All rays alike; what is marked as (kind, from, to) mm from the axis."""
    n = rows * TURNS
    turns = np.arange(-180.0, 180.0, 45.0)
    way = np.radians(turns)
    kinds = np.zeros((n, COUNT), np.uint8)
    for kind, low, high in marked:
        kinds[:, (low - 1e-9 <= T) & (high - 1e-9 > T)] = kind
    flags = [np.zeros((n, COUNT), bool) for _ in range(2)]
    for flag, parts in zip(flags, (gap, skims), strict=True):
        for low, high in parts:
            flag[:, (low - 1e-9 <= T) & (high - 1e-9 > T)] = True
    depths = 0.5 * np.arange(rows)
    return RemainingBoneRays(
        depths_mm=depths, turns_deg=turns,
        axis_mm=np.repeat(-depths[:, None] * np.array([0, 0, 1.0]), TURNS, axis=0),
        outward=np.tile(np.stack([np.cos(way), np.sin(way), 0 * way], axis=1), (rows, 1)),
        edge_mm=np.full(n, float(edge)), sd_mm=np.full(n, 0.1),
        state=np.full(n, state, dtype=np.intp), bone=np.ones((n, COUNT), bool), gap=flags[0],
        marked=kinds, skims=flags[1],
    )  # fmt: skip


def one(levels=LEVELS, **how):
    """Bone, gap, other and state of each ray, which are all alike."""
    found = remaining_bone_on(rays(**how), SIZE, levels)
    out = []
    for name in ("bone_mm", "gap_mm", "other_mm", "state"):
        values = getattr(found, name)
        assert values.shape == (3, TURNS), "from the platform to the apex, and no row more"
        assert np.allclose(values, values[0, 0], equal_nan=True)
        out.append(float(values[0, 0]))
    return tuple(out)


class TestOneRay:
    def test_from_the_fixtures_surface_to_the_edge(self):
        assert one() == pytest.approx((4.0, 0.0, 0.0, EDGE))

    @pytest.mark.parametrize(("edge", "bone", "state"), [(9.9, 7.9, EDGE), (10.1, 8.0, REACHES)])
    def test_beyond_eight_millimetres_it_goes_on(self, edge, bone, state):
        assert one(edge=edge) == pytest.approx((bone, 0.0, 0.0, state))
        assert one(edge=np.inf, state=REACHES) == pytest.approx((8.0, 0.0, 0.0, REACHES))

    def test_a_surface_outside_bone_is_negative(self):
        assert one(edge=1.4) == pytest.approx((-0.6, 0.0, 0.0, EDGE))
        assert one(edge=np.nan, state=NO_BONE) == pytest.approx((-2.0, 0.0, 0.0, NO_BONE))

    @pytest.mark.parametrize("state", [NOT_FOUND, NOT_SCANNED])
    def test_what_was_not_found_or_not_scanned_has_no_number(self, state):
        bone, _, _, told = one(edge=np.nan, state=state)
        assert np.isnan(bone)
        assert told == state

    def test_gaps_and_other_things_within_it_are_no_bone(self):
        assert one(gap=[(3.0, 3.5)]) == pytest.approx((3.5, 0.5, 0.0, EDGE))
        assert one(marked=[(GAP, 3.0, 3.5)]) == pytest.approx((3.5, 0.5, 0.0, EDGE))
        assert one(marked=[(OTHER, 3.0, 4.0)]) == pytest.approx((3.0, 0.0, 1.0, EDGE))
        both = one(gap=[(3.0, 4.0)], marked=[(OTHER, 3.5, 4.5)])
        assert both == pytest.approx((2.5, 0.5, 1.0, EDGE)), "what is both counts once"

    def test_only_between_the_surface_and_the_edge(self):
        beyond = [(0.0, 2.0), (6.0, 9.0)]
        assert one(gap=beyond) == pytest.approx((4.0, 0.0, 0.0, EDGE))
        reach = one(edge=np.inf, state=REACHES, gap=[(9.5, 12.0)])
        assert reach == pytest.approx((7.5, 0.5, 0.0, REACHES))

    def test_less_than_none_is_none(self):
        assert one(edge=2.5, gap=[(2.0, 2.5)]) == pytest.approx((0.0, 0.5, 0.0, EDGE))

    def test_a_root_ends_it(self):
        assert one(marked=[(ROOT, 4.0, 9.0)]) == pytest.approx((2.0, 0.0, 0.0, TO_ROOT))
        assert one(marked=[(ROOT, 6.5, 9.0)])[3] == EDGE
        assert one(marked=[(ROOT, 0.0, 1.5)])[3] == EDGE, "within the fixture it does not count"
        reach = one(edge=np.inf, state=REACHES, marked=[(ROOT, 7.0, 9.0)])
        assert reach == pytest.approx((5.0, 0.0, 0.0, TO_ROOT))
        hidden = one(edge=np.nan, state=NOT_FOUND, marked=[(ROOT, 7.0, 9.0)])
        assert hidden == pytest.approx((5.0, 0.0, 0.0, TO_ROOT))
        far = one(edge=np.nan, state=NOT_FOUND, marked=[(ROOT, 10.1, 12.0)])
        assert far[3] == NOT_FOUND
        lost = one(edge=np.nan, state=NOT_SCANNED, marked=[(ROOT, 7.0, 9.0)])
        assert lost[3] == NOT_SCANNED

    def test_a_ray_that_skims_the_crest_claims_no_bone(self):
        assert one(skims=[(2.1, 2.3)])[3] == NOT_FOUND
        assert np.isnan(one(skims=[(2.1, 2.3)])[0])
        assert one(edge=np.inf, state=REACHES, skims=[(2.1, 2.3)])[3] == NOT_FOUND
        assert one(skims=[(0.0, 1.9)])[3] == EDGE
        assert one(skims=[(5.0, 6.0)])[3] == EDGE
        assert one(edge=np.nan, state=NO_BONE, skims=[(2.1, 2.3)])[3] == NO_BONE


def test_places_are_those_of_the_fixtures_own_surface():
    found = remaining_bone_on(rays(), SIZE, LEVELS)
    away = np.hypot(found.surface_mm[..., 0], found.surface_mm[..., 1])
    assert away == pytest.approx(np.full((3, TURNS), 2.0))
    assert found.surface_mm[..., 2] == pytest.approx(np.tile([[0.0], [-0.5], [-1.0]], TURNS))
    ends = np.hypot(found.edge_mm[..., 0], found.edge_mm[..., 1])
    assert ends == pytest.approx(np.full((3, TURNS), 6.0))
    assert found.sd_mm == pytest.approx(np.full((3, TURNS), 0.1))
    assert found.depths_mm == pytest.approx([0.0, 0.5, 1.0])
    assert found.trouble is None


def test_a_side_is_within_45_degrees_of_it():
    found = remaining_bone_on(rays(), SIZE, LEVELS)
    assert found.turns_deg[found.sector("buccal")].tolist() == [-45.0, 0.0, 45.0]
    assert found.turns_deg[found.sector("lingual")].tolist() == [-180.0, -135.0, 135.0]


def test_without_levels_there_is_no_number_and_the_reason():
    levels = replace(LEVELS, trouble=Note("levels_no_bone"))
    found = remaining_bone_on(rays(), SIZE, levels)
    assert found.trouble.code == "levels_no_bone"
    assert np.isnan(found.bone_mm).all()
    assert (found.state == NOT_FOUND).all()
    assert found.surface_mm.shape == (3, TURNS, 3)
