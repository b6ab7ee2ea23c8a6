"""The stent axis by one click on its filling, and what stands where none is found."""

import numpy as np
import pytest
from PySide6.QtCore import Qt

from app.tools.stent import BY_HAND, StentAxisTool
from core.geometry import angle_deg
from core.plans import edit_marks
from core.plans.marks import mark_at
from tests.app.tools.table import STATION
from tests.core.bright_phantoms import block, rod

FILLING = 1900.0


def with_stent(t, *, filled=True):
    """A scan around the place looked at, with a leaning filling in it."""
    frame = t.session.arch.frame(STATION)
    middle = frame.origin + 6.0 * frame.up
    way = frame.up + 0.15 * frame.buccal
    ends = middle + np.outer([4.0, -4.0], way / np.linalg.norm(way))
    parts = [(rod(ends[0] - middle, ends[1] - middle, 3.0), FILLING)] if filled else []
    scan = block(parts, size_mm=(24.0, 24.0, 24.0))
    shifted = np.array(scan.mm_from_ijk)
    shifted[:3, 3] += middle
    t.session.volume = type(scan)(
        voxels=scan.voxels, mm_from_ijk=shifted, slope=scan.slope, intercept=scan.intercept,
        made_up=scan.made_up,
    )  # fmt: skip
    return middle, ends


@pytest.fixture
def t(table):
    made = table(StentAxisTool, jaw="lower")
    # Nothing is measured here: only the tool looks at the scan.
    made.session._measure = lambda: None
    yield made
    made.session.volume = None


def test_one_click_finds_it_with_its_own_doubt(t, qtbot):
    assert t.session.guide.known_jaw == "lower"
    middle, ends = with_stent(t)
    assert "Click the stent’s radiopaque filling" in t.tool.hint()
    t.click_on(t.section, middle + np.array([0.3, 0.2, 0.4]))
    qtbot.waitUntil(lambda: bool(t.plan.stent_axes), timeout=20_000)
    (axis,) = t.plan.stent_axes
    assert axis.found
    assert axis.occlusal == pytest.approx(ends[0], abs=0.15)
    assert axis.gingival == pytest.approx(ends[1], abs=0.15)
    assert angle_deg(axis.gingival - axis.occlusal, ends[1] - ends[0]) < 0.5
    assert axis.diameter_mm == pytest.approx(3.0, abs=0.3)
    said = t.desk.said[-1]
    assert "found" in said
    assert "SD" in said
    assert t.session.selected == axis.id
    # An end that is moved by hand is a hand's again.
    mark = mark_at(t.plan, ("stent axis", axis.id, "gingival"))
    moved = edit_marks.with_mark_moved(t.plan, mark, mark.point_mm + np.array([0.5, 0, 0]))
    assert not moved.stent_axes[0].found
    t.session.undo_stack.undo()
    assert t.plan.stent_axes == ()


def test_no_filling_is_told_and_the_ends_are_set_by_hand(t, qtbot):
    middle, _ = with_stent(t, filled=False)
    t.desk.answers = [str(BY_HAND)]
    t.click_on(t.section, middle)
    qtbot.waitUntil(lambda: bool(t.desk.asked), timeout=20_000)
    assert "Nothing bright and closed" in t.desk.asked[0]
    assert t.plan.stent_axes == ()
    qtbot.waitUntil(lambda: t.tool.by_hand)
    t.click(t.section, 0.0, 12.0)
    t.click(t.section, 1.0, 4.0)
    (axis,) = t.plan.stent_axes
    assert not axis.found
    assert "by hand" in t.desk.said[-1]


def test_turning_away_leaves_everything_as_it_was(t, qtbot):
    middle, _ = with_stent(t, filled=False)
    t.desk.answers = [None]
    t.click_on(t.section, middle)
    qtbot.waitUntil(lambda: bool(t.desk.asked), timeout=20_000)
    assert not t.tool.by_hand
    assert t.plan.stent_axes == ()


def test_h_changes_between_finding_and_setting(t):
    with_stent(t)
    t.type(Qt.Key.Key_H)
    assert t.tool.by_hand
    t.click(t.section, 0.0, 12.0)
    assert len(t.tool.collected) == 1
    t.type(Qt.Key.Key_H)
    assert not t.tool.by_hand
    assert t.tool.collected == []
