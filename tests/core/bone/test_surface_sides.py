"""Which side a surface point belongs to, what rays leave unsure, and what lies beyond reach."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from core.bone import surface
from core.bone.edges import EdgeSet
from core.bone.surface import (
    SIDES,
    SurfaceCasts,
    _amid,
    _beyond,
    _Cast,
    _faces,
    _spread,
    surface_on,
)
from core.fixture import Fixture, FixtureSize
from core.measurement import Evidence, Note
from tests.core.bone_phantoms import true_levels

FIXTURE = Fixture(
    id="f", platform=(10, 20, 30), towards_apex=(0, 0, -1),
    size=FixtureSize(diameter_mm=4.0, length_mm=8.0, apical_diameter_mm=2.0),
)  # fmt: skip
FRAME = SimpleNamespace(b=np.array([1.0, 0, 0]), m=np.array([0, 1.0, 0]), a=np.array([0, 0, 1.0]))


def at(b, m, depth):
    return np.add(FIXTURE.platform, [(b, m, -depth)])


class TestFaces:
    @pytest.mark.parametrize(
        ("place", "sides"),
        [
            ((5, 0, 4), {"buccal"}),
            ((5, 4.99, 4), {"buccal"}),
            ((5, -5.01, 4), set()),
            ((-5, 4.99, 4), {"lingual"}),
            ((-5, -5.01, 4), set()),
            ((5, 0, 0.0), {"buccal"}),
            ((5, 0, -0.01), set()),
            ((5, 0, 8.0), {"buccal"}),
            ((5, 0, 8.01), {"apical"}),
            ((0, 0, 9), {"apical"}),
            ((np.nan, 0, 4), set()),
            ((np.nan, 0, 9), set()),
        ],
    )
    def test_by_45_degrees_between_platform_and_apex_and_below_it(self, place, sides):
        found = {s for s in SIDES if _faces(s, FIXTURE, FRAME, at(*place))[0]}
        assert found == sides


def cast(distance, *, sd=0.1, reason=None, hint=None):
    """Rays down on to a surface, a millimetre apart, from height 0 above z = 0."""
    distance = np.array(distance, dtype=float)
    rows, columns = distance.shape
    starts = np.zeros((rows, columns, 3))
    starts[..., 0], starts[..., 1] = np.arange(rows)[:, None], np.arange(columns)
    flat = distance.ravel()
    edges = EdgeSet(
        distance_mm=flat, sd_mm=np.full(flat.shape, sd), found=np.isfinite(flat),
        reason=np.array(
            np.where(np.isfinite(flat), "", "weak") if reason is None else reason, dtype="<U16"
        ),
        hint_mm=flat if hint is None else np.array(hint, dtype=float),
    )  # fmt: skip
    return _Cast.of(starts, np.array([0, 0, -1.0]), edges)


class TestCast:
    def test_points_lie_where_the_rays_end(self):
        found = cast([[1.0, 2.0], [3.0, np.nan]])
        assert found.points[:3] == pytest.approx(np.array([(0, 0, -1), (0, 1, -2), (1, 0, -3.0)]))
        assert np.isnan(found.points[3]).all()
        assert found.shape == (2, 2)

    def test_the_four_around_each(self):
        grid = np.arange(12.0).reshape(3, 4) ** 2
        found = _amid(grid)
        assert found[1, 1] == pytest.approx((grid[0, 1] + grid[2, 1] + grid[1, 0] + grid[1, 2]) / 4)
        assert np.isnan(found[0]).all()
        assert np.isnan(found[:, 3]).all()

    @pytest.mark.parametrize(
        ("hint", "reason", "unsure"),
        [
            (2.49, "weak", False),
            (2.51, "weak", True),
            (1.49, "weak", True),
            (5.0, "not described", True),
            (5.0, "graze", True),
            (5.0, "starts inside", False),
            (5.0, "nothing", False),
            (5.0, "not scanned", False),
            (5.0, "levels", False),
            (np.nan, "weak", False),
        ],
    )
    def test_a_ray_without_an_edge_is_unsure_unless_those_around_it_agree(
        self, hint, reason, unsure
    ):
        """Half a millimetre from the mean of the four around it, which is 2."""
        distance = np.full((3, 3), 2.0)
        distance[1, 1] = np.nan
        reasons = np.full(9, "", dtype="<U16")
        reasons[4] = reason
        hints = np.full(9, 2.0)
        hints[4] = hint
        found = cast(distance, reason=reasons, hint=hints)
        assert (len(found.unsure) == 1) is unsure
        if unsure:
            assert found.unsure[0] == pytest.approx([1, 1, -hint])

    @pytest.mark.parametrize(("far", "leaps"), [(5.99, False), (6.01, True)])
    def test_where_rays_side_by_side_end_4_mm_apart_the_surface_may_go_on_from_the_further(
        self, far, leaps
    ):
        """Behind gum as bright as bone, 13 mm out, apical 2.82 was read for 1.95."""
        found = cast([[far, 2.0, 2.0], [2.5, 2.5, np.nan]], hint=np.full(6, np.nan))
        expected = [(0, 1, -far)] if leaps else np.empty((0, 3))
        assert found.unsure == pytest.approx(np.array(expected, dtype=float).reshape(-1, 3))

    def test_rays_that_met_nothing_are_known_by_their_starts(self):
        reasons = np.array(["", "nothing", "weak", "starts inside"], dtype="<U16")
        found = cast([[1.0, np.nan], [np.nan, np.nan]], reason=reasons)
        assert found.through == pytest.approx(np.array([(0.0, 1.0, 0.0)]))

    def test_at_the_rim_of_the_grid_none_speaks_for_another(self):
        distance = np.full((3, 3), 2.0)
        distance[0, 1] = np.nan
        found = cast(distance, hint=np.full(9, 2.0))
        assert len(found.unsure) == 1

    def test_between_rays_a_parabola_bulges_as_it_does(self):
        """Straight between rays would cut off a quarter of what bends over one step."""
        rows, columns = np.meshgrid(np.arange(5.0), np.arange(5.0), indexing="ij")
        found = cast(4.0 - 0.2 * (rows - 2) ** 2 - 0.1 * (columns - 2) ** 2)
        points, where = found.around(2.0, 2.0, 1.0)
        assert where.min() == 1.0
        assert where.max() == 3.0
        expected = -(4.0 - 0.2 * (where[:, 0] - 2) ** 2 - 0.1 * (where[:, 1] - 2) ** 2)
        assert points[:, :2] == pytest.approx(where)
        assert points[:, 2] == pytest.approx(expected)
        near, where = found.around(0.0, 4.0, 0.125)
        assert where[:, 0].max() == 0.125
        assert where[:, 1].min() == 3.875
        assert len(near) == 17 * 17

    @pytest.mark.parametrize("corner", [(0.0, 0.0), (0.0, 3.0), (3.0, 0.0), (3.0, 3.0)])
    def test_about_the_rim_of_the_grid_no_place_lies_beyond_it(self, corner):
        points, where = cast(np.full((4, 4), 5.0)).around(*corner, 1.0)
        assert where.min() == min(*corner, 2.0)
        assert where.max() == max(*corner, 1.0)
        assert points[:, :2] == pytest.approx(where)
        assert points[:, 2] == pytest.approx(-5.0)


class TestBeyond:
    def said(self, monkeypatch, seen, side="buccal", evidence=None):
        monkeypatch.setattr(surface, "seen_bone", lambda *_: seen)
        levels = SimpleNamespace(evidence=evidence or true_levels(0.3).evidence)
        scan = SimpleNamespace(volume=None, levels=levels)
        return _beyond(side, FRAME, FIXTURE, scan)

    def test_bone_on_every_ray_is_at_least_the_reach(self, monkeypatch):
        found = self.said(monkeypatch, seen=True)
        assert found.value == 8.0
        assert found.lower_bound
        assert [n.code for n in found.notes] == ["at_least_reach"]
        # From the middle of the side, half way down: the radius there is 2 - (4 - 0.5) / 7.5.
        radius = 2 - 3.5 / 7.5
        assert found.witness[0] == pytest.approx([10 + radius, 20, 26])
        assert found.witness[1] == pytest.approx([18 + radius, 20, 26])
        apical = self.said(monkeypatch, seen=True, side="apical")
        assert apical.witness[0] == pytest.approx([10, 20, 22])
        assert apical.witness[1] == pytest.approx([10, 20, 14])
        unproven = Evidence(rests_on="image", levels=Note("levels_cut"))
        assert not self.said(monkeypatch, seen=True, evidence=unproven).lower_bound

    @pytest.mark.parametrize(
        ("seen", "code"), [(None, "surface_not_scanned"), (False, "surface_not_found")]
    )
    def test_else_it_is_not_assessed(self, monkeypatch, seen, code):
        found = self.said(monkeypatch, seen=seen)
        assert found.value is None
        assert [n.code for n in found.notes] == [code]
        assert found.notes[0].fields["side"] == "buccal"

    def test_rays_cover_a_side_by_45_degrees_and_the_apex_by_60(self):
        starts, ways = _spread("lingual", FRAME, FIXTURE)
        assert ways.shape == starts.shape == (17, 19, 3)
        assert ways[0, 9] == pytest.approx([-1, 0, 0])
        assert ways @ FRAME.b == pytest.approx(
            np.tile(-np.cos(np.radians(np.arange(-45, 46, 5))), (17, 1))
        )
        on_axis = starts - ways * FIXTURE.size.radius_at(np.arange(0, 8.1, 0.5))[:, None, None]
        assert on_axis[:, 3] == pytest.approx(
            FIXTURE.platform - np.arange(0, 8.1, 0.5)[:, None] * FRAME.a
        )
        starts, ways = _spread("apical", FRAME, FIXTURE)
        assert np.linalg.norm(ways, axis=2) == pytest.approx(np.ones(ways.shape[:2]))
        assert (-ways @ FRAME.a).min() == pytest.approx(0.5)
        assert starts[0, 0] == pytest.approx(FIXTURE.apex)
        assert np.linalg.norm(starts[6] - FIXTURE.apex, axis=1) == pytest.approx(
            np.full(24, np.sin(np.radians(60)))
        )


class TestLeast:
    """A flat wall 6 mm buccal of the platform, met by rays a millimetre apart."""

    def wall(self, *, distance=6.0, unsure=(), through=(), size=(17, 9)):
        depth, aside = np.meshgrid(
            np.arange(float(size[0])), np.arange(float(size[1])) - size[1] // 2, indexing="ij"
        )
        points = FIXTURE.platform + np.stack(
            [np.full(depth.shape, distance), aside, -depth], axis=-1
        )
        return _Cast(
            shape=size, points=points.reshape(-1, 3),
            unsure=np.array(unsure, dtype=float).reshape(-1, 3), sd_mm=np.full(depth.size, 0.1),
            through=np.array(through, dtype=float).reshape(-1, 3),
        )  # fmt: skip

    def found(self, *casts, side="buccal", tip=0.0):
        scan = SimpleNamespace(volume=None, levels=true_levels(0.3))
        held = SurfaceCasts(casts=casts, frame=FRAME, scan=scan)
        return surface_on(held, FIXTURE, tip_mm=tip, sides=(side,))[side]

    def test_the_nearest_point_with_its_witness_and_doubt(self):
        reading = self.found(self.wall())
        assert reading.value == pytest.approx(4.0)
        assert reading.witness[1][0] == pytest.approx(16.0)
        assert reading.witness[0][0] == pytest.approx(12.0)
        assert reading.edge_sd_mm[0] == 0.1
        assert not reading.upper_bound
        assert reading.evidence.is_sound

    def test_between_two_points_it_may_be_nearer(self):
        far = self.wall()
        points = far.points.copy()
        points[:, 1] += 0.5
        moved = replace(far, points=points)
        assert self.found(moved).value == pytest.approx(4.0, abs=1e-3)

    @pytest.mark.parametrize(("away", "bound"), [(4.29, True), (4.31, False)])
    def test_what_is_unsure_and_may_lie_nearer_makes_it_an_upper_bound(self, away, bound):
        """Up to 0.3 mm further in than where bone begins to show."""
        reading = self.found(self.wall(unsure=at(2 + away, 0, 0.25)))
        assert reading.upper_bound is bound
        assert reading.evidence.is_sound is not bound
        if bound:
            assert [n.code for n in reading.notes] == ["surface_unclear"]
            assert f"{reading.notes[0].fields['at']}" == "4.3"

    @pytest.mark.parametrize(
        ("side", "depth", "bound"),
        [
            ("buccal", 8.7, True),
            ("buccal", 8.8, False),
            ("apical", 7.3, True),
            ("apical", 7.2, False),
        ],
    )
    def test_what_is_unsure_within_a_step_of_the_grid_counts_for_both_sides(
        self, side, depth, bound
    ):
        """Between two rays 0.75 mm apart the surface may lie on either side of the apex' level."""
        near = FIXTURE.platform + np.array([2.5, 0.0, -depth])
        reading = self.found(self.wall(unsure=near, size=(25, 9)), side=side)
        assert reading.value > 0.6
        assert reading.upper_bound is bound

    @pytest.mark.parametrize(
        ("out", "below", "bound"), [(4.3, 0.3, True), (4.6, 0.3, False), (4.3, 0.5, False)]
    )
    def test_a_surface_that_passes_just_below_the_apex_much_nearer_leaves_an_upper_bound(
        self, out, below, bound
    ):
        """Lingual 3.52 was read where the surface ran along the end of the fixture."""
        wall = self.wall()
        points = wall.points.copy()
        points[-1] = FIXTURE.platform + np.array([out, 0.0, -FIXTURE.size.length_mm - below])
        reading = self.found(replace(wall, points=points))
        assert reading.value == pytest.approx(4.0, abs=0.01)
        assert reading.upper_bound is bound

    @pytest.mark.parametrize(
        ("side", "depth", "aside", "from_", "bound"),
        [
            ("buccal", 4.0, 0.0, 12.0, True),
            ("buccal", 4.0, 1.5, 12.0, True),
            ("buccal", 4.0, 2.1, 12.0, False),  # past the fixture
            ("buccal", 4.0, 0.0, -12.0, False),  # from the other side
            ("buccal", 0.7, 0.0, 12.0, False),  # about the crest's own level
            ("buccal", 0.75, 0.0, 12.0, True),
            ("buccal", 8.1, 0.0, 12.0, False),  # below the apex
            ("lingual", 4.0, 0.0, -12.0, True),
            ("lingual", 4.0, 0.0, 12.0, False),
            ("apical", 7.5, 0.0, 12.0, True),
            ("apical", 7.5, 0.0, -12.0, True),
            ("apical", 7.0, 0.0, 12.0, False),
        ],
    )
    def test_a_ray_that_met_nothing_and_runs_through_the_fixture_leaves_an_upper_bound(
        self, side, depth, aside, from_, bound
    ):
        start = FIXTURE.platform + np.array([from_, aside, -depth])
        distance = -6.0 if side == "lingual" else 6.0
        reading = self.found(self.wall(distance=distance, through=start, size=(25, 9)), side=side)
        assert reading.value > 0.6
        assert reading.upper_bound is bound
        assert reading.evidence.is_sound is not bound

    def test_of_two_casts_the_nearer_and_of_another_side_none(self, monkeypatch):
        monkeypatch.setattr(surface, "seen_bone", lambda *_: False)
        assert self.found(self.wall(), self.wall(distance=5.0)).value == pytest.approx(3.0)
        lingual = self.found(self.wall(), side="lingual")
        assert lingual.value is None

    def test_unsure_alone_leaves_no_value(self, monkeypatch):
        monkeypatch.setattr(surface, "seen_bone", lambda *_: True)
        reading = self.found(self.wall(distance=30.0, unsure=at(6, 0, 1.0)))
        assert reading.value is None
        assert [n.code for n in reading.notes] == ["surface_unclear"]
        beyond = self.found(self.wall(distance=30.0))
        assert beyond.value == 8.0

    @pytest.mark.parametrize(("distance", "within"), [(9.99, True), (10.01, False)])
    def test_the_reach_is_8_mm(self, monkeypatch, distance, within):
        monkeypatch.setattr(surface, "seen_bone", lambda *_: False)
        assert (self.found(self.wall(distance=distance)).value is not None) is within

    def test_with_levels_in_trouble_nothing_is_read(self):
        levels = replace(true_levels(0.3), trouble=Note("levels_no_bone"))
        held = SurfaceCasts(casts=(), frame=FRAME, scan=SimpleNamespace(levels=levels))
        found = surface_on(held, FIXTURE)
        assert set(found) == set(SIDES)
        assert {r.notes[0].code for r in found.values()} == {"levels_no_bone"}
