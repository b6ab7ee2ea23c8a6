"""Pointing at the three tissues by real clicks."""

import numpy as np
import pytest
from PySide6.QtCore import Qt

from app.tools.tissues import PointAtTissues
from core.image.volume import Volume

PLACES = ((12.0, -5.0), (4.0, -14.0), (0.0, -6.0))


def test_three_clicks_in_turn_each_with_its_question(table):
    t = table(PointAtTissues)
    clicked = []
    for place, asked in zip(PLACES, ("soft tissue", "cortical bone", "marrow"), strict=True):
        assert asked in t.tool.hint()
        assert t.plan.tissue_points == ()
        clicked.append(t.click(t.section, *place))
    found = t.plan.tissue_points
    assert [p.tissue for p in found] == ["soft tissue", "cortex", "marrow"]
    for point, place in zip(found, clicked, strict=True):
        assert point.at == pytest.approx(place)
    assert t.undo_all() == t.start


def test_escape_drops_what_was_begun_and_a_right_click_takes_one_back(table):
    t = table(PointAtTissues)
    t.click(t.section, *PLACES[0])
    t.type(Qt.Key.Key_Escape)
    assert "soft tissue" in t.tool.hint()
    t.click(t.section, *PLACES[0])
    t.click(t.section, 0.0, 0.0)
    t.click(t.section, 0.0, 0.0, Qt.MouseButton.RightButton)
    for place in PLACES[1:]:
        t.click(t.section, *place)
    assert len(t.plan.tissue_points) == 3
    assert t.plan.tissue_points[1].at == pytest.approx(t.point(t.section, *PLACES[1]), abs=0.1)


def test_a_new_round_replaces_a_place_is_dragged_and_delete_drops_all(table):
    t = table(PointAtTissues)
    for place in PLACES:
        t.click(t.section, *place)
    before = t.plan.tissue_points
    for u, v in PLACES:
        t.click(t.section, u - 3.0, v)
    assert len(t.plan.tissue_points) == 3
    assert not np.allclose(t.plan.tissue_points[0].at, before[0].at)
    place = t.plan.tissue_points[1].at
    way = t.drag(t.section, place, (11, 6))
    assert t.plan.tissue_points[1].at == pytest.approx(place + way)
    t.type(Qt.Key.Key_Delete)
    assert t.plan.tissue_points == ()
    assert t.undo_all() == t.start


def test_a_place_outside_the_scan_is_not_taken(table):
    t = table(PointAtTissues)
    middle = t.point(t.section, *PLACES[0])
    matrix = np.eye(4)
    matrix[:3, 3] = middle - 3.0
    t.session.volume = Volume(
        voxels=np.zeros((7, 7, 7), np.int16), mm_from_ijk=matrix, made_up=np.zeros(7, bool)
    )
    t.click(t.section, *PLACES[0])
    assert "cortical bone" in t.tool.hint()
    t.click(t.section, PLACES[0][0] - 9.0, PLACES[0][1])
    assert "not placed there" in t.desk.said[-1]
    assert "cortical bone" in t.tool.hint()
