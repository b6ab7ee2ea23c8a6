"""Ruler, angle and ridge by real clicks."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import Qt

from app.tools.rulers import AngleTool, Ridge, RulerTool


def test_a_ruler_by_two_clicks(table):
    t = table(RulerTool)
    ends = [t.click(t.section, -3.0, 0.0), t.click(t.section, 4.0, 0.0)]
    (ruler,) = t.plan.rulers
    assert ruler.points == pytest.approx(np.stack(ends))
    assert t.desk.said[-1] == "ruler 1: 7.0 mm"
    way = t.drag(t.section, ends[1], (10, 0))
    assert t.plan.rulers[0].points[1] == pytest.approx(ends[1] + way)
    t.desk.answers = ["width of the gap"]
    t.type(Qt.Key.Key_F2)
    assert t.plan.rulers[0].label == "width of the gap"
    assert t.undo_all() == t.start


def test_a_ruler_may_end_on_another_ones_end(table):
    t = table(RulerTool)
    t.click(t.section, -3.0, 0.0)
    shared = t.click(t.section, 4.0, 0.0)
    t.click(t.section, 0.0, 6.0)
    t.click(t.section, 4.0, 0.0)
    assert len(t.plan.rulers) == 2
    assert t.plan.rulers[1].points[1] == pytest.approx(shared)


def test_escape_and_right_click_leave_no_half_ruler(table):
    t = table(RulerTool)
    t.click(t.section, -3.0, 0.0)
    t.type(Qt.Key.Key_Escape)
    t.click(t.section, 1.0, 0.0)
    t.click(t.section, 1.0, 0.0, Qt.MouseButton.RightButton)
    first, second = t.click(t.section, 0.0, 0.0), t.click(t.section, 0.0, 5.0)
    (ruler,) = t.plan.rulers
    assert ruler.points == pytest.approx(np.stack([first, second]))


def test_a_ruler_between_two_sections_is_measured_in_space(table):
    t = table(RulerTool)
    first = t.click(t.section, 0.0, 0.0)
    t.session.go_to(station_mm=t.session.station_mm + 4)
    second = t.click(t.section, 0.0, 0.0)
    value = float(t.desk.said[-1].split()[-2])
    assert value == pytest.approx(np.linalg.norm(second - first), abs=0.1)
    assert value > 3.5


def test_an_angle_by_three_clicks(table):
    t = table(AngleTool)
    for u, v in ((8.0, 0.0), (0.0, 0.0), (0.0, 6.0)):
        t.click(t.section, u, v)
    assert t.desk.said[-1] == "angle 1: 90.0°"
    assert t.plan.angles[0].points.shape == (3, 3)
    t.type(Qt.Key.Key_Delete)
    assert t.plan.angles == ()
    assert t.undo_all() == t.start


def test_an_angle_without_arms_is_not_made(table):
    t = table(AngleTool)
    for _ in range(3):
        t.click(t.section, 2.0, 2.0)
    assert t.plan.angles == ()
    assert "three different places" in t.desk.said[-1]


def test_two_clicks_on_the_ridge_make_a_site(table):
    t = table(Ridge)
    station = t.session.station_mm
    t.click(t.section, 4.0, -4.0)
    t.desk.answers = ["36"]
    t.click(t.section, -4.0, -4.0)
    (site,) = t.plan.sites
    assert (site.id, site.tooth) == ("36", "36")
    assert site.station_mm == pytest.approx(station)
    assert t.session.selected == "36"
    assert t.undo_all() == t.start


def test_a_site_without_a_tooth_and_one_turned_away(table):
    t = table(Ridge)
    t.desk.answers = [""]
    t.click(t.neighbour, 4.0, -4.0)
    t.click(t.neighbour, -4.0, -4.0)
    (site,) = t.plan.sites
    assert (site.id, site.tooth) == ("site-1", "")
    assert site.station_mm == pytest.approx(69.0)
    t.desk.answers = [None]
    t.click(t.section, 4.0, -4.0)
    t.click(t.section, -4.0, -4.0)
    assert len(t.plan.sites) == 1


def test_without_an_arch_there_is_no_site(table):
    t = table(Ridge, arch_points=None)
    t.click(t.section, 4.0, -4.0)
    t.click(t.section, -4.0, -4.0)
    assert t.plan.sites == ()
    assert "no arch" in t.desk.said[-1]


def test_a_ruler_without_a_mouse(table):
    t = table(RulerTool)
    ctrl = Qt.KeyboardModifier.ControlModifier
    t.type(Qt.Key.Key_C)
    t.type(Qt.Key.Key_Space)
    for _ in range(10):
        t.type(Qt.Key.Key_Up, ctrl)
    t.type(Qt.Key.Key_Space)
    (ruler,) = t.plan.rulers
    assert np.linalg.norm(ruler.points[1] - ruler.points[0]) == pytest.approx(5.0)
