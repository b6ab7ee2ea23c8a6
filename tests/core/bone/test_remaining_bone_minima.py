"""Least bone of a side, and depths below a limit, on a map drawn by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.bone.least_of_many import doubt_of_least
from core.bone.remaining_bone import RemainingBoneMap, remaining_bone_on
from core.bone.remaining_bone_minima import _judged_by_neighbours, minima, openings
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
from core.measurement import SEEN, Evidence, Note
from tests.core.bone_phantoms import true_levels

TURNS = np.arange(-180.0, 180.0, 15.0)
DEPTHS = np.arange(0.0, 6.1, 0.5)


def drawn(*changes, evidence=SEEN):
    """Bone of 4 mm all round; (row, turn, {field: value}) on top of it."""
    shape = (len(DEPTHS), len(TURNS))
    fields = {
        "bone_mm": np.full(shape, 4.0),
        "state": np.full(shape, EDGE, dtype=np.uint8),
        "sd_mm": np.full(shape, 0.1),
        "gap_mm": np.zeros(shape),
        "other_mm": np.zeros(shape),
    }
    for row, turn, change in changes:
        for name, value in change.items():
            fields[name][row, np.flatnonzero(turn == TURNS)[0]] = value
    place = np.zeros((*shape, 3))
    place[..., 0], place[..., 1] = DEPTHS[:, None], TURNS
    return RemainingBoneMap(
        depths_mm=DEPTHS, turns_deg=TURNS, surface_mm=place, edge_mm=np.add(place, (0, 0, 4.0)),
        evidence=evidence, **fields,
    )  # fmt: skip


MISSING = {"bone_mm": np.nan, "state": NOT_FOUND, "sd_mm": np.nan}


def codes(minimum):
    return [note.code for note in minimum.reading.notes]


class TestLeast:
    @pytest.mark.parametrize(
        ("turn", "side"),
        [(0.0, "buccal"), (45.0, "buccal"), (-45.0, "buccal"), (60.0, None), (120.0, None),
         (135.0, "lingual"), (-180.0, "lingual"), (-135.0, "lingual"), (-120.0, None)],
    )  # fmt: skip
    def test_within_45_degrees_of_each_side(self, turn, side):
        found = minima(drawn((4, turn, {"bone_mm": 1.5})))
        for name in ("buccal", "lingual"):
            assert found[name].reading.value == (1.5 if name == side else 4.0)
        if side:
            assert (found[side].depth_mm, found[side].turn_deg) == (2.0, turn)
            assert found[side].reading.witness[0] == pytest.approx([2.0, turn, 0])
            assert found[side].reading.witness[1] == pytest.approx([2.0, turn, 4.0])

    def test_its_doubt_is_that_of_its_edge_and_of_being_the_least(self):
        remaining = drawn((4, 0.0, {"bone_mm": 3.9, "sd_mm": 0.2}))
        reading = minima(remaining)["buccal"].reading
        part = np.broadcast_to(remaining.sector("buccal"), remaining.bone_mm.shape)
        more = doubt_of_least(remaining.bone_mm[part], remaining.sd_mm[part], together=3.0)
        assert reading.edge_sd_mm == pytest.approx((0.2, *more))
        assert more[0] > 0
        assert reading.evidence.is_sound
        assert not reading.upper_bound
        assert not reading.lower_bound

    def test_only_the_depths_that_count(self):
        remaining = drawn((2, 0.0, {"bone_mm": 1.0}), (8, 0.0, {"bone_mm": 2.0}))
        rows = DEPTHS >= 2.0
        assert minima(remaining, rows)["buccal"].reading.value == 2.0
        assert minima(remaining)["buccal"].reading.value == 1.0

    @pytest.mark.parametrize(
        ("state", "code"), [(TO_ROOT, "wall_to_root"), (NO_BONE, "wall_no_bone")]
    )
    def test_what_ends_it_is_said_and_no_edge_is_claimed(self, state, code):
        found = minima(drawn((4, 0.0, {"bone_mm": -1.0, "state": state})))["buccal"]
        assert found.reading.value == -1.0
        assert codes(found) == [code]
        assert found.reading.edge_sd_mm == ()

    def test_bone_to_the_end_of_every_ray_is_at_least_so_much(self):
        whole = drawn()
        reaching = replace(
            whole, bone_mm=np.full_like(whole.bone_mm, 8.0),
            state=np.full_like(whole.state, REACHES), sd_mm=np.full_like(whole.sd_mm, np.nan),
        )  # fmt: skip
        found = minima(reaching)["lingual"]
        assert found.reading.lower_bound
        assert codes(found) == ["at_least_reach"]
        unproven = replace(reaching, evidence=Evidence(rests_on="image", levels=Note("levels_cut")))
        assert not minima(unproven)["lingual"].reading.lower_bound

    def test_nothing_found_and_nothing_scanned_are_told_apart(self):
        whole = drawn()
        lost = replace(whole, bone_mm=np.full_like(whole.bone_mm, np.nan))
        assert codes(minima(lost)["buccal"]) == ["wall_not_found"]
        unscanned = replace(lost, state=np.full_like(whole.state, NOT_SCANNED))
        assert codes(minima(unscanned)["buccal"]) == ["wall_not_scanned"]
        trouble = replace(whole, trouble=Note("levels_no_bone"))
        found = minima(trouble)["lingual"]
        assert codes(found) == ["levels_no_bone"]
        assert (found.side, found.depth_mm, found.turn_deg) == ("lingual", None, None)


class TestHoles:
    def test_a_lone_ray_is_judged_by_those_around_it_and_told(self):
        found = minima(drawn((4, 0.0, MISSING)))["buccal"]
        assert not found.reading.upper_bound
        assert codes(found) == ["wall_between_found"]
        assert dict(found.reading.notes[0].fields) == {"missing": 1, "of": 7 * len(DEPTHS)}
        assert found.reading.evidence.is_sound

    def test_two_each_way_only_where_all_around_have_clearly_more_than_the_least(self):
        two = [(4, 0.0, MISSING), (5, 0.0, MISSING)]
        near = minima(drawn(*two))["buccal"]
        assert near.reading.upper_bound, "the least found may lie at the hole's rim"
        assert codes(near) == ["wall_partly_found"]
        assert dict(near.reading.notes[0].fields) == {"missing": 2, "of": 7 * len(DEPTHS)}
        assert not near.reading.evidence.is_sound
        # 4.0 - 2 x 0.1 against 3.5 + 2 x 0.1, and against 3.61 + 0.2.
        clear = minima(drawn(*two, (9, 30.0, {"bone_mm": 3.59})))["buccal"]
        assert not clear.reading.upper_bound
        close = minima(drawn(*two, (9, 30.0, {"bone_mm": 3.61})))["buccal"]
        assert close.reading.upper_bound

    @pytest.mark.parametrize("way", [(1, 0.0), (0, 15.0)])
    def test_three_in_a_row_are_too_many(self, way):
        three = [(4 + k * way[0], k * way[1], MISSING) for k in range(3)]
        low = (10, -30.0, {"bone_mm": 1.0})
        assert minima(drawn(*three, low))["buccal"].reading.upper_bound
        assert not minima(drawn(*three[:2], low))["buccal"].reading.upper_bound

    def test_nothing_speaks_for_a_ray_at_the_platform_and_past_the_apex_nothing_need(self):
        assert minima(drawn((0, 0.0, MISSING)))["buccal"].reading.upper_bound
        assert not minima(drawn((len(DEPTHS) - 1, 0.0, MISSING)))["buccal"].reading.upper_bound
        assert not minima(drawn((1, 0.0, MISSING)))["buccal"].reading.upper_bound

    def test_where_nothing_was_scanned_nothing_speaks_for_it(self):
        unscanned = MISSING | {"state": NOT_SCANNED}
        assert minima(drawn((4, 0.0, unscanned)))["buccal"].reading.upper_bound

    def test_all_the_way_round(self):
        remaining = drawn((4, -180.0, MISSING))
        judged = _judged_by_neighbours(remaining, (6, 0))
        assert judged.sum() == 1
        assert judged[4, 0]


class TestOpenings:
    def opened(self, *below, limit=2.0):
        remaining = drawn(*[(row, 0.0, {"bone_mm": value}) for row, value in below])
        return openings(remaining, "buccal", lambda _: limit)

    def test_none_where_all_is_enough(self):
        assert self.opened((4, 2.0)) == ()

    def test_open_at_the_crest_closed_around_and_open_at_the_apex(self):
        last = len(DEPTHS) - 1
        found = self.opened((0, 1.0), (1, 1.5), (4, 1.9), (5, 0.5), (last, 1.0))
        assert [o.kind for o in found] == [
            "possible dehiscence", "possible fenestration", "open at the apex",
        ]  # fmt: skip
        assert [(o.from_mm, o.to_mm) for o in found] == [(0.0, 0.5), (2.0, 2.5), (6.0, 6.0)]
        assert [o.lacking_mm for o in found] == pytest.approx([1.0, 1.5, 1.0])
        assert np.array(found[1].by_depth) == pytest.approx(np.array([(2.0, 0.1), (2.5, 1.5)]))
        assert {o.side for o in found} == {"buccal"}

    def test_the_limit_is_that_of_each_depth(self):
        found = openings(drawn(), "lingual", lambda depth: 5.0 if depth < 1.2 else 3.0)
        assert [(o.from_mm, o.to_mm) for o in found] == [(0.0, 1.0)]

    def test_depths_without_any_ray_are_not_below(self):
        remaining = drawn()
        remaining.bone_mm[3] = np.nan
        assert openings(remaining, "buccal", lambda _: 3.0) == ()
        assert [o.to_mm for o in openings(remaining, "buccal", lambda _: 5.0)] == [1.0, 6.0]


class TestSizes:
    """The map of a fixture on rays that are known: 16 directions, 3 depths, places every 0.1 mm."""

    SIZE = FixtureSize(diameter_mm=4.0, length_mm=1.0)
    COUNT = 120

    def rays(self, **changes):
        turns = np.arange(-180.0, 180.0, 22.5)
        depths = np.array([0.0, 0.5, 1.0, 1.5])
        n = len(turns) * len(depths)
        angle = np.radians(np.tile(turns, len(depths)))
        outward = np.stack([np.cos(angle), np.sin(angle), np.zeros(n)], axis=1)
        fields = {
            "edge_mm": np.full(n, 6.0),
            "sd_mm": np.full(n, 0.1),
            "state": np.full(n, EDGE),
            "bone": np.ones((n, self.COUNT), dtype=bool),
            "gap": np.zeros((n, self.COUNT), dtype=bool),
            "marked": np.zeros((n, self.COUNT), dtype=np.uint8),
            "skims": np.zeros((n, self.COUNT), dtype=bool),
        }
        for name, (where, value) in changes.items():
            fields[name][where] = value
        return RemainingBoneRays(
            depths_mm=depths, turns_deg=turns, outward=outward,
            axis_mm=np.repeat(np.column_stack([0 * depths, 0 * depths, -depths]), 16, axis=0),
            **fields,
        )  # fmt: skip

    def found(self, **changes):
        return remaining_bone_on(self.rays(**changes), self.SIZE, true_levels(0.3))

    def test_from_the_fixtures_surface_as_deep_as_it_reaches(self):
        remaining = self.found()
        assert remaining.depths_mm.tolist() == [0.0, 0.5, 1.0]
        assert remaining.bone_mm == pytest.approx(np.full((3, 16), 4.0))
        at = (1, 4)
        way = np.array([np.cos(np.radians(-90)), np.sin(np.radians(-90)), 0])
        assert remaining.surface_mm[at] == pytest.approx(2.0 * way - (0, 0, 0.5))
        assert remaining.edge_mm[at] == pytest.approx(6.0 * way - (0, 0, 0.5))
        assert remaining.evidence.is_sound

    def test_what_is_marked_is_taken_off_or_ends_the_ray(self):
        ray = 16 + 3
        canal = self.found(marked=(np.s_[ray, 30:40], OTHER))
        assert canal.bone_mm[1, 3] == pytest.approx(3.0)
        assert canal.other_mm[1, 3] == pytest.approx(1.0)
        inside = self.found(marked=(np.s_[ray, 10:25], OTHER))
        assert inside.bone_mm[1, 3] == pytest.approx(3.5), "what lies within the fixture is none"
        socket = self.found(marked=(np.s_[ray, 30:40], GAP))
        assert socket.gap_mm[1, 3] == pytest.approx(1.0)
        assert socket.bone_mm[1, 3] == pytest.approx(3.0)
        hollow = self.found(gap=(np.s_[ray, 55:80], True))
        assert hollow.bone_mm[1, 3] == pytest.approx(3.5), "beyond the edge it is not bone's"
        root = self.found(marked=(np.s_[ray, 35:50], ROOT))
        assert root.state[1, 3] == TO_ROOT
        assert root.bone_mm[1, 3] == pytest.approx(1.5)
        behind = self.found(marked=(np.s_[ray, 62:80], ROOT))
        assert behind.state[1, 3] == EDGE
        assert behind.bone_mm[1, 3] == pytest.approx(4.0)

    @pytest.mark.parametrize(
        ("state", "edge", "bone", "shown"),
        [
            (EDGE, 10.0, 8.0, EDGE),
            (EDGE, 10.1, 8.0, REACHES),
            (EDGE, 1.5, -0.5, EDGE),
            (REACHES, np.inf, 8.0, REACHES),
            (NO_BONE, np.nan, -2.0, NO_BONE),
            (NOT_FOUND, np.nan, np.nan, NOT_FOUND),
            (NOT_SCANNED, np.nan, np.nan, NOT_SCANNED),
        ],
    )
    def test_states(self, state, edge, bone, shown):
        remaining = self.found(state=(5, state), edge_mm=(5, edge))
        assert remaining.bone_mm[0, 5] == pytest.approx(bone, nan_ok=True)
        assert remaining.state[0, 5] == shown

    def test_a_root_ends_a_ray_without_an_edge_but_not_one_that_was_not_scanned(self):
        remaining = self.found(
            state=(5, NOT_FOUND), edge_mm=(5, np.nan), marked=(np.s_[5, 50:70], ROOT)
        )
        assert remaining.bone_mm[0, 5] == pytest.approx(3.0)
        remaining = self.found(
            state=(5, NOT_SCANNED), edge_mm=(5, np.nan), marked=(np.s_[5, 50:70], ROOT)
        )
        assert np.isnan(remaining.bone_mm[0, 5])

    @pytest.mark.parametrize(
        ("at", "edge", "unsure"),
        [(20, 6.0, True), (25, 6.0, True), (26, 6.0, False), (19, 6.0, False), (20, 2.5, False)],
    )
    def test_a_ray_that_skims_the_crest_at_the_surface_claims_no_bone(self, at, edge, unsure):
        """Within 0.6 mm of the surface, which lies 2 mm from the axis; less bone is no claim."""
        remaining = self.found(skims=(np.s_[5, at], True), edge_mm=(5, edge))
        assert bool(remaining.state[0, 5] == NOT_FOUND) is unsure

    def test_without_proven_levels_there_is_no_bone_to_tell(self):
        levels = replace(true_levels(0.3), unproven=Note("levels_cut"))
        remaining = remaining_bone_on(self.rays(), self.SIZE, levels)
        assert remaining.trouble.code == "levels_cut"
        assert np.isnan(remaining.bone_mm).all()
        assert (remaining.state == NOT_FOUND).all()
        assert remaining.surface_mm[0, 0] == pytest.approx([-2, 0, 0])
