"""Jaw plane, arch and midline by real clicks and keys."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import Qt

from app.tools.jaw import ArchTool, JawPlane, Midline
from core.geometry import angle_deg
from core.level import Level
from core.proposing.proposal import Proposal
from core.structures import StentAxis, Tapered
from tests.app.tools.table import ARCH_POINTS, LEVEL

RIGHT = Qt.MouseButton.RightButton


def test_jaw_plane_by_three_clicks_in_different_sections(table):
    t = table(JawPlane, jaw="lower")
    places = []
    for station, v in ((20.0, 1.0), (45.0, 0.0), (70.0, 3.0)):
        t.session.go_to(station_mm=station)
        places.append(t.click(t.section, 0.0, v))
    expected = Level.through(places)
    assert angle_deg(t.plan.level.up, expected.up) < 1e-9
    assert t.plan.level.origin == pytest.approx(expected.origin)
    tilt = angle_deg(expected.up, (0, 0, 1))
    assert f"tilted {tilt:.1f}°" in t.desk.said[-1]
    assert t.undo_all() == t.start


def test_three_points_on_one_line_are_refused_and_nothing_changes(table):
    t = table(JawPlane, jaw="lower")
    for v in (-6.0, 0.0, 6.0):
        t.click(t.section, 0.0, v)
    assert t.desk.errors[-1].code == "level-points-in-line"
    assert t.now() == t.start


def test_which_jaw_is_asked_once_and_may_be_turned_away(table):
    t = table(JawPlane)
    t.desk.answers = [None]
    for station in (20.0, 45.0, 70.0):
        t.session.go_to(station_mm=station)
        t.click(t.section, 0.0, 1.0)
    assert t.now() == t.start
    t.desk.answers = ["Upper jaw"]
    for station in (20.0, 45.0, 70.0):
        t.session.go_to(station_mm=station)
        t.click(t.section, 0.0, 1.0)
    assert t.plan.jaw == "upper"
    assert len(t.desk.asked) == 2


def test_jaw_plane_from_stent_axis_and_roots(table):
    stent = StentAxis(id="stent-axis-1", occlusal=(20, 14, 8), gingival=(20, 15, 2))
    root = Tapered(
        id="root-35", kind="root", tooth="35", points=[(18, 9, 0), (19, 9, -12)],
        diameters_mm=(6, 3),
    )  # fmt: skip
    t = table(JawPlane, jaw="lower", stent_axes=(stent,), structures=(root,))
    t.type(Qt.Key.Key_S)
    assert angle_deg(t.plan.level.up, (0, -1, 6)) < 1e-6
    t.type(Qt.Key.Key_T)
    assert angle_deg(t.plan.level.up, (-1, 0, 12)) < 1e-6
    assert t.undo_all() == t.start


def test_without_axes_it_says_what_is_missing(table):
    t = table(JawPlane, jaw="lower")
    t.type(Qt.Key.Key_S)
    assert "no stent axis" in t.desk.said[-1]
    t.type(Qt.Key.Key_T)
    assert "no roots" in t.desk.said[-1]
    assert t.now() == t.start


def test_a_proposed_plane_is_taken_over_by_a_person_only(table):
    t = table(JawPlane, level=None, jaw="lower")
    t.session.proposal = Proposal(level=LEVEL, arch_points=ARCH_POINTS, plane_from="teeth")
    assert t.plan.level is None
    t.type(Qt.Key.Key_Return)
    assert t.plan.level is LEVEL
    assert "confirmed as suggested" in t.session.undo_stack.undoText()


def test_a_plane_that_is_only_the_scanner_s_level_is_not_taken_over(table):
    t = table(JawPlane, level=None, jaw="lower")
    t.session.proposal = Proposal(level=LEVEL, arch_points=ARCH_POINTS)
    assert "only the scanner’s horizontal" in t.tool.hint()
    t.type(Qt.Key.Key_Return)
    assert t.plan.level is None
    assert "only the scanner’s horizontal" in t.desk.said[-1]


def test_arch_click_adds_where_it_lies_drag_moves_delete_removes(table):
    t = table(ArchTool)
    point = t.map.point_mm(9.0, 13.5)
    t.click_on(t.map, point)
    assert len(t.plan.arch_points) == 6
    assert t.plan.arch_points[3] == pytest.approx(point, abs=0.11)
    way = t.drag(t.map, t.plan.arch_points[3], (10, 8))
    assert t.plan.arch_points[3] == pytest.approx(point + way, abs=0.11)
    assert np.allclose(np.delete(t.plan.arch_points, 3, axis=0), ARCH_POINTS)
    assert t.session.arch.curve.points_mm.shape == (6, 3)
    t.type(Qt.Key.Key_Delete)
    assert np.allclose(t.plan.arch_points, ARCH_POINTS)
    assert t.undo_all() == t.start


def test_arch_follows_while_it_is_dragged_and_escape_puts_it_back(table):
    t = table(ArchTool)
    seen = []
    t.session.plan_previewed.connect(lambda: seen.append(t.session.arch.length_mm))
    before = t.session.arch.length_mm
    t.drag(t.map, t.plan.arch_points[4], (20, 10), release=False)
    assert seen
    assert seen[-1] != pytest.approx(before)
    t.type(Qt.Key.Key_Escape, view=t.map)
    assert t.session.arch.length_mm == pytest.approx(before)
    assert t.now() == t.start


def test_a_new_arch_needs_two_points_and_right_click_forgets_the_first(table):
    t = table(ArchTool, arch_points=None)
    t.click(t.map, -10.0, 5.0)
    assert t.now() == t.start
    t.click(t.map, 0.0, 0.0, RIGHT)
    first, second = t.click(t.map, -20.0, 0.0), t.click(t.map, 0.0, 14.0)
    assert t.plan.arch_points == pytest.approx(np.stack([first, second]))
    assert t.undo_all() == t.start


@pytest.mark.parametrize("by", ["drag", "enter", "click"])
def test_a_proposed_arch_becomes_the_persons_own_by_an_edit(table, by):
    t = table(ArchTool, arch_points=None)
    t.session.proposal = Proposal(level=LEVEL, arch_points=ARCH_POINTS, plane_from="teeth")
    assert len(t.tool.draft(t.map).handles) == 5
    if by == "drag":
        t.drag(t.map, np.array(ARCH_POINTS[4], float), (10, 0))
        expected = 5
    elif by == "enter":
        t.type(Qt.Key.Key_Return)
        expected = 5
    else:
        t.click(t.map, 9.0, 13.5)
        expected = 6
    assert len(t.plan.arch_points) == expected
    assert np.allclose(t.plan.arch_points[:3], ARCH_POINTS[:3])
    assert t.session.undo_stack.count() == 1
    assert t.undo_all() == t.start


def test_the_arch_is_traced_on_the_map_only(table):
    t = table(ArchTool)
    t.click(t.section, 0.0, 10.0)
    assert t.now() == t.start


def test_a_locked_arch_stays(table):
    t = table(ArchTool)
    t.session.plan = replace(t.plan, locked=("arch",))
    t.drag(t.map, t.plan.arch_points[1], (10, 0))
    t.click(t.map, 9.0, 13.5)
    assert np.allclose(t.plan.arch_points, ARCH_POINTS)
    assert t.desk.errors[-1].code == "edit-locked"


@pytest.mark.parametrize("where", ["map", "section", "panorama"])
def test_midline(table, where):
    t = table(Midline)
    point = t.click(getattr(t, where), 1.0, 2.0)
    assert t.plan.midline == pytest.approx(point)
    way = t.drag(getattr(t, where), point, (10, 10))
    assert t.plan.midline == pytest.approx(point + way, abs=0.05)
    t.type(Qt.Key.Key_Delete, view=getattr(t, where))
    assert t.plan.midline is None
    assert t.undo_all() == t.start
