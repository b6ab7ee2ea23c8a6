"""Placing, dragging, tilting and nudging fixtures by real mouse and keys."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest

from app.case.settings import settings_of
from app.tools import after_sink
from app.tools.fixture import Adjust, PlaceFixture
from core.arch import Arch, fixture_frame
from core.fixture import Fixture, FixtureSize
from core.geometry import angle_deg
from core.image.section import through_axis_grid
from core.image.volume import Volume
from core.measuring.depth_tried import DepthTried
from core.plans.plan_parse import parse
from core.plans.sizes import ListedSize, default_sizes
from core.structures import Course, Ruler, StentAxis, Tapered
from sample_volumes.phantom import small_jaw
from tests.app.case_at_hand import ledger, row
from tests.app.tools.table import ARCH_POINTS, LEVEL, STATION, plan_of_a_jaw

CTRL, ALT = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.AltModifier
SHIFT = Qt.KeyboardModifier.ShiftModifier
SIZE = FixtureSize(diameter_mm=4.5, length_mm=8.0)


def frame():
    return Arch.trace(ARCH_POINTS, level=LEVEL).frame(STATION)


def standing(*, lean_buccal=0.0, fixture_id="36", along=0.0):
    f = frame()
    return Fixture(
        id=fixture_id,
        tooth="36",
        platform=f.origin - 3 * f.up + along * f.travel,
        towards_apex=-f.up + lean_buccal * f.buccal,
        size=SIZE,
    )


def ready(table, *fixtures, tool=Adjust, **changes):
    return table(tool, fixtures=fixtures or (standing(),), jaw="lower", **changes)


def the(t):
    return t.plan.fixtures[0]


def test_between_named_roots_the_tooth_is_offered_and_said_to_be_a_proposal(table):
    f = Arch.trace(ARCH_POINTS, level=LEVEL).frame(STATION - 9.0)
    root = Tapered(id="root-35", kind="root", tooth="35", diameters_mm=(5.0, 2.0),
                   points=[f.origin, f.origin - 9.0 * f.up])  # fmt: skip
    t = table(PlaceFixture, jaw="lower", structures=(root,))
    t.desk.answers = ["as offered"]
    t.click(t.section, 1.0, -4.0)
    assert the(t).tooth == "36"
    assert t.desk.explained[0] == (
        "36, lower left first molar (19 in 1–32)\nProposed, as it lies beside 35. Compare it with"
        " the patient or the chart: Enter takes it, or type another."
    )
    assert t.desk.explained[1].startswith("34, lower left first premolar (21 in 1–32)")
    assert "Proposed" not in t.desk.explained[1], "typed"


def test_a_click_drops_a_fixture_with_its_platform_there(table):
    t = table(PlaceFixture, jaw="lower")
    t.desk.answers = ["36"]
    point = t.click(t.section, 1.0, -4.0)
    fixture = the(t)
    assert (fixture.id, fixture.tooth) == ("36", "36")
    assert fixture.platform == pytest.approx(point)
    assert fixture.towards_apex == pytest.approx(-LEVEL.up)
    assert t.session.selected == "36"
    assert t.desk.took == ["Adjust"]  # a second click drops no second one
    assert t.desk.led_on, "to what its distances are measured to"
    told = "fixture 36 placed perpendicular to the jaw plane"
    assert t.session.undo_stack.undoText() == told
    assert t.undo_all() == t.start


def test_it_follows_the_stent_axis_and_takes_the_size_of_the_last(table):
    f = frame()
    stent = StentAxis(
        id="stent-axis-1",
        occlusal=f.origin + 8 * f.up - 1.0 * f.buccal,
        gingival=f.origin + 2 * f.up,
    )
    t = ready(table, standing(along=9.0), tool=PlaceFixture, stent_axes=(stent,))
    t.desk.answers = ["35"]
    t.click(t.section, 1.0, -4.0)
    new = t.plan.fixtures[1]
    assert angle_deg(new.towards_apex, stent.gingival - stent.occlusal) < 1e-6
    assert new.size == SIZE
    assert "along the stent axis" in t.desk.said[-1]


def test_without_jaw_or_tooth_nothing_is_dropped(table):
    t = table(PlaceFixture)
    t.click(t.section, 1.0, -4.0)
    assert t.desk.errors[-1].code == "plan-not-ready"
    t = table(PlaceFixture, jaw="lower")
    t.desk.answers = [None]
    t.click(t.section, 1.0, -4.0)
    assert t.plan.fixtures == ()


def test_the_body_moves_the_fixture_in_the_pictures_plane(table):
    t = ready(table)
    before = the(t)
    way = t.drag(t.section, before.on_axis(4.0), (12, -7))
    after = the(t)
    assert after.platform == pytest.approx(before.platform + way)
    assert np.array_equal(after.towards_apex, before.towards_apex)
    assert t.session.undo_stack.undoText().startswith("36 moved 1.4 mm buccal and coronal")
    assert t.session.undo_stack.count() == 1
    assert t.undo_all() == t.start


@pytest.mark.parametrize(("end", "stays"), [("apex", "platform"), ("platform", "apex")])
def test_an_end_tilts_it_about_the_other(table, end, stays):
    t = ready(table)
    before = the(t)
    way = t.drag(t.section, getattr(before, end), (15, 0))
    after = the(t)
    assert getattr(after, stays) == pytest.approx(getattr(before, stays), abs=1e-9)
    seen = getattr(before, end) + way - getattr(before, stays)
    assert angle_deg(getattr(after, end) - getattr(after, stays), seen) < 1e-6
    angle = np.degrees(np.arctan2(np.linalg.norm(way), SIZE.length_mm))
    assert t.desk.said[-1] == f"36 tilted {angle:.1f}° about its {stays}"
    assert t.undo_all() == t.start


def test_on_the_arch_map_the_body_moves_along_the_jaw_plane(table):
    t = ready(table)
    before = the(t)
    way = t.drag(t.map, before.platform, (-20, 10))
    assert the(t).platform == pytest.approx(before.platform + way)
    assert float(way @ LEVEL.up) == pytest.approx(0, abs=1e-9)
    assert float(way[0]) < 0  # seen from below: left on the map is the patient's right


def test_on_the_panorama_it_moves_along_the_arch(table):
    t = ready(table)
    before = the(t)
    t.drag(t.panorama, before.on_axis(4.0), (9, 0))
    station = t.session.arch.station
    assert station(the(t).platform) - station(before.platform) == pytest.approx(2.0, abs=0.3)
    # The section goes where the fixture is now: else it would show a place without it.
    assert t.session.station_mm == pytest.approx(station(the(t).platform))


@pytest.mark.parametrize(
    ("key", "words"),
    [
        (Qt.Key.Key_Right, "buccal"),
        (Qt.Key.Key_Left, "lingual"),
        (Qt.Key.Key_Up, "coronal"),
        (Qt.Key.Key_Down, "apical"),
    ],
)
def test_nudges_are_a_tenth_and_say_where(table, key, words):
    t = ready(table)
    t.session.go_to(selected="36")
    before = the(t)
    t.type(key)
    assert the(t) is before  # arrows alone never move an object
    t.type(key, CTRL)
    after = the(t)
    assert np.linalg.norm(after.platform - before.platform) == pytest.approx(0.1)
    assert t.desk.said[-1] == f"36 moved 0.1 mm {words}"
    assert t.undo_all() == t.start


@pytest.mark.parametrize("about_apex", [False, True])
def test_tilting_by_keys_is_half_a_degree(table, about_apex):
    t = ready(table)
    t.session.go_to(selected="36")
    before = the(t)
    t.type(Qt.Key.Key_Right, ALT | SHIFT if about_apex else ALT)
    after = the(t)
    assert angle_deg(before.towards_apex, after.towards_apex) == pytest.approx(0.5)
    stays, goes = ("apex", "platform") if about_apex else ("platform", "apex")
    assert getattr(after, stays) == pytest.approx(getattr(before, stays), abs=1e-9)
    assert float((getattr(after, goes) - getattr(before, goes)) @ frame().buccal) > 0
    assert t.desk.said[-1] == f"36 tilted 0.5°, its {goes} buccal"
    t.type(Qt.Key.Key_Up, ALT)  # along the axis there is nothing to tilt
    assert the(t) is after


def test_deeper_and_shallower_by_keys(table):
    t = ready(table, standing(lean_buccal=0.3))
    t.session.go_to(selected="36")
    before = the(t)
    t.type(Qt.Key.Key_PageDown, CTRL)
    assert the(t).platform == pytest.approx(before.on_axis(0.1))
    t.type(Qt.Key.Key_PageUp, CTRL)
    t.type(Qt.Key.Key_PageUp, CTRL)
    assert the(t).platform == pytest.approx(before.on_axis(-0.1))


def test_alignment_by_keys(table):
    f = frame()
    stent = StentAxis(id="s", occlusal=f.origin + 8 * f.up + f.travel, gingival=f.origin + 2 * f.up)
    other = standing(lean_buccal=-0.2, fixture_id="37", along=10.0)
    t = ready(table, standing(lean_buccal=0.3), other, stent_axes=(stent,))
    t.session.go_to(selected="36")
    for key, axis in (
        (Qt.Key.Key_S, stent.gingival - stent.occlusal),
        (Qt.Key.Key_O, other.towards_apex),
        (Qt.Key.Key_J, -LEVEL.up),
    ):
        before = the(t)
        t.type(key)
        assert angle_deg(the(t).towards_apex, axis) < 1e-5
        assert the(t).platform == pytest.approx(before.platform)
    assert t.undo_all() == t.start


def test_nothing_to_align_with_is_said(table):
    t = ready(table)
    t.session.go_to(selected="36")
    t.type(Qt.Key.Key_S)
    assert "nothing of that kind" in t.desk.said[-1]
    assert t.now() == t.start


def test_a_locked_fixture_is_neither_dragged_nor_deleted(table):
    t = ready(table)
    t.session.go_to(selected="36")
    t.type(Qt.Key.Key_L)
    before = the(t)
    t.drag(t.section, before.on_axis(4.0), (20, 0))
    t.type(Qt.Key.Key_Delete)
    t.type(Qt.Key.Key_Right, CTRL)
    assert the(t) is before
    t.type(Qt.Key.Key_L)
    t.type(Qt.Key.Key_Delete)
    assert t.plan.fixtures == ()
    assert t.undo_all() == t.start


def test_escape_during_a_drag_puts_the_fixture_back(table):
    t = ready(table)
    before = the(t)
    t.drag(t.section, before.on_axis(4.0), (30, 0), release=False)
    t.type(Qt.Key.Key_Escape)
    assert the(t) is before
    assert t.session.undo_stack.count() == 0


def test_a_click_that_trembles_moves_nothing(table):
    t = ready(table)
    before = the(t)
    t.drag(t.section, before.on_axis(4.0), (1, 1))
    assert the(t) is before
    assert t.session.selected == "36"


def test_adjust_takes_marks_before_fixtures_and_places_nothing(table):
    f = frame()
    mark = f.origin - 7 * f.up
    canal = Course(id="canal-left", kind="canal", points=[mark, mark + 5 * f.travel])
    ruler = Ruler(id="ruler-1", points=[f.origin + 6 * f.buccal, f.origin + 9 * f.buccal])
    t = ready(table, standing(), structures=(canal,), rulers=(ruler,))
    fixture = the(t)
    way = t.drag(t.section, mark, (8, 0))
    assert t.plan.structures[0].points[0] == pytest.approx(mark + way)
    assert the(t) is fixture
    way = t.drag(t.section, ruler.points[1], (0, 20))
    assert t.plan.rulers[0].points[1] == pytest.approx(ruler.points[1] + way)
    count = t.session.undo_stack.count()
    t.click(t.section, -15.0, 15.0)
    assert t.session.undo_stack.count() == count == 2
    assert t.tool.chosen is None
    assert t.undo_all() == t.start


def test_handles_at_both_ends_where_the_picture_meets_the_fixture(table):
    t = ready(table)
    t.session.go_to(selected="36")
    assert [h.chosen for h in t.tool.draft(t.section).handles] == [True, True]
    assert t.tool.draft(t.neighbour).handles == ()
    assert t.tool.draft(t.map).handles == ()


def test_every_tool_has_its_own_name_a_group_and_a_hint(table):
    from app.tools.catalogue import TOOLS

    t = ready(table)
    names = [tool.name for tool in TOOLS]
    assert len(set(names)) == len(names)
    assert {tool.group for tool in TOOLS} == {"View", "Mark", "Place", "Measure"}
    for tool in TOOLS:
        made = tool(t.session, t.desk)
        made.start()
        # The panels' column has room for so many letters.
        assert 20 < len(made.hint()) <= 140, tool.name
        made.stop()
    assert plan_of_a_jaw().fixtures == ()


def test_on_a_scan_the_drag_is_measured_along_and_ends_where_the_mouse_did(table, qtbot):
    voxels, affine, truth = small_jaw()
    volume = Volume(voxels=voxels, mm_from_ijk=affine, made_up=np.zeros(len(voxels), bool))
    truth["plan"].pop("scan")
    plan = parse(truth["plan"])
    t = ready(table)
    t.session.place_changed.disconnect(t.cut)
    t.session.open(volume, plan)
    qtbot.waitUntil(lambda: t.session.ledger_is_whole, timeout=60_000)
    before = the(t)
    clearance = {m.id: m.value for m in t.session.ledger.measurements if m.kind == "clearance"}
    frame_here = fixture_frame(before, t.session.arch)
    grid = through_axis_grid(before, frame_here, turn_deg=0.0, size_mm=(40, 40), pixel_mm=0.5)
    t.section.show_picture(grid, volume.picture(grid), t.session.window)
    way = t.drag(t.section, before.on_axis(3.0), (0, 15))
    after = the(t)
    assert after.platform == pytest.approx(before.platform + way)
    qtbot.waitUntil(lambda: t.session.ledger_is_current, timeout=60_000)
    assert t.session.ledger.plan is t.session.plan
    now = {m.id: m.value for m in t.session.ledger.measurements if m.kind == "clearance"}
    nerve = next(k for k in clearance if "canal" in k)
    # 1.5 mm nearer along the axis: the canal below is nearer by nearly as much.
    assert 1.0 < clearance[nerve] - now[nerve] < 1.6
    t.session.undo_stack.undo()
    assert the(t).platform == pytest.approx(before.platform)
    t.session.close()


def test_dragged_out_and_back_to_where_it_began_changes_nothing(table):
    t = ready(table)
    before = the(t)
    first = t.pixel(t.section, before.on_axis(3.0))
    left, none = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
    QTest.mousePress(t.section, left, none, first)
    QTest.mouseMove(t.section, first + QPoint(0, 30))
    assert t.session.dragging
    QTest.mouseRelease(t.section, left, none, first)
    assert not t.session.dragging
    assert the(t) is before
    assert not t.session.undo_stack.canUndo()


def test_the_first_fixture_takes_a_size_of_the_users_own_list(table):
    t = table(PlaceFixture, jaw="lower")
    own = ListedSize(size=FixtureSize(diameter_mm=3.7, length_mm=9.0))
    settings = settings_of(t.session)
    settings.change(sizes=(own,))
    try:
        t.desk.answers = ["36"]
        t.click(t.section, 1.0, -4.0)
        assert the(t).size == own.size
    finally:
        settings.change(sizes=default_sizes())


def roots_beside(*leans):
    f = frame()
    return tuple(
        Tapered(id=f"root-{tooth}", kind="root", tooth=tooth, diameters_mm=(5.0, 2.0),
                points=[f.origin, f.origin + 9.0 * (lean * f.travel - f.up)])
        for tooth, lean in zip(("35", "37"), leans, strict=False)
    )  # fmt: skip


def test_m_lays_it_along_the_mean_of_both_neighbours(table):
    t = ready(table, standing(), structures=roots_beside(0.2, 0.0))
    t.type(Qt.Key.Key_M)
    f = frame()
    half = np.array([0.2, 0.0]).mean()
    assert angle_deg(the(t).towards_apex, half * f.travel - f.up) < 0.1
    assert the(t).platform == pytest.approx(standing().platform)
    assert t.undo_all() == t.start
    one = ready(table, standing(), structures=roots_beside(0.2))
    one.type(Qt.Key.Key_M)
    assert one.now() == one.start
    assert "roots of both neighbours first" in one.desk.said[-1]


@pytest.mark.parametrize(
    ("key", "size"),
    [
        (Qt.Key.Key_BracketRight, (4.5, 10.0)),
        (Qt.Key.Key_BracketLeft, (4.5, 6.0)),
        (Qt.Key.Key_Greater, (5.0, 8.0)),
        (Qt.Key.Key_Less, (4.0, 8.0)),
    ],
)
def test_one_key_takes_the_next_size_of_the_list(table, key, size):
    t = ready(table)
    t.type(key)
    assert (the(t).size.diameter_mm, the(t).size.length_mm) == size
    for _ in range(4):
        t.type(key)
    assert "no further one" in t.desk.said[-1]


@pytest.mark.parametrize(
    ("depths", "moved", "said"),
    [
        ({"buccal": -0.42, "lingual": 0.3}, 0.5, "36 0.5 mm deeper"),
        ({"buccal": 0.8, "lingual": 1.31, "mesial": 0.55}, -0.5, "36 0.5 mm higher"),
        ({"buccal": 0.05, "lingual": 0.3}, 0.0, "level with the lowest edge"),
        ({"buccal": -0.42}, 0.0, "not measured here"),
    ],
)
def test_b_sets_the_platform_to_the_lowest_edge_of_the_bone(table, depths, moved, said):
    t = ready(table)
    measured = [
        row(side, mm, None, kind="depth", group="information", limit=None,
            of="platform below bone", side=side)
        for side, mm in depths.items()
    ]  # fmt: skip
    t.session.ledger = ledger(t.session.plan, measured)
    t.session.ledger_is_current = True
    before = the(t)
    t.type(Qt.Key.Key_B)
    assert float((the(t).platform - before.platform) @ before.towards_apex) == pytest.approx(moved)
    assert said in (t.session.undo_stack.undoText() if moved else t.desk.said[-1])


def root_row(mm, verdict):
    return row("root-35", mm, verdict, group="roots", limit="root")


@pytest.fixture
def set_to_the_edge(table, monkeypatch):
    """B was pressed where the palatal surface met its limit; it is measured anew as said."""

    def press(*rows, tried=None):
        t = ready(table)
        depths = [
            row(side, -0.42, None, kind="depth", group="information", limit=None,
                of="platform below bone", side=side)
            for side in ("buccal", "lingual")
        ]  # fmt: skip
        t.session.ledger = ledger(t.session.plan, [*depths, root_row(2.0, "meets limit")])
        t.session.ledger_is_current = t.session.ledger_is_whole = True
        monkeypatch.setattr(after_sink, "depth_that_meets", lambda *_, **__: tried)
        monkeypatch.setattr(t.session.basis, "at_hand", lambda *_: object())
        t.type(Qt.Key.Key_B)
        t.session.ledger = ledger(t.session.plan, rows)
        t.session.ledger_is_current = t.session.ledger_is_whole = True
        monkeypatch.setattr(t.session, "volume", object())
        t.session.ledger_changed.emit()
        monkeypatch.setattr(t.session, "volume", None)
        return t

    return press


def test_what_b_loses_is_said_at_once_with_the_depth_that_was_measured_to_meet_it(
    set_to_the_edge, qtbot
):
    there = root_row(1.6, "meets limit")
    t = set_to_the_edge(
        root_row(1.2, "below limit"),
        tried=DepthTried(by_mm=0.4, rows={there.id: there}),
    )
    assert "root of 35" in t.desk.said[-1].lower()
    assert "1.2 mm, limit 1.5, 0.3 mm short." in t.desk.said[-1]
    qtbot.waitUntil(lambda: "0.4 mm deeper it meets the limit: 1.6 mm there." in t.desk.said[-1])
    assert "0.3 mm short." in t.desk.said[-1], "beside what is short"


def test_where_the_platform_is_at_the_edge_already_what_is_short_is_said_as_well(
    table, monkeypatch, qtbot
):
    """Nothing moves, so nothing is measured anew, and nothing would have been said."""
    t = ready(table)
    depths = [
        row(side, 0.0, None, kind="depth", group="information", limit=None,
            of="platform below bone", side=side)
        for side in ("buccal", "lingual")
    ]  # fmt: skip
    there = row("lingual", 1.4, "meets limit", kind="wall", side="lingual", limit="wall-lingual")
    short = row("lingual", 0.2, "below limit", kind="wall", side="lingual", limit="wall-lingual")
    t.session.ledger = ledger(t.session.plan, [*depths, short])
    t.session.ledger_is_current = t.session.ledger_is_whole = True
    tried = DepthTried(by_mm=0.8, rows={there.id: there})
    monkeypatch.setattr(after_sink, "depth_that_meets", lambda *_, **__: tried)
    monkeypatch.setattr(t.session.basis, "at_hand", lambda *_: object())
    monkeypatch.setattr(t.session, "volume", object())
    t.type(Qt.Key.Key_B)
    monkeypatch.setattr(t.session, "volume", None)
    assert "mm short." in t.desk.said[-1]
    qtbot.waitUntil(lambda: "0.8 mm deeper it meets the limit" in t.desk.said[-1])


def test_where_no_depth_meets_it_that_is_said(set_to_the_edge, qtbot):
    t = set_to_the_edge(root_row(1.2, "below limit"))
    qtbot.waitUntil(lambda: "No depth within 2.0 mm" in t.desk.said[-1])


def test_what_b_leaves_met_is_no_word_worth(set_to_the_edge, qtbot):
    t = set_to_the_edge(root_row(1.9, "meets limit"))
    qtbot.wait(50)
    assert not any("At the bone" in said for said in t.desk.said)
    t.session.ledger = ledger(t.session.plan, [root_row(1.2, "below limit")])
    t.session.ledger_changed.emit()
    assert not any("At the bone" in said for said in t.desk.said), "it listens no more"
