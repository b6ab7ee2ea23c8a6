"""The cone of a root and its rings: against cones that were drawn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from core.bone.root_cone import RootCone, RootRings, fitted_cone, rings_around, run_of
from core.bone.root_edges import RootLevels
from core.geometry import unit
from core.image.volume import Volume

LEVELS = RootLevels(dentine=1500.0, soft=100.0, blur_mm=0.25, noise=40.0)
TURN = 2.0 * np.pi * np.arange(24) / 24
HEIGHT = 0.5 * np.arange(-6, 15)
WIDE = (-0.9, 0.9)


def cone(**other):
    return replace(
        RootCone(
            origin=np.array([1.0, 2.0, 3.0]), axis=np.array([0.0, 0.0, -1.0]),
            one=np.array([1.0, 0.0, 0.0]), radius=2.0, taper=-0.05,
        ),
        **other,
    )  # fmt: skip


def rings(radius, *, seen=None, expected=None, height=HEIGHT, inside=1500.0, first_look=False):
    shape = (len(height), 24)
    radius = np.broadcast_to(radius, shape)
    return RootRings(
        height=height, radius=radius, sd=np.full(shape, 0.05),
        seen=np.ones(shape, bool) if seen is None else seen,
        expected=radius if expected is None else np.broadcast_to(expected, shape),
        inside=np.broadcast_to(np.asarray(inside, float), shape), beyond=np.full(shape, 400.0),
        levels=LEVELS, first_look=first_look,
    )  # fmt: skip


class TestCone:
    def test_its_directions_go_evenly_round_the_axis_from_one_to_two(self):
        tilted = cone(axis=unit([0.0, 0.6, -0.8]))
        turn, ways = tilted.around()
        assert turn == pytest.approx(TURN)
        assert ways @ tilted.axis == pytest.approx(np.zeros(24), abs=1e-12)
        assert np.linalg.norm(ways, axis=1) == pytest.approx(np.ones(24))
        assert ways[0] == pytest.approx(tilted.one)
        assert ways[6] == pytest.approx(np.cross(tilted.axis, tilted.one))
        assert ways[6] == pytest.approx(tilted.two)
        assert (ways * np.roll(ways, 1, axis=0)).sum(axis=1) == pytest.approx(
            np.full(24, np.cos(np.radians(15)))
        )

    def test_its_radius_is_linear_along_it(self):
        assert cone().radius_at(0.0) == 2.0
        assert cone().radius_at(10.0) == pytest.approx(1.5)
        assert cone().radius_at(-4.0) == pytest.approx(2.2)


class TestGood:
    """Of each ring 14 of 24 rays (0.55) are seen, within 0.4 mm, of dentine, and no wider."""

    def good(self, **other):
        return rings(2.0, height=HEIGHT[:1], **other).good.tolist() == [True]

    @pytest.mark.parametrize(("count", "good"), [(13, False), (14, True)])
    @pytest.mark.parametrize("first_look", [True, False])
    def test_most_of_a_ring_is_seen(self, count, good, first_look):
        seen = (np.arange(24) < count)[None]
        assert self.good(seen=seen, first_look=first_look) is good

    def test_at_the_first_look_nothing_else_counts(self):
        other = {"expected": 1.0, "inside": 9000.0}
        assert self.good(**other, first_look=True)
        assert not self.good(**other)

    @pytest.mark.parametrize(("off", "good"), [(-0.41, False), (-0.39, True), (0.24, True)])
    def test_edges_lie_where_they_are_expected(self, off, good):
        assert self.good(expected=2.0 - off) is good

    @pytest.mark.parametrize(("off", "good"), [(0.24, True), (0.26, False)])
    def test_a_ring_that_is_wider_all_round_is_none_of_a_root(self, off, good):
        assert self.good(expected=2.0 - off) is good

    @pytest.mark.parametrize(
        ("share", "good"), [(-0.31, False), (-0.29, True), (0.24, True), (0.26, False)]
    )
    def test_inside_is_dentine_and_neither_marrow_nor_enamel(self, share, good):
        assert self.good(inside=1500.0 + share * 1400.0) is good

    def test_a_ring_of_which_nothing_is_seen(self):
        assert not self.good(seen=np.zeros((1, 24), bool))

    def test_dentine_is_what_the_good_rings_hold(self):
        inside = np.full((len(HEIGHT), 24), 1450.0)
        inside[:3] = 2600.0
        assert rings(2.0, inside=inside).dentine(0.0) == 1450.0
        none = np.zeros((len(HEIGHT), 24), bool)
        assert rings(2.0, seen=none).dentine(1234.0) == 1234.0


@pytest.mark.parametrize(
    ("good", "ends"),
    [
        ([3, 4, 5, 6, 7, 8, 9], (-1.5, 1.5)),
        ([2, 3, 5, 6, 7, 9, 10], (-2.0, 2.0)),
        ([0, 1, 2, 5, 6, 7, 10, 11], (-0.5, 0.5)),
        ([0, 2, 4, 6, 8, 10, 12], (-3.0, 3.0)),
        ([6], (0.0, 0.0)),
        ([7, 8, 2], (0.5, 1.0)),
        ([4, 5, 8, 9], (-1.0, -0.5)),
        (range(13), (-3.0, 3.0)),
    ],
)
def test_a_run_hangs_together_around_the_click_over_single_gaps(good, ends):
    height = 0.5 * np.arange(-6, 7)
    some = np.isin(np.arange(13), list(good))
    assert run_of(rings(2.0, height=height), some) == ends


class TestFit:
    PARTS = (2.1, -0.06, 0.3, -0.2, 0.05, 0.03, 0.08, -0.1)
    """Radius and taper at the middle, shift by one and two, slopes, oval."""

    def radius(self, parts=PARTS, height=HEIGHT):
        x = (height - height.mean())[:, None]
        r, taper, a, b, c, d, e, f = parts
        along = (a + c * x) * np.cos(TURN) + (b + d * x) * np.sin(TURN)
        return r + taper * x + along + e * np.cos(2 * TURN) + f * np.sin(2 * TURN)

    def test_what_rings_show_is_found_again(self):
        before = cone()
        found = fitted_cone(before, rings(self.radius()))
        axis = unit(before.axis + 0.05 * before.one + 0.03 * before.two)
        assert found.axis == pytest.approx(axis, abs=1e-4)
        middle = float(HEIGHT.mean())
        at = before.origin + middle * before.axis + 0.3 * before.one - 0.2 * before.two
        assert found.origin + middle * found.axis == pytest.approx(at, abs=2e-3)
        assert found.radius_at(middle) == pytest.approx(2.1, abs=1e-3)
        assert found.taper == pytest.approx(-0.06, abs=1e-3)
        assert found.oval == pytest.approx((0.08, -0.1), abs=1e-3)
        assert found.scatter == pytest.approx(0.0, abs=1e-3)
        assert np.linalg.norm(found.one) == pytest.approx(1.0)
        assert found.one @ found.axis == pytest.approx(0.0, abs=1e-12)
        assert found.one @ before.one > 0.99

    def test_a_cone_that_fits_is_left_as_it_is(self):
        before = cone()
        exact = rings(2.0 - 0.05 * HEIGHT[:, None])
        found = fitted_cone(before, exact)
        assert found.origin == pytest.approx(before.origin, abs=1e-9)
        assert found.axis == pytest.approx(before.axis, abs=1e-9)
        assert (found.radius, found.taper) == pytest.approx((2.0, -0.05), abs=1e-9)

    def test_edges_far_off_do_not_pull(self):
        radius = self.radius()
        far = np.zeros_like(radius, dtype=bool)
        far[8:13, 3:8] = True
        found = fitted_cone(cone(), rings(radius + 1.5 * far))
        even = fitted_cone(cone(), rings(radius))
        assert found.origin == pytest.approx(even.origin, abs=2e-3)
        assert found.radius == pytest.approx(even.radius, abs=2e-3)
        assert found.axis == pytest.approx(even.axis, abs=1e-3)

    def test_only_edges_that_are_seen_in_good_rings_count(self):
        radius = self.radius()
        seen = np.random.default_rng(2).random(radius.shape) < 0.8
        inside = np.full(radius.shape, 1500.0)
        inside[:2] = 2600.0
        wrong = np.where(seen & (inside < 2000), radius, radius + 0.5)
        # From the rings that are left, seen about their own middle.
        found = fitted_cone(cone(), rings(wrong, seen=seen, inside=inside))
        plain = fitted_cone(cone(), rings(radius))
        for height in (-1.0, 2.0, 6.0):
            assert found.origin + height * found.axis == pytest.approx(
                plain.origin + height * plain.axis, abs=0.02
            )
            assert found.radius_at(height) == pytest.approx(plain.radius_at(height), abs=0.02)

    def test_its_doubt_is_that_of_many_draws_of_which_one_in_three_tells_something_new(self):
        rng = np.random.default_rng(3)
        radius, drawn, told, scatter = self.radius(), [], [], []
        before, middle = cone(), float(HEIGHT.mean())
        for _ in range(60):
            found = fitted_cone(before, rings(radius + rng.normal(0, 0.2, radius.shape),
                                              expected=radius))  # fmt: skip
            at = found.origin + middle * found.axis
            drawn.append([
                found.radius_at(middle), found.taper, at @ before.one, at @ before.two,
                found.axis @ before.one, found.axis @ before.two, *found.oval,
            ])  # fmt: skip
            told.append(found.sd)
            scatter.append(found.scatter)
        assert np.median(scatter) == pytest.approx(0.2, rel=0.1)
        assert np.median(told, axis=0) == pytest.approx(
            np.sqrt(3.0) * np.std(drawn, axis=0), rel=0.35
        )

    def test_the_doubt_of_what_was_not_turned_to_is_that_of_least_squares(self):
        """Even noise on every ray: sd of the radius 0.2 sqrt(3 / n), of a shift sqrt(2) of it."""
        rng = np.random.default_rng(4)
        radius = self.radius()
        n = radius.size
        sd = fitted_cone(cone(), rings(radius + rng.normal(0, 0.2, radius.shape),
                                       expected=radius)).sd  # fmt: skip
        one = 0.2 * np.sqrt(3.0 / n)
        by_height = one / HEIGHT.std()
        wanted = [one, by_height, *[np.sqrt(2) * one] * 2, *[np.sqrt(2) * by_height] * 2]
        assert sd == pytest.approx([*wanted, *[np.sqrt(2) * one] * 2], rel=0.12)

    def test_a_single_ring_tells_nothing_of_how_a_cone_runs_on(self):
        height = np.array([2.0])
        found = fitted_cone(cone(), rings(self.radius(height=height), height=height))
        assert found.taper == pytest.approx(-0.05)
        assert found.axis == pytest.approx(cone().axis)
        assert found.radius_at(2.0) == pytest.approx(2.1, abs=0.01)
        assert found.sd[[1, 4, 5]] == pytest.approx([0.12, 0.4, 0.4])


VOXEL = 0.25


def drawn(true, *, dark=400.0):
    """A blurred cone in bone, ligament around it, exact but for the voxels."""
    count = np.array([48, 48, 60])
    first = true.origin - np.array([6.0, 6.0, 9.0])
    k, j, i = np.indices(count[::-1])
    at = first + VOXEL * np.stack([i, j, k], axis=-1)
    along = (at - true.origin) @ true.axis
    off = at - true.origin - along[..., None] * true.axis
    away = np.linalg.norm(off, axis=-1)
    depth = away - true.radius - true.taper * along
    level = np.array([1500.0, 100.0, dark])
    ends = ndtr(depth / 0.24), ndtr((depth - 0.2) / 0.24)
    grey = level[0] + (level[1] - level[0]) * ends[0] + (level[2] - level[1]) * ends[1]
    affine = np.diag([VOXEL] * 3 + [1.0])
    affine[:3, 3] = first
    return Volume(
        voxels=np.rint(grey).astype(np.int16), mm_from_ijk=affine,
        made_up=np.zeros(count[2], bool),
    )  # fmt: skip


class TestRings:
    def test_rings_on_the_axis_show_the_cone(self):
        true = cone()
        found = rings_around(drawn(true), LEVELS, true, (-3.1, 4.2), reach_mm=WIDE)
        assert found.height == pytest.approx(0.5 * np.arange(-6, 9))
        assert found.seen.all()
        wanted = 2.0 - 0.05 * found.height
        assert found.expected == pytest.approx(np.tile(wanted[:, None], 24))
        assert found.radius == pytest.approx(np.tile(wanted[:, None], 24), abs=0.06)
        assert found.off == pytest.approx(np.zeros(found.radius.shape), abs=0.06)
        assert found.inside == pytest.approx(np.full(found.radius.shape, 1500.0), abs=40)
        assert found.beyond == pytest.approx(np.full(found.radius.shape, 400.0), abs=40)
        assert found.good.all()
        assert found.dentine(0.0) == pytest.approx(1500, abs=15)
        assert not found.first_look

    def test_from_beside_the_axis_they_show_it_too(self):
        """0.3 mm off along one: the edge lies 0.3 cos further on, so far as it is small."""
        true = cone()
        beside = cone(origin=true.origin - 0.3 * true.one, oval=(0.1, -0.05))
        found = rings_around(drawn(true), LEVELS, beside, (-1.0, 1.0), reach_mm=WIDE)
        oval = 0.1 * np.cos(2 * TURN) - 0.05 * np.sin(2 * TURN)
        expected = 2.0 - 0.05 * found.height[:, None] + oval
        assert found.expected == pytest.approx(expected)
        shift = 0.3 * np.cos(TURN) + np.sqrt(4.0 - (0.3 * np.sin(TURN)) ** 2) - 2.0
        wanted = 2.0 - 0.05 * found.height[:, None] + shift
        assert found.radius == pytest.approx(wanted, abs=0.09)

    def test_and_lead_to_it_in_a_few_rounds(self):
        true = cone(axis=unit([0.08, -0.05, -1.0]), one=unit([1.0, 0.0, 0.08]), taper=-0.08)
        volume = drawn(true)
        known = cone(origin=true.origin + np.array([0.3, -0.25, 0.0]))
        for _ in range(4):
            around = rings_around(volume, LEVELS, known, (-3.0, 4.0), reach_mm=WIDE)
            known = fitted_cone(known, around)
        assert known.axis == pytest.approx(true.axis, abs=4e-3)
        for height in (-2.0, 0.0, 3.0):
            at = known.origin + height * known.axis - true.origin
            assert at - (at @ true.axis) * true.axis == pytest.approx(np.zeros(3), abs=0.02)
            assert known.radius_at(height) == pytest.approx(
                true.radius_at(float(at @ true.axis)), abs=0.05
            )

    def test_what_was_not_scanned_is_not_seen(self):
        true = cone()
        found = rings_around(drawn(true), LEVELS, true, (-8.0, 0.0), reach_mm=WIDE, first_look=True)
        assert found.first_look
        out = found.height < -6.2
        assert not found.seen[out].any()
        assert (found.sd[out] == 9.0).all()
        assert found.seen[found.height > -5.0].all()

    def test_a_radius_is_never_expected_under_four_tenths(self):
        true = cone(taper=-0.5)
        found = rings_around(drawn(true), LEVELS, true, (0.0, 5.0), reach_mm=WIDE)
        wanted = np.maximum(2.0 - 0.5 * found.height, 0.4)
        assert found.expected[:, 0] == pytest.approx(wanted)
