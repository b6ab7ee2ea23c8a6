"""Sizes at one pose: the ledger's own numbers, the list's own order, what is lacking."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

import sample_volumes
from core import load_plan, measure, open_scan
from core.bone.image_faults import ImageFault, ImageFaults
from core.fixture import FixtureSize
from core.measurement import Note
from core.measuring.basis import Basis
from core.measuring.row_cache import KeptRows
from core.measuring.sizes_table import lacking, try_sizes
from core.plans.edit_pose import fixture_deepened
from core.plans.sizes import ListedSize, default_sizes


@lru_cache
def scene(name):
    volume = open_scan(sample_volumes.path("lower_left_36"))
    plan = load_plan(sample_volumes.path(f"{name}.plan.json"))
    # The wrong plan's tooth is of the other side, which outranks what is looked at here.
    fixtures = tuple(replace(f, tooth="36") for f in plan.fixtures)
    plan = replace(plan, fixtures=fixtures)
    return plan, volume, Basis.of(plan, volume)


@lru_cache
def table(name):
    plan, _, basis = scene(name)
    own = ListedSize(label="own", size=plan.fixtures[0].size)
    return try_sizes(plan, plan.fixtures[0].id, (*default_sizes(), own), basis)


@pytest.mark.parametrize("name", ["lower_left_36", "lower_left_36_wrong"])
def test_the_row_of_the_present_size_is_the_ledger(name):
    plan, volume, basis = scene(name)
    ledger = measure(plan, volume, basis=basis)
    row = table(name)[-1]
    assert row.listed.label == "own"
    assert len(row.rows) >= 5
    for m in row.rows:
        of_ledger = ledger.get(m.id)
        assert m.verdict == of_ledger.verdict, m.id
        if of_ledger.value is None:
            assert m.value is None
        else:
            assert m.value == pytest.approx(of_ledger.value, abs=0.002), m.id
    # What the table left out because no size comes near it, the ledger finds met.
    named = {m.id for m in row.rows}
    rest = [m for m in ledger.of(plan.fixtures[0].id) if m.limit is not None and m.id not in named]
    assert all(m.verdict == "meets limit" for m in rest)
    judged = [
        m
        for m in ledger.of(plan.fixtures[0].id)
        if m.verdict is not None and m.kind.row.more_is_safer
    ]
    assert (row.met == row.limits) == all(m.verdict == "meets limit" for m in judged)


@pytest.mark.parametrize(("platform_mm", "out"), [(4.2, True), (2.2, False)])
def test_a_platform_at_the_bone_s_edge_bounds_the_ledger_and_the_table_alike(platform_mm, out):
    """At the rim of the platform that is tried: a narrow one lies under the ridge's middle."""
    plan, volume, basis = scene("lower_left_36")
    name = plan.fixtures[0].id
    deep = measure(plan, volume, basis=basis).get(f"{name}/depth/platform/lingual").value
    plan = fixture_deepened(plan, name, -(deep - 0.1))
    assert plan.fixtures[0].size.platform == 4.2
    size = replace(plan.fixtures[0].size, platform_diameter_mm=platform_mm)
    (row,) = try_sizes(plan, name, (ListedSize(size=size),), basis)
    placed = replace(plan, fixtures=(replace(plan.fixtures[0], size=size),))
    ledger = measure(placed, volume, basis=basis)

    def bounded(rows):
        codes = {m.id: [n.code for n in m.reading.notes] for m in rows}
        return {m for m, each in codes.items() if "wall_rim_at_edge" in each}

    told = bounded(row.rows)
    judged = {m.id for m in row.rows}
    assert told == bounded(ledger.of(name)) & judged
    assert (f"{name}/clearance/bone surface/lingual" in told) is out


def test_order_is_the_lists_and_a_longer_or_wider_size_never_meets_more():
    rows = table("lower_left_36_wrong")
    assert [r.listed.size for r in rows[:-1]] == [s.size for s in default_sizes()]
    by_size = {(r.listed.size.diameter_mm, r.listed.size.length_mm): r for r in rows[:-1]}
    for (d, length), row in by_size.items():
        assert by_size[3.5, length].met >= row.met
        assert by_size[d, 6.0].met >= row.met


def test_what_stops_a_size_and_what_it_lacks():
    rows = {r.listed.size.length_mm: r for r in table("lower_left_36")[:4]}
    assert rows[6.0].stopped_by is None
    assert rows[6.0].note.message == "meets every limit"
    stop = rows[12.0].stopped_by
    assert stop.target == "canal-left"
    assert rows[12.0].lacking_mm == pytest.approx(stop.limit.value - stop.value)
    assert rows[12.0].lacking_mm == pytest.approx(rows[10.0].lacking_mm + 2.0, abs=0.05)
    assert rows[12.0].note.message.startswith("would need 2.1 mm to canal left")


def test_a_wall_that_is_too_thin_is_named_by_its_side():
    wide = next(
        r
        for r in table("lower_left_36_wrong")
        if r.listed.size == FixtureSize(diameter_mm=5.0, length_mm=6.0)
    )
    assert wide.verdict == "below limit"
    assert str(wide.note.fields["what"]) == "remaining bone buccal"
    assert lacking(wide.stopped_by) > 0


def test_nothing_is_recommended():
    for row in table("lower_left_36_wrong"):
        assert not any(word in row.note.message.lower() for word in ("best", "recommend", "choose"))


def test_an_unknown_fixture_is_refused_and_no_sizes_give_no_rows():
    plan, _, basis = scene("lower_left_36")
    with pytest.raises(KeyError):
        try_sizes(plan, "nowhere", default_sizes(), basis)
    assert try_sizes(plan, plan.fixtures[0].id, (), basis) == ()


def test_not_assessed_is_no_limit_met():
    plan, _, basis = scene("lower_left_36")
    away = replace(plan.fixtures[0], platform=plan.fixtures[0].platform + np.array([0, 0, -60.0]))
    moved = replace(plan, fixtures=(away,))
    (row,) = try_sizes(moved, away.id, default_sizes()[:1], basis)
    assert row.verdict in ("not assessed", "below limit")
    assert row.met < row.limits
    assert any(m.verdict == "not assessed" for m in row.rows)


def test_faults_of_the_image_widen_the_tables_doubt_like_the_ledgers():
    plan, volume, basis = scene("lower_left_36")
    fault = ImageFault(note=Note("image_smoothed", {"blur": "0.9"}), stops=False, edge_sd_mm=0.4)
    basis = replace(basis, faults=ImageFaults(everywhere=(fault,)), kept=KeptRows())
    ledger = measure(plan, volume, basis=basis)
    own = ListedSize(label="own", size=plan.fixtures[0].size)
    (row,) = try_sizes(plan, plan.fixtures[0].id, (own,), basis)
    on_image = [m for m in row.rows if m.reading.evidence.rests_on == "image"]
    assert on_image
    for m in on_image:
        assert m.budget.expanded == pytest.approx(ledger.get(m.id).budget.expanded, abs=0.01), m.id
        assert m.budget.expanded > 0.8
