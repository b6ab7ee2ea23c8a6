"""The random jaws themselves: one seed one case, and picture and truth are of the same shape."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from core.arch import fixture_frame
from core.plans.side import arch_of
from tests.reference import real_jaws
from tests.reference.random_jaws import case, choices, real
from tests.reference.random_jaws import kernels as k
from tests.reference.random_jaws.image import scan_of
from tests.reference.random_jaws.plan import plan_of
from tests.reference.random_jaws.scoring import (
    _crest_off,
    interval,
    is_false,
    kind_of,
    scored,
    tally,
)
from tests.reference.random_jaws.shape import shape_of
from tests.reference.random_jaws.truth import truths


@pytest.fixture(scope="module")
def thick():
    """A noiseless case with two thick plates, nothing filtered."""
    c = replace(
        choices(3), jaw="lower", tooth="46", ridge="broad", width=10.0, buccal_plate=2.2,
        lingual_plate=2.4, over_crest="soft", marrow="fatty", teeth="none", voxel=0.25,
        blur_fwhm=0.4, noise=0.0, filter="none", scale="usual", fault="none",
    )  # fmt: skip
    shape = shape_of(c)
    return c, shape, scan_of(shape, c)


def test_a_seed_is_a_case():
    one, two = case(11), case(11)
    assert (one.volume.voxels == two.volume.voxels).all()
    assert one.truth == two.truth
    assert len(one.truth) > 20


def test_points_of_the_surface_lie_on_it_and_a_step_along_the_normal_leaves_it(thick):
    _, shape, _ = thick
    points = shape.jaw(shape.surface(6.0))[::97]
    normals = k.normals(*shape.tables, points)
    assert np.abs(k.signs(*shape.tables, points, 0)).max() < 1e-6
    assert (k.signs(*shape.tables, points + 0.02 * normals, 0) > 0).all()
    assert (k.signs(*shape.tables, points - 0.02 * normals, 0) < 0).all()


def test_the_picture_passes_half_way_at_the_true_edge(thick):
    """Plates thicker than three times the blur: the half-way level then lies on the surface."""
    _, shape, volume = thick
    points = shape.jaw(shape.surface(5.0))
    depth = shape.row(k.TOP, 0.0) - points[:, 2]
    points = points[(depth > 5.0) & (depth < 10.0)][::101]
    normals = k.normals(*shape.tables, points)
    t = np.arange(-1.0, 1.01, 0.02)
    rays = shape.patient((points[:, None] + t[:, None] * normals[:, None]).reshape(-1, 3))
    grey = volume.grey_at(rays).reshape(len(points), len(t)).astype(float)
    soft, high = grey[:, -1], grey[:, 5]
    below = grey < 0.5 * (soft + high)[:, None]
    edge = t[np.argmax(below, axis=1)]
    assert len(points) > 40
    assert abs(np.mean(edge)) < 0.02
    assert np.abs(edge).max() < 0.1


DRAW = (1, 3, 5, 6, 12, 17)
"""Open seeds of different jaws, plates, marrow, filters and scales; those of known faults among
them: 17 has thin plates in the upper jaw with gum over the crest."""


@pytest.fixture(scope="module")
def measured():
    """Rows of a small draw, measured once."""
    return {seed: scored(case(seed))[0] for seed in DRAW}


def test_no_limit_of_a_small_draw_is_falsely_met(measured):
    """The rule above all: a limit is met only by something found."""
    rows = [row for of_case in measured.values() for row in of_case]
    assert [row for row in rows if is_false(row)] == []
    assert sum(row["verdict"] == "meets limit" for row in rows) >= 5


@pytest.mark.parametrize("kind", ["bone surface", "ridge width"])
def test_truths_of_a_small_draw_lie_inside_the_doubt(measured, kind):
    """A bound for few values: the share of 95 % is the study's to show."""
    t = tally(r for rows in measured.values() for r in rows if kind_of(r["id"]) == kind)
    assert t.valued >= 6
    assert interval(t.within, t.valued)[1] >= 0.93


def test_a_heights_crest_is_told_apart_from_the_marks_it_ends_at(measured):
    rows = [row for of_case in measured.values() for row in of_case]
    off = [row["crest_off"] for row in rows if row["crest_off"] is not None]
    assert len(off) >= 6
    assert {kind_of(row["id"]) for row in rows if row["crest_off"] is not None} == {"ridge height"}
    # Marks alone scatter by 0.25 mm, and the whole error holds both.
    whole = [r["value"] - r["truth"] for r in rows if r["crest_off"] is not None]
    assert np.mean(np.abs(off)) < 0.6 * np.mean(np.abs(whole))
    assert np.abs(off).max() < 0.5


def test_a_height_to_marks_where_they_belong_is_off_by_its_crest_and_the_surface_alone(measured):
    """What a hand adds to a height, 0.25 mm a mark, is drawn and no error of the program."""
    rows = [row for of_case in measured.values() for row in of_case]
    rows = [row for row in rows if row["marked_exactly"] is not None]
    assert len(rows) >= 6
    exact = [row["marked_exactly"] - row["truth"] for row in rows]
    assert np.mean(np.abs(exact)) < 0.7 * np.mean([abs(r["value"] - r["truth"]) for r in rows])
    canals = [r for r in rows if "/canal/" in r["id"]]
    assert canals
    for row in canals:
        # To a canal there is no surface between marks: the crest is all that is left.
        assert row["marked_exactly"] - row["truth"] == pytest.approx(row["crest_off"], abs=0.03)


def test_a_crest_on_the_level_of_the_true_one_is_not_off_on_an_axis_tilted_along_the_arch():
    """The height along the axis begins over the structure, anywhere on the crest's level."""
    c = choices(5)
    shape = shape_of(c)
    plan = plan_of(shape, c)
    fixture, edges = plan.fixtures[0], truths(shape, c, plan).edges
    frame = fixture_frame(fixture, arch_of(plan))
    assert abs(float(fixture.a @ frame.station.travel)) > 0.08
    row = "fixture/ridge_height/floor/axis"
    (crest, _), *_ = edges[row]
    beside = SimpleNamespace(value=9.0, witness=(crest + 4.0 * frame.m, crest))
    assert _crest_off(row, beside, edges[row]) == pytest.approx(0.0, abs=1e-3)


def test_a_width_across_a_hollow_is_two_intervals_and_no_refusal_is_held_against_it():
    c = choices(12)
    shape = shape_of(c)
    truth = truths(shape, c, plan_of(shape, c))
    assert 7.0 < truth.mm["site/ridge_height/floor/up"] < 10.0
    assert len(truth.edges["site/ridge_width/up/7"]) == 2
    assert truth.edges["site/ridge_width/up/10"] == []
    assert truth.mm["site/ridge_width/up/10"] > 8.0


@pytest.fixture(scope="module")
def uneven():
    """Rows at crests of a real jaw's surface: bumps and slopes that no generator drew."""
    real_jaws.require()
    return {seed: scored(real.case(seed))[0] for seed in UNEVEN}


UNEVEN = (0, 4, 14)


def test_one_mm_below_a_real_uneven_crest_widths_lie_inside_the_doubt(uneven):
    """Once −0.40 ± 0.33 and +1.29 ± 0.46 off, with a plate of 3.51 where there was none.

    The truth is the real surface's own height of zero; see `tests.reference.real_jaws`.
    """
    near = [r for rows in uneven.values() for r in rows if r["id"].endswith("/1")]
    widths = [r for r in near if "/ridge_width/" in r["id"] and r["value"] is not None]
    assert len(widths) >= 6
    for row in widths:
        assert abs(row["value"] - row["truth"]) <= row["U"], row
        assert abs(row["value"] - row["truth"]) < 0.3, row


def test_no_limit_is_falsely_met_beside_a_real_uneven_crest(uneven):
    rows = [row for of_case in uneven.values() for row in of_case]
    assert [row for row in rows if is_false(row)] == []
    assert any(row["verdict"] == "meets limit" for row in rows)


def test_a_false_verdict_and_a_miss_would_be_counted():
    good = {"id": "fixture/wall/buccal", "truth": 2.5, "value": 2.45, "U": 0.1, "limit": 2.0,
            "verdict": "meets limit", "bound": "", "readable": True}  # fmt: skip
    bad = {**good, "truth": 1.8}
    t = tally([good, bad])
    assert (t.valued, t.within, len(t.false_meets)) == (2, 1, 1)
    assert is_false(bad)
    assert not is_false(good)
    assert interval(0, 20)[1] == pytest.approx(0.1684, abs=1e-4)  # 1 − 0.025^(1/20)


@pytest.mark.parametrize(
    ("seed", "start", "most_mm"),
    [
        # Marrow near soft tissue's level in an upper jaw: 0.43 was shown where 2.48 is true.
        (4, "fixture/wall/", 0.15),
        # Thin plates between air and fatty marrow: 0.58 and 5.6 wide where 9.6 and 10.5 are true.
        (259, "fixture/ridge_width/axis", 0.4),
        (259, "site/ridge_width", 0.4),
    ],
)
def test_marrow_as_dark_as_soft_tissue_makes_no_gross_error(seed, start, most_mm):
    rows, _ = scored(case(seed))
    read = [r for r in rows if r["id"].startswith(start) and r["value"] is not None]
    assert len(read) >= 3
    for row in read:
        if row["bound"] == "upper":
            assert row["truth"] <= row["value"] + row["U"], row
        else:
            assert row["value"] == pytest.approx(row["truth"], abs=most_mm), row


def test_the_faint_top_of_a_ridge_under_air_is_its_crest_and_not_one_plate_below():
    """Fatty marrow and thin plates whose base the scan cuts off: once 3.14 mm too low, ± 0.9."""
    rows, _ = scored(case(106004))
    (row,) = [r for r in rows if r["id"] == "site/ridge_height/canal/up"]
    assert row["value"] is None or abs(row["crest_off"]) < 0.3


def test_a_truth_that_jumps_with_the_fixture_is_judged_for_false_limits_alone():
    jumping = case(17)
    row = "fixture/clearance/bone surface/buccal"
    assert jumping.unsteady == {row}
    met = {
        "id": row, "value": 2.0, "U": 0.1, "bound": "", "readable": True, "truth": 0.2,
        "verdict": "meets limit", "limit": 1.0, "steady": False,
    }  # fmt: skip
    told = tally([met])
    assert (told.valued, told.readable, len(told.false_meets)) == (0, 0, 1)


@pytest.mark.parametrize(
    ("above", "soft"), [(-0.2, 1.0), (-0.1, 1.0), (-0.05, 0.75), (0.0, 0.5), (0.1, 0.0), (0.2, 0.0)]
)
def test_a_cell_that_flat_air_fills_in_part_shows_both(above, soft):
    """Else steps look sharper than plates, and teach a blur that is too narrow."""
    v = np.zeros(18)
    v[k.AIR_DOWN_TO] = 3.0
    grey = np.zeros(10)
    grey[[k.AIR, k.SOFT]] = -1000.0, 40.0
    shown = k._background(v, grey, 3.0 + above, 0.2)
    assert shown == pytest.approx(-1000.0 + 1040.0 * soft)
