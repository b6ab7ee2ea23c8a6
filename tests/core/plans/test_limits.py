"""Limits: shipped rows, zones, lower lines, and what a plan may change."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest

from core.identity import Tooth
from core.plans.limits import (
    COMMON,
    KEYS,
    LOOP_UNSEEN,
    ROWS,
    limit_for,
    row_for,
    surface_key,
    zone_key,
    zones_of,
)
from core.plans.plan import ChangedLimit, Plan


@pytest.mark.parametrize(
    ("key", "value", "lower", "author"),
    [
        # Fokas et al. 2018: "a 2mm safety margin to adjacent anatomic structures".
        ("canal", 2.0, 1.0, "Fokas"),
        ("loop", 2.0, 1.0, "Fokas"),
        ("vessel", 2.0, 1.0, "Fokas"),
        ("foramen", 2.0, 1.0, "Fokas"),
        # Its guidance page: "a minimum distance of 1.5 mm between the implant margin and ...".
        ("root", 1.5, 1.0, "Association of Dental Implantology"),
        ("root-deep", 1.0, 1.0, "common practice"),
        ("floor", 1.0, 0.0, "common practice"),
        ("border", 1.0, 0.0, "common practice"),
        # Nguyen et al. 2021: "safer to place implant 5mm anterior to the mental foramen".
        ("loop-unseen", 5.0, 4.0, "Nguyen"),
        # Tarnow, Cho, Wallace 2000: "3 mm or less between them had a crestal bone loss of 1.04".
        ("fixture", 3.0, 2.0, "Tarnow"),
        ("fixture-deep", 2.0, 2.0, "common practice"),
        # Alodadi et al. 2016: "minimum of 2 mm ... facial", "a minimum of 1 mm lingual".
        ("wall-buccal", 2.0, 1.0, "Alodadi"),
        ("wall-buccal-deep", 1.0, 1.0, "common practice"),
        ("wall-lingual", 1.0, 0.5, "Alodadi"),
        ("surface-lingual", 1.0, 0.5, "common practice"),
        ("surface-apical", 2.0, 1.0, "common practice"),
        ("tip", 2.0, 1.0, "common practice"),
    ],
)
def test_shipped_values_with_their_sources(key, value, lower, author):
    limit = limit_for(key)
    assert (limit.value, limit.default, limit.lower_line) == (value, value, lower)
    assert author in str(limit.source)
    assert not limit.changed


def test_the_table_above_is_complete():
    assert set(KEYS) | {"loop-unseen"} == {row.key for row in (*ROWS, LOOP_UNSEEN)}
    assert len(KEYS) == 16


@pytest.mark.parametrize("row", [*ROWS, LOOP_UNSEEN], ids=lambda r: r.key)
def test_every_row_says_what_it_rests_on(row):
    assert row.between
    assert row.zone
    assert row.lower_line <= row.value
    assert (row.basis == "common practice") == (row.source == COMMON)
    assert "memory" not in str(row.source)
    if row.basis == "seen":
        assert re.search(r"\b(19|20)\d\d\b", str(row.source))


@pytest.mark.parametrize(("position", "value"), [(1, 2.0), (5, 2.0), (6, 1.5), (8, 1.5)])
@pytest.mark.parametrize("quadrant", [1, 2, 3, 4])
def test_buccal_bone_depends_on_the_tooth(quadrant, position, value):
    limit = limit_for("wall-buccal", tooth=Tooth(quadrant, position))
    assert (limit.value, limit.default, limit.lower_line) == (value, value, 1.0)


def test_an_unknown_tooth_gets_the_larger_buccal_limit():
    assert limit_for("wall-buccal").value == 2.0
    assert row_for("wall-buccal").value == 2.0


def test_a_changed_limit_keeps_the_default_and_the_lower_line():
    changed = ChangedLimit(value=2.5, by="LM", at="2026-03-02", reason="faint canal")
    limit = limit_for("canal", Plan(limits={"canal": changed}))
    assert (limit.value, limit.default, limit.lower_line) == (2.5, 2.0, 1.0)
    assert (limit.changed_by, limit.changed_at, limit.reason) == ("LM", "2026-03-02", "faint canal")
    assert limit.changed
    assert not limit_for("root", Plan(limits={"canal": changed})).changed


def test_a_limit_changed_to_its_own_default_by_somebody_is_still_changed():
    same = ChangedLimit(value=2.0, by="LM", at="2026-03-02")
    assert limit_for("canal", Plan(limits={"canal": same})).changed


def test_no_plan_can_change_the_limit_that_stands_in_for_an_unknown_loop():
    plan = Plan(limits={"loop-unseen": ChangedLimit(value=1.0, at="2026-03-02")})
    assert limit_for("loop-unseen", plan).value == 5.0


def test_an_unknown_key_is_a_fault():
    with pytest.raises(KeyError):
        limit_for("cannal")


@pytest.mark.parametrize(
    ("key", "depth", "found"),
    [
        ("root", 0.0, "root"),
        ("root", 2.0, "root"),
        ("root", 2.01, "root-deep"),
        ("fixture", -0.5, "fixture"),
        ("fixture", 2.5, "fixture-deep"),
        ("wall-buccal", 4.0, "wall-buccal"),
        ("wall-buccal", 4.01, "wall-buccal-deep"),
    ],
)
def test_zone_of_a_depth(key, depth, found):
    assert zone_key(key, depth) == found


@pytest.mark.parametrize("key", ["root", "fixture", "wall-buccal"])
@pytest.mark.parametrize("length", [1.5, 2.0, 4.0, 6.0, 12.0])
def test_zones_cover_the_fixture_without_a_gap(key, length):
    zones = zones_of(key, length)
    assert zones[0].from_mm == 0.0
    assert zones[-1].to_mm == length
    for above, below in pairwise(zones):
        assert above.to_mm == below.from_mm
    assert [z.key for z in zones] == [zone_key(key, (z.from_mm + z.to_mm) / 2) for z in zones]


@pytest.mark.parametrize(
    ("side", "depth", "found"),
    [
        ("lingual", 5.9, "surface-lingual"),
        ("lingual", 6.0, "surface-apical"),
        ("lingual", 9.0, "surface-apical"),
        ("apical", 9.0, "surface-apical"),
        ("buccal", 3.0, "wall-buccal"),
        ("buccal", 5.0, "wall-buccal-deep"),
    ],
)
def test_limit_of_the_bone_surface(side, depth, found):
    assert surface_key(side, depth_mm=depth, length_mm=9.0) == found


def test_margin_arithmetic_of_ridge_and_gap():
    # Ridge arithmetic: 4.1 mm fixture, 2 + 1 mm bone -> 7.1 mm; between two teeth
    # 4.1 + 2 x 1.5 -> 7.1 mm; two fixtures 2 x 4.1 + 2 x 1.5 + 3 -> 14.2 mm.
    assert 4.1 + limit_for("wall-buccal").value + limit_for("wall-lingual").value == (
        pytest.approx(7.1)
    )
    assert 4.1 + 2 * limit_for("root").value == pytest.approx(7.1)
    assert 2 * 4.1 + 2 * limit_for("root").value + limit_for("fixture").value == (
        pytest.approx(14.2)
    )
