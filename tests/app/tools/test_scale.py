"""Scale objects by clicks and a typed true distance; a chain of them; what the scan shows."""

import numpy as np
import pytest
from PySide6.QtCore import Qt

from app.tools.scale import ScaleObject
from core.plans.plan_dump import document_of
from core.plans.plan_parse import parse
from core.structures import KnownObject
from tests.app.tools.table import STATION
from tests.core.bright_phantoms import ball, block


@pytest.fixture
def t(table):
    made = table(ScaleObject)
    made.session._measure = lambda: None
    yield made
    made.session.volume = None


def test_two_clicks_and_a_distance_make_a_pair(t):
    t.desk.answers = ["12,5 mm"]
    first, second = t.click(t.section, -6.0, 4.0), t.click(t.section, 6.0, 4.0)
    (known,) = t.plan.structures
    assert isinstance(known, KnownObject)
    assert known.points == pytest.approx(np.stack([first, second]))
    assert known.size_mm == 12.5
    assert "centres" in t.desk.asked[0]
    again = parse(document_of(t.plan))
    assert again.structures[0].size_mm == 12.5
    t.tool.give_up()
    assert t.undo_all() == t.start


def test_further_objects_are_measured_from_the_last(t):
    t.desk.answers = ["12", "8"]
    t.click(t.section, -6.0, 4.0)
    second = t.click(t.section, 6.0, 4.0)
    assert "next object" in t.tool.hint()
    third = t.click(t.section, 6.0, -4.0)
    assert [s.size_mm for s in t.plan.structures] == [12.0, 8.0]
    assert t.plan.structures[1].points == pytest.approx(np.stack([second, third]))
    assert len({s.id for s in t.plan.structures}) == 2
    t.type(Qt.Key.Key_Escape)
    assert t.tool.collected == []
    assert "next object" not in t.tool.hint()


@pytest.mark.parametrize("answer", [None, "", "far", "-3", "0"])
def test_without_a_distance_there_is_no_pair(t, answer):
    t.desk.answers = [answer]
    t.click(t.section, -6.0, 4.0)
    t.click(t.section, 6.0, 4.0)
    assert t.plan.structures == ()
    assert t.tool.collected == []
    if answer is not None:
        assert "above 0" in t.desk.said[-1]


@pytest.mark.parametrize(("true_mm", "words"), [(12.0, "agrees"), (12.6, "THE SCAN SHOWS")])
def test_what_the_scan_shows_is_said_at_once(t, qtbot, true_mm, words):
    frame = t.session.arch.frame(STATION)
    ends = frame.origin + np.outer([-6.0, 6.0], frame.buccal) + 4.0 * frame.up
    middle = ends.mean(axis=0)
    scan = block([(ball(e - middle, 3.0), 2500.0) for e in ends], size_mm=(26.0, 26.0, 20.0))
    shifted = np.array(scan.mm_from_ijk)
    shifted[:3, 3] += middle
    t.session.volume = type(scan)(
        voxels=scan.voxels, mm_from_ijk=shifted, slope=scan.slope, intercept=scan.intercept,
        made_up=scan.made_up,
    )  # fmt: skip
    t.desk.answers = [f"{true_mm:g}"]
    for end in ends:
        t.click_on(t.section, end)
    qtbot.waitUntil(lambda: any(words in said for said in t.desk.said), timeout=20_000)


def test_pairs_are_drawn_with_their_true_distance(t):
    t.desk.answers = ["12"]
    t.click(t.section, -6.0, 4.0)
    t.click(t.section, 6.0, 4.0)
    draft = t.tool.draft(t.section)
    assert any(label.text == "12.0 mm" for label in draft.labels)
    assert any(line.style == "witness" for line in draft.lines)
    assert t.tool.draft(t.neighbour).labels == ()
