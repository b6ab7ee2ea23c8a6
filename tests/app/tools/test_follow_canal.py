"""Two clicks, a proposal that counts for nothing, and its confirmation by real mouse and keys."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from PySide6.QtCore import Qt
from scipy.ndimage import gaussian_filter
from scipy.spatial import cKDTree

from app.tools.catalogue import TOOLS
from app.tools.follow_canal import FollowCanal
from core.arch import Arch
from core.image.volume import Volume
from core.plans.edit import with_lock
from core.plans.marks import marks_of
from tests.app.tools.table import ARCH_POINTS, LEVEL, STATION
from tests.app.tools.test_spots_and_teeth import beside

VOXEL = 0.4
HALF_MM = 9.0
"""Half the way between the clicks, along the arch."""

RIGHT = Qt.MouseButton.RightButton


def place(station):
    """The canal's middle at a station: 2 mm to the cheek, 9 below the arch, falling a little."""
    frame = Arch.trace(ARCH_POINTS, level=LEVEL).frame(station)
    return frame.origin + 2.0 * frame.buccal - (9.0 + 0.05 * (station - STATION)) * frame.up


@cache
def scan(*, canal=True):
    """Spongy bone with grains around the place looked at, a canal along the arch in it."""
    rng = np.random.default_rng(4)
    line = np.stack([place(s) for s in np.arange(STATION - 16, STATION + 16, 0.1)])
    low = line.min(axis=0) - 7.0
    count = np.ceil((line.max(axis=0) + 7.0 - low) / VOXEL).astype(int)
    k, j, i = np.indices(count[::-1])
    at = np.stack([i, j, k], axis=-1) * VOXEL + low
    grains = gaussian_filter(rng.standard_normal(k.shape), 1.0)
    grey = 350.0 + 80.0 / grains.std() * grains
    if canal:
        away = cKDTree(line).query(at.reshape(-1, 3), distance_upper_bound=3.0)[0].reshape(k.shape)
        grey += np.clip(0.5 - (away - 1.5) / VOXEL, 0, 1) * (1000.0 - grey)
        grey += np.clip(0.5 - (away - 1.1) / VOXEL, 0, 1) * (60.0 - grey)
    grey = gaussian_filter(grey, 0.5) + rng.normal(0.0, 40.0, grey.shape)
    affine = np.diag([VOXEL, VOXEL, VOXEL, 1.0])
    affine[:3, 3] = low
    return Volume(
        voxels=np.rint(grey).astype(np.int16),
        mm_from_ijk=affine,
        made_up=np.zeros(len(grey), dtype=bool),
    )


@pytest.fixture
def t(table):
    made = table(FollowCanal, jaw="lower")
    # Nothing is measured here: only the tool looks at the scan.
    made.session._measure = lambda: None
    made.session.volume = scan()
    made.desk.answers = [None, None]
    yield made
    made.tool.stop()
    made.session.volume = None


def click_canal(t, station, off=(0.3, 0.2)):
    t.session.go_to(station_mm=station)
    uv = t.section.uv_mm(place(station)[None])[0]
    return t.click(t.section, uv[0] + off[0], uv[1] + off[1])


def followed(t, qtbot):
    """Two clicks, and the proposal that comes of them."""
    click_canal(t, STATION - HALF_MM)
    click_canal(t, STATION + HALF_MM)
    qtbot.waitUntil(lambda: bool(t.tool.proposed), timeout=30_000)
    at_rest(t, qtbot)


def at_rest(t, qtbot):
    qtbot.waitUntil(lambda: not t.tool._run.isActive(), timeout=10_000)


def test_what_is_proposed_counts_for_nothing(t, qtbot):
    click_canal(t, STATION - HALF_MM)
    assert t.now() == t.start, "a click is no mark"
    click_canal(t, STATION + HALF_MM)
    qtbot.waitUntil(lambda: bool(t.tool.proposed), timeout=30_000)
    assert t.now() == t.start, "a proposal is no mark"
    assert not t.session.undo_stack.canUndo()
    assert any("counts for nothing" in said for said in t.desk.said)
    at_rest(t, qtbot)
    drawn = t.tool.draft(t.section)
    assert [line.style for line in drawn.lines] == ["proposed"]
    assert [label.text for label in drawn.labels] == ["proposed"]
    assert {line.style for line in t.tool.draft(t.panorama).lines} == {"proposed"}
    assert drawn.handles == (), "there is nothing to take yet"


def test_it_is_confirmed_mark_by_mark_while_the_section_runs_along(t, qtbot):
    followed(t, qtbot)
    count = len(t.tool.proposed)
    assert count == 5, "as far apart as gives the course again, less than 5 mm"
    assert t.session.station_mm == pytest.approx(STATION - HALF_MM, abs=0.7)
    stations = []
    t.session.place_changed.connect(lambda: stations.append(t.session.station_mm))
    for n in range(count):
        t.type(Qt.Key.Key_Return)
        (course,) = t.plan.structures
        assert len(course.points) == n + 1
        assert t.session.undo_stack.undoText() == f"canal left: mark {n + 1} confirmed, seen"
        at_rest(t, qtbot)
    steps = np.diff(stations)
    assert steps.max() < 1.5, "no place between is jumped over"
    assert set(course.seen) == {"yes"}
    line = np.stack([place(s) for s in np.arange(STATION - 14, STATION + 14, 0.1)])
    assert cKDTree(line).query(course.points)[0].max() < 0.25
    assert t.tool.draft(t.section).lines == (), "nothing is proposed any more"


def test_each_confirmed_mark_is_one_undoable_step_and_can_be_confirmed_again(t, qtbot):
    followed(t, qtbot)
    t.type(Qt.Key.Key_Return)
    at_rest(t, qtbot)
    t.type(Qt.Key.Key_Return)
    at_rest(t, qtbot)
    two = t.plan.structures[0].points
    t.session.undo_stack.undo()
    assert len(t.plan.structures[0].points) == 1
    t.type(Qt.Key.Key_Return)
    at_rest(t, qtbot)
    assert t.plan.structures[0].points == pytest.approx(two)
    t.click(t.section, 15.0, 15.0, button=RIGHT)
    assert len(t.plan.structures[0].points) == 1, "right click takes the last one back"
    assert t.undo_all() == t.start


def test_a_locked_canal_takes_no_further_mark_and_says_why(t, qtbot):
    followed(t, qtbot)
    t.type(Qt.Key.Key_Return)
    at_rest(t, qtbot)
    t.session.apply("locked", with_lock(t.plan, "canal-left", locked=True))
    t.type(Qt.Key.Key_Return)
    assert [error.code for error in t.desk.errors] == ["edit-locked"]
    assert len(t.plan.structures[0].points) == 1


def test_esc_drops_what_was_not_confirmed_and_keeps_the_rest(t, qtbot):
    followed(t, qtbot)
    t.type(Qt.Key.Key_Return)
    at_rest(t, qtbot)
    kept = t.now()
    t.type(Qt.Key.Key_Escape)
    assert t.tool.proposed == ()
    assert t.now() == kept
    assert "gone" in t.desk.said[-1]


def test_a_click_places_the_mark_by_hand_instead(t, qtbot):
    followed(t, qtbot)
    t.type(Qt.Key.Key_Return)
    at_rest(t, qtbot)
    uv = t.section.uv_mm(t.tool.proposed[1].point_mm[None])[0]
    by_hand = t.click(t.section, uv[0] + 1.5, uv[1])
    assert t.plan.structures[0].points[1] == pytest.approx(by_hand)
    assert "by hand" in t.session.undo_stack.undoText()
    at_rest(t, qtbot)
    t.type(Qt.Key.Key_Return)
    assert len(t.plan.structures[0].points) == 3


def test_a_confirmed_mark_is_moved_like_any_other(t, qtbot):
    followed(t, qtbot)
    t.type(Qt.Key.Key_Return)
    at_rest(t, qtbot)
    t.session.go_to(station_mm=STATION - HALF_MM)
    before = t.plan.structures[0].points[0]
    way = t.drag(t.section, before, (20, 12))
    assert t.plan.structures[0].points[0] == pytest.approx(before + way)
    assert len(t.plan.structures[0].points) == 1


def test_the_diameter_is_offered_when_all_is_confirmed(t, qtbot, monkeypatch):
    t.desk.answers = ["as offered"]
    ask, seen = t.desk.ask_text, []

    def looked(title, question, value="", explain=None):
        seen.append((t.tool.draft(t.section), explain("")))
        return ask(title, question, value)

    monkeypatch.setattr(t.desk, "ask_text", looked)
    followed(t, qtbot)
    assert t.tool.draft(t.section).compares, "no distance line over what is compared"
    for _ in range(len(t.tool.proposed)):
        t.type(Qt.Key.Key_Return)
        at_rest(t, qtbot)
    qtbot.waitUntil(lambda: bool(t.desk.asked), timeout=60_000)
    (course,) = t.plan.structures
    assert course.diameter_mm == pytest.approx(3.0, abs=0.5)
    assert course.diameter_sd_mm > 0.1
    ((drawn, told),) = seen
    rings = [np.ptp(line.points[:, 0]) for line in drawn.lines if line.style == "proposed"]
    assert max(rings) == pytest.approx(course.diameter_mm, abs=0.06), "drawn as it was measured"
    assert drawn.compares
    assert "Compare" in told
    assert not t.tool.draft(t.section).compares, "answered: nothing is compared any more"


def test_nothing_is_proposed_where_no_canal_is(t, qtbot):
    t.session.volume = scan(canal=False)
    click_canal(t, STATION - HALF_MM)
    click_canal(t, STATION + HALF_MM)
    qtbot.waitUntil(lambda: any("would be a guess" in said for said in t.desk.said), timeout=30_000)
    assert t.tool.proposed == ()
    assert len(t.tool.clicks) == 1, "the first click stays"
    assert t.now() == t.start


def test_a_third_click_between_two_follows_anew(t, qtbot):
    t.tool._following.ask = lambda work: None
    click_canal(t, STATION - HALF_MM)
    click_canal(t, STATION + HALF_MM)
    middle = click_canal(t, STATION)
    assert len(t.tool.clicks) == 3
    assert t.tool.clicks[1] == pytest.approx(middle)
    t.click(t.section, 0.0, 0.0, button=RIGHT)
    assert len(t.tool.clicks) == 2


def test_another_tool_or_scan_drops_the_proposal(t, qtbot):
    followed(t, qtbot)
    t.session.scan_changed.emit()
    assert t.tool.proposed == ()
    assert [m for m in marks_of(t.plan) if m.kind == "canal"] == []


def test_it_has_a_button_beside_the_canal():
    names = [tool.name for tool in TOOLS]
    assert names.index("Follow canal") == names.index("canal") + 1


def run_to_the_end(t, qtbot):
    """Draw as the window does, until nothing runs any more."""

    def stands():
        t.tool.draft(t.section)
        return not t.tool.run_all.active

    qtbot.waitUntil(stands, timeout=20_000)


def test_shift_enter_confirms_each_mark_after_it_stood_in_view(t, qtbot):
    t.tool.run_all._stands.setInterval(30)
    followed(t, qtbot)
    stations = []
    t.session.plan_changed.connect(lambda *_: stations.append(t.session.station_mm))
    t.type(Qt.Key.Key_Return, Qt.KeyboardModifier.ShiftModifier)
    assert t.now() == t.start, "nothing is confirmed before it is drawn"
    run_to_the_end(t, qtbot)
    (course,) = t.plan.structures
    assert len(course.points) == 5
    assert len(set(np.round(stations))) == 5, "each at its own section"
    for left in (4, 3, 2, 1):
        t.session.undo_stack.undo()
        assert len(t.plan.structures[0].points) == left, "one undoable step each"


def test_enter_pressed_again_does_not_stop_the_run(t, qtbot):
    t.tool.run_all._stands.setInterval(30)
    followed(t, qtbot)
    t.type(Qt.Key.Key_Return, Qt.KeyboardModifier.ShiftModifier)
    t.type(Qt.Key.Key_Return)
    assert t.tool.run_all.active
    assert t.now() == t.start, "and confirms nothing unseen"
    run_to_the_end(t, qtbot)
    assert len(t.plan.structures[0].points) == 5


@pytest.mark.parametrize("how", ["key", "click"])
def test_any_key_or_click_stops_the_run_and_does_nothing_else(t, qtbot, how):
    t.tool.run_all._stands.setInterval(30)
    followed(t, qtbot)
    t.type(Qt.Key.Key_Return, Qt.KeyboardModifier.ShiftModifier)

    def two():
        t.tool.draft(t.section)
        return bool(t.plan.structures) and len(t.plan.structures[0].points) == 2

    qtbot.waitUntil(two, timeout=10_000)
    if how == "key":
        t.type(Qt.Key.Key_Escape)
    else:
        t.click(t.section, 3.0, 3.0)
    assert "What is still proposed is not confirmed" in t.desk.said[-1]
    at_rest(t, qtbot)
    t.tool.draft(t.section)
    qtbot.wait(120)
    assert len(t.plan.structures[0].points) == 2
    assert len(t.tool.proposed) == 5, "what was proposed is still there"
    t.type(Qt.Key.Key_Return)
    assert len(t.plan.structures[0].points) == 3


def test_a_stretch_that_is_not_seen_is_never_confirmed_by_the_run(t, qtbot):
    t.tool.run_all._stands.setInterval(30)
    followed(t, qtbot)
    marks = list(t.tool.proposed)
    marks[2] = replace(marks[2], seen="no")
    t.tool.proposed = tuple(marks)
    t.type(Qt.Key.Key_Return, Qt.KeyboardModifier.ShiftModifier)
    run_to_the_end(t, qtbot)
    assert len(t.plan.structures[0].points) == 2
    assert "is not seen in the image" in t.desk.said[-1]
    t.type(Qt.Key.Key_Return)
    at_rest(t, qtbot)
    assert t.plan.structures[0].seen[2] == "no"


def test_whoever_was_led_here_is_led_to_both_sides_of_the_fixture_and_on(t, qtbot):
    fixture = beside(t, STATION, "36")
    t.session.plan = replace(t.plan, fixtures=(fixture,))
    t.session.go_to(selected=fixture.id)
    t.tool.wanted = "canal"
    t.tool.start()
    assert t.session.station_mm == pytest.approx(STATION - 11.0, abs=0.1), "in front of it, left"
    click_canal(t, STATION - 9.0)
    assert t.session.station_mm == pytest.approx(STATION + 11.0, abs=0.2), "and behind it"
    click_canal(t, STATION + 9.0)
    qtbot.waitUntil(lambda: bool(t.tool.proposed), timeout=30_000)
    assert not t.desk.led_on
    while not t.tool._all_confirmed():
        at_rest(t, qtbot)
        t.type(Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: t.desk.led_on, timeout=30_000)


def confirm_all(t, qtbot):
    for _ in t.tool.proposed:
        at_rest(t, qtbot)
        t.type(Qt.Key.Key_Return)
    assert t.tool._all_confirmed()


def short_canal(t, qtbot):
    """A fixture, and a canal that ends 3 mm in front of it and behind it."""
    fixture = beside(t, STATION, "36")
    t.session.plan = replace(t.plan, fixtures=(fixture,))
    t.session.go_to(selected=fixture.id)
    t.desk.answers = ["3.0"]
    t.tool.start()
    assert "5 mm or more beyond the fixture" in t.tool.hint()
    click_canal(t, STATION - 5.0)
    click_canal(t, STATION + 5.0)
    qtbot.waitUntil(lambda: bool(t.tool.proposed), timeout=30_000)
    confirm_all(t, qtbot)


def test_a_canal_that_was_followed_too_short_says_which_side_and_by_how_much(t, qtbot):
    short_canal(t, qtbot)
    (hint,) = {t.tool.hint(), t.desk.said[-1].partition("confirmed. ")[2] or t.tool.hint()}
    assert hint.startswith("Still traced too short: mesial and distal, by up to 2.")
    click_canal(t, STATION + 9.0)
    qtbot.waitUntil(lambda: bool(t.tool.proposed), timeout=30_000)
    confirm_all(t, qtbot)
    assert t.tool.hint().startswith("Still traced too short: mesial, by up to 2.")
    click_canal(t, STATION - 9.0)
    qtbot.waitUntil(lambda: bool(t.tool.proposed), timeout=30_000)
    confirm_all(t, qtbot)
    assert "too short" not in t.tool.hint()


@pytest.mark.parametrize("clicks", [(9.0,), (4.0, 9.0)], ids=["beyond its end", "from within"])
def test_followed_again_it_is_the_same_canal_that_goes_on(t, qtbot, clicks):
    short_canal(t, qtbot)
    before = len(t.plan.structures[0].points)
    t.session.go_to(selected="36")
    t.tool.start()
    for off in clicks:
        click_canal(t, STATION + off)
    qtbot.waitUntil(lambda: bool(t.tool.proposed), timeout=30_000)
    confirm_all(t, qtbot)
    (course,) = t.plan.structures
    assert course.id == "canal-left"
    arch = t.session.arch
    stations = [arch.station(p) for p in course.points]
    assert len(stations) > before
    assert stations == sorted(stations), "in their order along the jaw"
    assert np.diff(stations).min() > 0.4, "nothing is marked twice"
    assert stations[-1] == pytest.approx(STATION + 9.0, abs=0.5)


def test_a_canal_beside_the_marked_one_is_another(t, qtbot):
    short_canal(t, qtbot)
    click_canal(t, STATION - 4.0, off=(0.3, 5.0))
    assert t.tool._nearest(t.tool.clicks[0]) is None
