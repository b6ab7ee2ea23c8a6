"""The nearest edge is offered to a gum, contact or crest mark, and taken by Enter alone."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import Qt
from scipy.special import ndtr

from app.tools.point_marks import Contact, CrestMark, Cusp, Gum
from core.image.volume import Volume

VOXEL = 0.3


def scan_around(point, up, *, over_mm):
    """Soft tissue under air whose surface lies so far over a place."""
    n = 41
    k, j, i = np.indices((n, n, n))
    at = np.stack([i, j, k], axis=-1) * VOXEL + (point - 20 * VOXEL)
    off = (at - point) @ up - over_mm
    grey = 50.0 - 1050.0 * ndtr(off / 0.25)
    affine = np.diag([VOXEL, VOXEL, VOXEL, 1.0])
    affine[:3, 3] = point - 20 * VOXEL
    return Volume(
        voxels=np.rint(grey).astype(np.int16), mm_from_ijk=affine, made_up=np.zeros(n, bool)
    )


@pytest.fixture
def t(table, request):
    made = table(request.param, jaw="lower")
    made.session._measure = lambda: None
    point = made.section.point_mm(0.0, 2.0)
    up = made.section.point_mm(0.0, 3.0) - point
    made.up = up / np.linalg.norm(up)
    made.session.volume = scan_around(point, made.up, over_mm=0.7)
    made.desk.answers = ["36", "36"]
    yield made
    made.tool.stop()
    made.session.volume = None


each = pytest.mark.parametrize("t", [Gum, Contact, CrestMark], indirect=True)


def placed(t, qtbot):
    point = t.click(t.section, 0.0, 2.0)
    qtbot.waitUntil(lambda: t.tool.edge is not None)
    return point


@each
def test_the_mark_stays_where_it_was_clicked_until_enter(t, qtbot):
    point = placed(t, qtbot)
    assert t.plan.structures[-1].points[0] == pytest.approx(point)
    assert "an edge lies 0.7 mm away" in t.desk.said[-1]
    (line,) = t.tool.draft(t.section).lines
    assert line.style == "proposed"
    t.type(Qt.Key.Key_Return)
    moved = t.plan.structures[-1].points[0]
    assert (moved - point) @ t.up == pytest.approx(0.7, abs=0.06)
    assert t.tool.edge is None
    t.session.undo_stack.undo()
    assert t.plan.structures[-1].points[0] == pytest.approx(point), "one step"
    t.session.undo_stack.undo()
    assert t.now() == t.start


@each
def test_escape_leaves_it_and_a_further_click_asks_for_its_own(t, qtbot):
    point = placed(t, qtbot)
    t.type(Qt.Key.Key_Escape)
    assert t.tool.edge is None
    t.type(Qt.Key.Key_Return)
    assert t.plan.structures[-1].points[0] == pytest.approx(point)


@pytest.mark.parametrize("t", [Gum], indirect=True)
def test_a_mark_that_was_moved_or_undone_meanwhile_is_left_alone(t, qtbot):
    placed(t, qtbot)
    t.session.undo_stack.undo()
    t.type(Qt.Key.Key_Return)
    assert t.now() == t.start
    assert t.tool.draft(t.section).lines == ()


@pytest.mark.parametrize("t", [Gum], indirect=True)
def test_where_no_edge_is_near_nothing_is_offered(t, qtbot):
    t.click(t.section, 0.0, -1.0)
    qtbot.wait(300)
    assert t.tool.edge is None
    assert not any("an edge lies" in said for said in t.desk.said)


@pytest.mark.parametrize("t", [Cusp], indirect=True)
def test_a_cusp_is_a_tip_and_gets_no_offer(t, qtbot):
    t.click(t.section, 0.0, 2.0)
    qtbot.wait(300)
    assert t.tool.edge is None
