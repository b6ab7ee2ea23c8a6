"""The nearest edge is offered to a gum, contact or crest mark, and taken by Enter alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import Qt
from scipy.special import ndtr

from app.tools.point_marks import Contact, CrestMark, Cusp, Gum
from core.fixture import Fixture, FixtureSize
from core.image.volume import Volume
from core.structures import Tapered
from tests.app.tools.table import STATION

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


@pytest.fixture
def led(table):
    """Led to the contacts of a planned 36 that stands before the section; 37 is marked."""

    def make(*roots, has_edges=True):
        made = table(Contact, jaw="lower")
        made.session._measure = lambda: None
        point = made.section.point_mm(0.0, 2.0)
        up = made.section.point_mm(0.0, 3.0) - point
        over_mm = 0.7 if has_edges else 4.0
        made.session.volume = scan_around(point, up / np.linalg.norm(up), over_mm=over_mm)
        place = made.session.arch.frame(STATION - 5.0).origin
        fixture = Fixture(
            id="36", tooth="36", platform=place, towards_apex=(0, 0, -1),
            size=FixtureSize(diameter_mm=4.0, length_mm=8.0),
        )  # fmt: skip
        marked = tuple(
            Tapered(id=f"root-{tooth}", kind="root", tooth=tooth, diameters_mm=(5, 2),
                    points=np.add(place, [[0, 0, 0], [0, 0, -9.0]]))
            for tooth in roots
        )  # fmt: skip
        made.session.plan = replace(made.plan, fixtures=(fixture,), structures=marked)
        made.tool.wanted = "contacts"
        return made

    return make


def test_led_to_a_contact_nobody_asks_whose_it_is_and_enter_leads_on(led, qtbot):
    t = led("37")
    assert "goes on without them" in t.tool.hint()
    point = t.click(t.section, 0.0, 2.0)
    qtbot.waitUntil(lambda: t.tool.edge is not None)
    assert t.desk.asked == []
    assert t.plan.structures[-1].tooth == "37"
    assert not t.desk.led_on, "an edge is offered"
    t.type(Qt.Key.Key_Return)
    assert np.linalg.norm(t.plan.structures[-1].points[0] - point) == pytest.approx(0.7, abs=0.06)
    assert t.desk.led_on


def test_one_enter_moves_both_contacts_onto_their_edges(led, qtbot):
    t = led("37")
    points = []
    for count, u in enumerate((0.0, 2.0), start=1):
        points.append(t.click(t.section, u, 2.0))
        qtbot.waitUntil(lambda count=count: len(t.tool.draft(t.section).lines) == count)
    t.type(Qt.Key.Key_Return)
    moved = [s.points[0] for s in t.plan.structures[-2:]]
    assert np.linalg.norm(np.subtract(moved, points), axis=1) == pytest.approx(0.7, abs=0.06)
    t.session.undo_stack.undo()
    back = np.stack([s.points[0] for s in t.plan.structures[-2:]])
    assert back == pytest.approx(np.stack(points)), "one step"


def test_led_on_at_once_where_no_edge_is_near_and_by_escape_where_one_is(led, qtbot):
    t = led("37", has_edges=False)
    t.click(t.section, 0.0, 2.0)
    qtbot.waitUntil(lambda: t.desk.led_on)
    t = led("37")
    t.click(t.section, 0.0, 2.0)
    qtbot.waitUntil(lambda: t.tool.edge is not None)
    t.type(Qt.Key.Key_Escape)
    assert t.desk.led_on


def test_nobody_is_led_on_before_the_other_neighbour(led, qtbot):
    t = led("35", "37")
    t.click(t.section, 0.0, 2.0)
    qtbot.waitUntil(lambda: t.tool.edge is not None)
    t.type(Qt.Key.Key_Return)
    assert t.plan.structures[-1].tooth == "37"
    assert not t.desk.led_on


def test_another_tool_meanwhile_leads_nowhere(led, qtbot):
    t = led("37")
    t.click(t.section, 0.0, 2.0)
    qtbot.waitUntil(lambda: t.tool.edge is not None)
    t.tool.stop()
    assert not t.desk.led_on
