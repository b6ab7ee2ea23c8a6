"""Edits of jaw plane, arch, sites and fixtures, and the words for small moves."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.arch import fixture_frame
from core.errors import PlanError
from core.fixture import Fixture, FixtureSize
from core.geometry import angle_deg
from core.level import Level
from core.plans import edit, edit_pose
from core.plans.direction_words import direction_words, place_words
from core.plans.plan import Plan
from core.plans.side import traced
from core.structures import StentAxis, Tapered

SIZE = FixtureSize(diameter_mm=4.0, length_mm=10.0)
LEVEL = Level(origin=(0, 0, 0), up=(0, 0, 1))
# LPS: x to the patient's left, y backwards. Tooth 36 stands on the left.
ARCH = [(-25, 25, 0), (-18, 5, 0), (0, -5, 0), (18, 5, 0), (25, 25, 0)]


def plan_with(towards_apex=(0, 0, -1), tooth="36", jaw="lower"):
    x = 22.0 if tooth[0] in "23" else -22.0
    fixture = Fixture(
        id=tooth, tooth=tooth, platform=(x, 14, -3), towards_apex=towards_apex, size=SIZE
    )
    return Plan(jaw=jaw, level=LEVEL, arch_points=ARCH, fixtures=(fixture,))


def arch_of(plan):
    return traced(plan)


def fixture_of(plan):
    return plan.fixtures[0]


way = st.tuples(*[st.floats(-1, 1)] * 3).map(np.array).filter(lambda v: np.linalg.norm(v) > 0.2)
lean = st.tuples(st.floats(-0.6, 0.6), st.floats(-0.6, 0.6)).map(lambda t: (*t, -1.0))


@given(way, st.floats(0.05, 5.0))
def test_a_nudge_moves_by_its_step_and_turns_nothing(direction, step):
    before = fixture_of(plan_with())
    after = fixture_of(edit_pose.nudged(plan_with(), "36", direction, step))
    assert np.linalg.norm(after.platform - before.platform) == pytest.approx(step)
    assert np.array_equal(after.towards_apex, before.towards_apex)


@given(lean, way, st.floats(0.1, 20.0), st.sampled_from(["platform", "apex"]))
def test_a_tilt_keeps_its_end_and_is_as_large_as_it_says(axis, towards, angle, about):
    before = fixture_of(plan_with(axis))
    free_axis = before.towards_apex if about == "platform" else before.a
    if angle_deg(towards, free_axis) < 5 or angle_deg(towards, free_axis) > 175:
        return
    after = fixture_of(edit_pose.fixture_tilted(plan_with(axis), "36", towards, angle, about=about))
    assert np.allclose(getattr(after, about), getattr(before, about), atol=1e-9)
    assert edit_pose.tilt_between_deg(before, after) == pytest.approx(angle, abs=1e-6)
    free = "apex" if about == "platform" else "platform"
    # The free end went where it was sent.
    assert float((getattr(after, free) - getattr(before, free)) @ towards) > 0


@given(lean, way)
def test_an_end_looks_to_where_it_is_pulled_and_the_other_stays(axis, shift):
    before = fixture_of(plan_with(axis))
    for end, other in (("apex", "platform"), ("platform", "apex")):
        target = getattr(before, end) + 2 * shift
        after = fixture_of(edit_pose.fixture_end_to(plan_with(axis), "36", end, target))
        assert np.allclose(getattr(after, other), getattr(before, other), atol=1e-9)
        seen = target - getattr(before, other)
        assert angle_deg(getattr(after, end) - getattr(before, other), seen) < 1e-6
        assert after.size == before.size


def test_deeper_is_towards_the_apex():
    before = fixture_of(plan_with((0.1, 0, -1)))
    after = fixture_of(edit_pose.fixture_deepened(plan_with((0.1, 0, -1)), "36", 0.5))
    assert np.allclose(after.platform, before.on_axis(0.5))


def test_another_size_keeps_the_pose():
    other = FixtureSize(diameter_mm=4.5, length_mm=8.0)
    before = fixture_of(plan_with())
    after = fixture_of(edit_pose.fixture_resized(plan_with(), "36", other))
    assert after.size == other
    assert np.array_equal(after.platform, before.platform)


@pytest.mark.parametrize("sign", [1, -1])
def test_alignment_never_turns_a_fixture_upside_down(sign):
    axis = sign * np.array([0.2, 0.1, -1.0])
    after = fixture_of(edit_pose.fixture_aligned(plan_with(), "36", axis, about="apex"))
    assert angle_deg(after.towards_apex, (0.2, 0.1, -1.0)) == pytest.approx(0, abs=1e-6)
    assert np.allclose(after.apex, fixture_of(plan_with()).apex)


def test_a_locked_fixture_stays():
    plan = edit.with_lock(plan_with(), "36", locked=True)
    with pytest.raises(PlanError) as refused:
        edit_pose.fixture_moved(plan, "36", (1, 0, 0))
    assert refused.value.code == "edit-locked"


@pytest.mark.parametrize(("jaw", "z"), [("lower", -1), ("upper", 1)])
def test_a_new_fixture_points_into_the_jaw(jaw, z):
    plan = Plan(jaw=jaw, level=LEVEL)
    axis, words = edit_pose.axis_at(plan, (20, 14, 0))
    assert axis == pytest.approx((0, 0, z))
    assert str(words) == "perpendicular to the jaw plane"


def test_a_new_fixture_takes_the_stent_axis_where_there_is_one_near():
    near = StentAxis(id="stent-axis-1", occlusal=(20, 14, 8), gingival=(20.5, 14, 2))
    far = StentAxis(id="stent-axis-2", occlusal=(-20, 14, 8), gingival=(-20, 14, 2))
    plan = Plan(jaw="lower", level=LEVEL, stent_axes=(far, near))
    axis, words = edit_pose.axis_at(plan, (20, 14, 0))
    assert angle_deg(axis, (0.5, 0, -6)) < 1e-6
    assert str(words) == "along the stent axis"


def test_without_a_jaw_no_axis_is_guessed():
    with pytest.raises(PlanError) as refused:
        edit_pose.axis_at(Plan(level=LEVEL), (20, 14, 0))
    assert refused.value.code == "plan-not-ready"


def test_a_second_fixture_of_a_tooth_gets_a_name_of_its_own():
    plan, second = edit_pose.with_new_fixture(
        plan_with(), tooth="36", platform=(22, 18, -3), towards_apex=(0, 0, -2), size=SIZE
    )
    assert [f.id for f in plan.fixtures] == ["36", "36-2"]
    assert second.tooth == "36"
    _, nameless = edit_pose.with_new_fixture(
        plan, tooth="", platform=(22, 18, -3), towards_apex=(0, 0, -1), size=SIZE
    )
    assert nameless.id == "fixture-1"


def test_jaw_plane_from_axes():
    stent = StentAxis(id="s", occlusal=(20, 14, 8), gingival=(20, 14.5, 2))
    level = edit_pose.level_from_stent(stent)
    assert angle_deg(level.up, (0, -0.5, 6)) < 1e-6
    assert level.origin == pytest.approx((20, 14.5, 2))
    roots = tuple(
        Tapered(id=f"r{i}", kind="root", points=[(0, i, 0), (dx, i, -12)], diameters_mm=(6, 3))
        for i, dx in enumerate((2.0, -2.0))
    )
    assert angle_deg(edit_pose.level_from_roots(roots).up, (0, 0, 1)) < 1e-6


def test_an_arch_point_goes_between_its_neighbours_or_on_at_an_end():
    plan = plan_with()
    inside, index = edit_pose.with_arch_point(plan, (9, -2, 0))
    assert index == 3
    assert len(inside.arch_points) == 6
    assert edit_pose.with_arch_point(plan, (26, 30, 0))[1] == 5
    assert edit_pose.with_arch_point(plan, (-26, 30, 0))[1] == 0
    one, _ = edit_pose.with_arch_point(Plan(), (1, 2, 3))
    assert one.arch_points == pytest.approx(np.array([(1, 2, 3)]))


def test_a_site_of_the_same_tooth_moves():
    plan, _ = edit_pose.with_site(Plan(), 20.0, tooth="36")
    plan, site = edit_pose.with_site(plan, 21.0, tooth="36")
    assert [(s.id, s.station_mm) for s in plan.sites] == [("36", 21.0)]
    plan, other = edit_pose.with_site(plan, 30.0, tooth="")
    assert other.id == "site-1"
    assert edit_pose.without_site(plan, "36").sites == (other,)
    assert site.tooth == "36"


@pytest.mark.parametrize(("tooth", "jaw", "inner"), [
    ("36", "lower", "lingual"), ("46", "lower", "lingual"),
    ("26", "upper", "palatal"), ("16", "upper", "palatal"),
])  # fmt: skip
def test_small_moves_are_called_by_the_patients_own_directions(tooth, jaw, inner):
    into = (0, 0, -1) if jaw == "lower" else (0, 0, 1)
    plan = plan_with(into, tooth=tooth, jaw=jaw)
    fixture, arch = fixture_of(plan), arch_of(plan)
    cheek = np.array([1.0 if tooth[0] in "23" else -1.0, 0, 0])
    frame = fixture_frame(fixture, arch)
    # At a molar the cheek lies to the side, the midline forwards (LPS -y).
    assert str(direction_words(plan, arch, fixture, frame.b)) == "buccal"
    assert "buccal" in str(direction_words(plan, arch, fixture, cheek))
    assert inner in str(direction_words(plan, arch, fixture, -cheek))
    assert "mesial" in str(direction_words(plan, arch, fixture, (0, -1, 0)))
    assert "distal" in str(direction_words(plan, arch, fixture, (0, 1, 0)))
    assert str(direction_words(plan, arch, fixture, into)) == "apical"
    assert str(direction_words(plan, arch, fixture, -np.array(into))) == "coronal"


def test_without_an_arch_the_patients_sides_are_said():
    plan = Plan()
    fixture = fixture_of(plan_with())
    assert str(direction_words(plan, None, fixture, (1, 0, 0))) == "towards the patient’s left"
    assert str(direction_words(plan, None, fixture, (0, -1, 1))) == "forwards and upwards"


def test_words_at_a_place_of_the_jaw():
    plan = plan_with()
    arch = arch_of(plan)
    assert "buccal" in str(place_words(plan, arch, (22, 14, -5), (1, 0, 0)))
    assert str(place_words(plan, arch, (22, 14, -5), (0, 0, -1))) == "downwards"
    assert str(place_words(plan, arch, (0, -5, -5), (1, 0, 0))) == "towards the patient’s left"


def test_another_size_beside_the_planned_one_changes_nothing_that_is_planned():
    other = FixtureSize(diameter_mm=3.5, length_mm=12.0)
    before = plan_with()
    plan = edit_pose.with_other_size(before, "36", other)
    assert fixture_of(plan).size == SIZE
    assert fixture_of(plan).other_size == other
    assert len(plan.fixtures) == 1
    swapped = edit_pose.sizes_exchanged(plan, "36")
    assert (fixture_of(swapped).size, fixture_of(swapped).other_size) == (other, SIZE)
    assert np.array_equal(fixture_of(swapped).platform, fixture_of(before).platform)
    assert edit_pose.sizes_exchanged(swapped, "36").fixtures[0].size == SIZE
    assert fixture_of(edit_pose.with_other_size(plan, "36", None)).other_size is None


def test_the_other_size_is_never_the_planned_one():
    other = FixtureSize(diameter_mm=3.5, length_mm=12.0)
    plan = edit_pose.with_other_size(plan_with(), "36", other)
    assert fixture_of(edit_pose.fixture_resized(plan, "36", other)).other_size is None
    assert fixture_of(edit_pose.with_other_size(plan, "36", SIZE)).other_size is None
    assert fixture_of(edit_pose.sizes_exchanged(plan_with(), "36")).size == SIZE


def test_the_document_keeps_both_sizes_and_which_one_is_planned():
    from core.plans.plan_dump import document_of
    from core.plans.plan_parse import parse

    other = FixtureSize(diameter_mm=3.5, length_mm=12.0)
    plan = edit_pose.with_other_size(plan_with(), "36", other)
    document = document_of(plan)
    (written,) = document["fixtures"]
    assert written["size"]["diameter_mm"] == 4.0
    assert written["other_size"]["diameter_mm"] == 3.5
    again = fixture_of(parse(document))
    assert (again.size, again.other_size) == (SIZE, other)
    alone = document_of(edit_pose.with_other_size(parse(document), "36", None))
    assert alone["fixtures"][0].get("other_size") is None
    twice = {**document, "fixtures": [{**written, "other_size": written["size"]}]}
    with pytest.raises(PlanError, match="planned"):
        parse(twice)


def test_a_size_beside_that_cannot_be_is_refused_in_a_file_too():
    from core.plans.plausible import refuse_implausible

    huge = FixtureSize(diameter_mm=15.0, length_mm=12.0)
    plan = edit_pose.with_other_size(plan_with(), "36", huge)
    with pytest.raises(PlanError, match=r"fixtures\[0\]\.other_size"):
        refuse_implausible(plan)
