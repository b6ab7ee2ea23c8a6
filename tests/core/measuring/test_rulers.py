"""Rulers and angles: by hand, by finite differences, in the ledger, in the plan file."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.arch import Arch
from core.errors import PlanError
from core.geometry import PictureGrid
from core.image.volume import Volume
from core.level import Level
from core.measuring.row_names import row_words
from core.measuring.rows_rulers import NOWHERE, ruler_rows
from core.measuring.rulers import angle_reading, ruler_ink, ruler_reading
from core.plans.plan import Plan, Site
from core.plans.plan_dump import document_of, plan_fingerprint
from core.plans.plan_parse import parse
from core.plans.side import traced
from core.structures import AngleMark, Ruler

place = st.tuples(*[st.floats(-20, 20)] * 3).map(np.array)
RULER = Ruler(id="ruler-1", points=[(0, 0, 0), (3, 4, 12)])
RIGHT = AngleMark(id="angle-1", points=[(10, 0, 0), (0, 0, 0), (0, 5, 0)])
VOLUME = Volume(
    voxels=np.zeros((60, 60, 60), np.int16),
    mm_from_ijk=np.diag([0.25, 0.25, 0.25, 1.0]),
    made_up=np.zeros(60, bool),
)
LEVEL = Level(origin=(0, 0, 0), up=(0, 0, 1))
ARCH = Arch.trace([(-25, 25, 0), (-18, 5, 0), (0, -5, 0), (18, 5, 0), (25, 25, 0)], level=LEVEL)


def test_values_by_hand():
    assert ruler_reading(RULER).value == pytest.approx(13.0)  # 3, 4, 12 and 13
    assert angle_reading(RIGHT).value == pytest.approx(90.0)
    straight = AngleMark(id="a", points=[(1, 0, 0), (0, 0, 0), (-2, 0, 0)])
    assert angle_reading(straight).value == pytest.approx(180.0)


def by_differences(read, points, step=1e-5):
    out = np.zeros_like(points)
    for i in range(points.shape[0]):
        for k in range(3):
            up, down = points.copy(), points.copy()
            up[i, k] += step
            down[i, k] -= step
            out[i, k] = (read(up) - read(down)) / (2 * step)
    return out


@given(place, place)
def test_a_rulers_gradients_are_its_derivatives(first, second):
    if np.linalg.norm(first - second) < 0.5:
        return
    points = np.stack([first, second])
    reading = ruler_reading(Ruler(id="r", points=points))
    found = by_differences(lambda p: np.linalg.norm(p[1] - p[0]), points)
    assert np.allclose([m.gradient for m in reading.marks], found, atol=1e-5)


@given(place, place, place)
def test_an_angles_gradients_are_its_derivatives(first, corner, second):
    one, two = first - corner, second - corner
    if min(np.linalg.norm(one), np.linalg.norm(two)) < 1:
        return
    points = np.stack([first, corner, second])

    def read(p):
        return angle_reading(AngleMark(id="a", points=p)).value

    if not 5 < read(points) < 175:
        return
    found = by_differences(read, points)
    marks = angle_reading(AngleMark(id="a", points=points)).marks
    assert np.allclose([m.gradient for m in marks], found, rtol=1e-3, atol=1e-3)
    # Shifting all three together changes nothing.
    assert np.allclose(sum(m.gradient for m in marks), 0, atol=1e-9)


def test_a_ruler_without_length_is_not_measured_and_says_why():
    reading = ruler_reading(Ruler(id="r", points=[(1, 1, 1), (1, 1, 1)]))
    assert reading.value is None
    assert "no distance" in reading.notes[0].message


def test_rows_are_information_with_the_doubt_of_both_hands():
    plan = Plan(
        rulers=(RULER,), angles=(RIGHT,),
        sites=(Site(id="36", tooth="36", station_mm=60.0), Site(id="11", station_mm=30.0)),
    )  # fmt: skip
    ruler, angle = ruler_rows(plan, VOLUME, ARCH)
    assert (ruler.kind, ruler.group, ruler.verdict, ruler.limit) == (
        "ruler", "information", None, None,
    )  # fmt: skip
    # Two marks of 0.25 mm each, two voxels of 0.25 (3 + 4 + 12) / 13 wide, 0.7 % of 13 mm.
    extent = 0.25 * 19 / 13
    expected = np.sqrt(2 * 0.25**2 + 2 * extent**2 / 12 + (0.007 * 13) ** 2)
    assert ruler.budget.u == pytest.approx(expected)
    # Arms of 10 and 5 mm at a right angle: 1/10 and 1/5 radians a mm; the corner both together.
    per_mm = np.degrees([0.1, 0.2, np.hypot(0.1, 0.2)])
    voxels = 0.25 * np.degrees([0.1, 0.2, 0.3])  # the corner's way lies across both axes
    expected = np.sqrt((0.25 * per_mm) @ (0.25 * per_mm) + voxels @ voxels / 12)
    assert angle.budget.u == pytest.approx(expected)
    assert ruler.at_least is None  # of a ruler, more is not safer
    assert row_words(ruler, jaw="lower") != row_words(angle, jaw="lower")
    assert row_words(ruler, jaw="lower").startswith("Ruler")


def test_a_row_stands_with_the_nearest_site_and_somewhere_without_any():
    here = ARCH.station(RULER.points.mean(axis=0))
    near, far = Site(id="a", station_mm=here + 1), Site(id="b", station_mm=here - 9)
    (row,) = ruler_rows(Plan(rulers=(RULER,), sites=(far, near)), VOLUME, ARCH)
    assert (row.site, row.fixture) == ("a", "")
    (row,) = ruler_rows(Plan(rulers=(RULER,)), VOLUME, ARCH)
    assert row.site == NOWHERE


def test_pictures_show_a_ruler_only_where_both_marks_lie_near():
    grid = PictureGrid.of_size(
        origin=(0, 0, 0), right=(1, 0, 0), up=(0, 1, 0), size_mm=(20, 20), pixel_mm=0.5
    )
    flat = Ruler(id="r", points=[(0, 0, 0.2), (3, 4, -0.2)])
    ink = ruler_ink(Plan(rulers=(flat,), angles=(RIGHT,)), grid)
    assert len(ink.lines) == 2
    assert [label.text for label in ink.labels] == ["5.0 mm", "90.0°"]
    assert ruler_ink(Plan(rulers=(RULER,)), grid).lines == ()
    withheld = ruler_ink(Plan(rulers=(flat,), angles=(RIGHT,)), grid, withheld={"r", "angle-1"})
    assert [label.text for label in withheld.labels] == ["–", "–"]


FILE = {
    "format": "sounding-plan",
    "version": 2,
    "rulers": [{"id": "ruler-1", "points": [[0, 0, 0], [3, 4, 0]], "of my own": 1}],
    "angles": [{"id": "angle-1", "points": [[1, 0, 0], [0, 0, 0], [0, 1, 0]], "label": "lean"}],
    "locked": ["ruler-1"],
}


def test_the_plan_file_keeps_rulers_angles_and_locks():
    plan = parse(json.loads(json.dumps(FILE)))
    assert plan.rulers[0].points == pytest.approx(np.array([(0, 0, 0), (3, 4, 0)]))
    assert plan.angles[0].label == "lean"
    assert plan.locked == ("ruler-1",)
    again = document_of(plan)
    assert {k: again[k] for k in FILE} == FILE


@pytest.mark.parametrize(
    ("key", "value", "where"),
    [
        ("rulers", [{"id": "r", "points": [[0, 0, 0]]}], "rulers[0].points"),
        ("rulers", [{"id": "r", "points": [[0, 0, 0]] * 3}], "rulers[0].points"),
        ("angles", [{"id": "a", "points": [[0, 0, 0], [0, 0, 0], [1, 0, 0]]}], "angles[0].points"),
        ("locked", ["Not An Id"], "locked[0]"),
    ],
)
def test_broken_rulers_are_refused_with_their_place(key, value, where):
    with pytest.raises(PlanError) as refused:
        parse(FILE | {key: value})
    assert where in str(refused.value)


def test_a_name_may_not_stand_twice():
    with pytest.raises(PlanError) as refused:
        parse(FILE | {"angles": [{**FILE["angles"][0], "id": "ruler-1"}]})
    assert refused.value.code == "plan-same-id"


def test_a_lock_changes_no_measurement_and_no_fingerprint_but_a_ruler_does():
    plan = parse(FILE)
    assert plan_fingerprint(replace(plan, locked=())) == plan_fingerprint(plan)
    assert plan_fingerprint(replace(plan, rulers=())) != plan_fingerprint(plan)


def test_a_ledger_holds_rulers_and_pictures_show_the_same_figure():
    from core.image.section import across_arch_grid
    from core.measuring.assemble import measure
    from core.pictures.overlay import section_overlay
    from sample_volumes.phantom import small_jaw

    voxels, affine, truth = small_jaw()
    volume = Volume(voxels=voxels, mm_from_ijk=affine, made_up=np.zeros(len(voxels), bool))
    truth["plan"].pop("scan")
    plan = parse(truth["plan"])
    arch = traced(plan)
    station = arch.station(plan.fixtures[0].platform)
    frame = arch.frame(station)
    ends = [frame.origin - 6 * frame.up - d * frame.buccal for d in (-4.0, 5.3)]
    plan = replace(plan, rulers=(Ruler(id="ruler-1", points=ends),))
    ledger = measure(plan, volume, fine=False)
    row = ledger.get(f"{plan.fixtures[0].id}/ruler/ruler-1")
    assert row.value == pytest.approx(9.3)
    written = next(r for r in json.loads(ledger.to_json())["measurements"] if r["id"] == row.id)
    assert written["value_mm"] == pytest.approx(9.3, abs=1e-4)
    assert written["verdict"] is None
    assert {term["term"] for term in written["budget"]} == {"placement", "voxel", "scale"}
    grid = across_arch_grid(arch, station, size_mm=(40, 40), pixel_mm=0.5)
    overlay = section_overlay(plan, grid, ledger.of(plan.fixtures[0].id))
    assert "9.3 mm" in [label.text for label in overlay.labels]
