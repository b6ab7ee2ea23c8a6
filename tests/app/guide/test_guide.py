"""The guided first case ticks facts of the program alone, and points at where they come about."""

from __future__ import annotations

from dataclasses import replace

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest

from app.guide.steps import STEPS, sample_plan
from tests.app.window.test_bench import bench, opened

__all__ = ["bench"]
LEFT = Qt.MouseButton.LeftButton


@pytest.fixture
def guided(bench, qtbot):
    opened(bench, qtbot)
    bench.opening.guided_case()
    guide = bench.work.guide
    assert guide.isVisible()
    yield guide
    guide.end()


def step(title):
    return next(n for n, s in enumerate(STEPS) if str(s.title) == title)


def test_each_step_says_in_a_short_sentence_what_to_do():
    for s in STEPS:
        assert 40 < len(str(s.words)) <= 130, s.title
        assert str(s.words).endswith("."), s.title
        assert s.target is not None or s.offer is not None, s.title


def test_nothing_is_ticked_until_its_fact_is_there(guided, bench, qtbot):
    guided.look()
    assert guided.ticked == set()
    assert guided.fact.text() == ""
    QTest.mouseClick(bench.work.proposed.for_lower, LEFT)
    guided.look()
    assert guided.ticked == {0}
    assert guided.fact.text() == "✓ done"
    assert not guided.pointer.isVisible(), "what is done is not pointed at"
    guided.go(step("Confirm the side"))
    bench.session.apply("anything", replace(bench.session.plan, interpreted_by="LM"))
    guided.look()
    assert guided.at not in guided.ticked


@pytest.mark.parametrize(("size", "least"), [((1366, 768), 400), ((1024, 680), 280)])
def test_with_guide_and_proposal_the_section_stays_the_largest_picture(
    guided, bench, qtbot, size, least
):
    bench.resize(*size)
    qtbot.wait(50)
    page = bench.work
    assert page.proposed.isVisible()
    section = page.pictures.section
    assert section.height() >= least
    assert (bench.width(), bench.height()) == size
    area = section.width() * section.height()
    others = [view for view in page.pictures.views if view is not section]
    assert all(2 * view.width() * view.height() < area for view in others)
    notice = page.proposed
    for button in (notice.for_lower, notice.for_upper, *notice.editing):
        assert button.width() >= button.fontMetrics().horizontalAdvance(button.text()) + 8
        corner = button.mapTo(bench, QPoint(button.width(), button.height()))
        assert bench.rect().contains(corner), button.text()
    assert notice.words.height() >= notice.words.heightForWidth(notice.words.width())
    before = section.height()
    QTest.mouseClick(notice.for_lower, LEFT)
    qtbot.wait(50)
    assert not notice.isVisible()
    assert section.height() == before, "no picture jumps when the notice goes"


@pytest.mark.parametrize("width", [1024, 1366])
def test_the_bar_is_of_one_height_at_every_step(guided, bench, qtbot, width):
    bench.resize(width, 768)
    qtbot.wait(50)
    guide = bench.work.guide
    heights = set()
    for number in range(len(STEPS)):
        guide.go(number)
        qtbot.wait(10)
        heights.add(guide.height())
        assert guide.words.height() >= guide.words.heightForWidth(guide.words.width())
    assert len(heights) == 1


def test_it_points_at_its_own_button_then_at_the_place(guided, bench, qtbot):
    QTest.mouseClick(bench.work.proposed.for_lower, LEFT)
    guided.go(step("Mark the canal"))
    assert framed(guided, bench) is guided.show_me, "the button that the sentence names"
    QTest.mouseClick(guided.show_me, LEFT)
    assert bench.hub.active.name == "canal"
    guided.look()
    assert framed(guided, bench) is bench.pictures.section
    bench.session.step(-40)
    guided.look()
    # Far from the canal it does not point into the section at all.
    assert framed(guided, bench) is bench.pictures.arch_map


def test_the_sentence_alone_marks_the_canal(guided, bench, qtbot):
    """Show me, then as many clicks on the ring as the sentence says, and not fewer."""
    QTest.mouseClick(bench.work.proposed.for_lower, LEFT)
    guided.go(step("Mark the canal"))
    QTest.mouseClick(guided.show_me, LEFT)
    section = bench.pictures.section
    for clicks in range(1, 9):
        qtbot.waitUntil(lambda: not bench.pictures.busy, timeout=20000)
        guided.look()
        assert framed(guided, bench) is section
        middle = section.mapFrom(bench.work, guided.pointer.geometry().center())
        QTest.mouseClick(section, LEFT, pos=middle)
        guided.look()
        assert (guided.at in guided.ticked) == (clicks == 8), clicks


def test_a_fixture_in_a_root_is_not_ticked(guided, bench, qtbot):
    """At the front end of the gap: the ledger says so, and the guide does not say done."""
    QTest.mouseClick(bench.work.proposed.for_lower, LEFT)
    guided.go(step("Place the fixture"))
    session = bench.session
    right = sample_plan().fixtures[0]
    aside = session.arch.frame(session.arch.station(right.platform)).travel
    for off, done in ((-7.0, False), (1.0, True)):
        moved = replace(right, platform=right.platform + off * aside)
        session.apply("dropped", replace(session.plan, fixtures=(moved,)))
        guided.look()
        assert (guided.at in guided.ticked) == done, off
    session.undo_stack.undo()
    guided.look()
    assert guided.at not in guided.ticked, "undone: no tick stays"


def test_a_fixture_for_the_wrong_side_is_not_ticked(guided, bench, qtbot):
    """Answered 46 on a left jaw: no limit is judged, the ledger says why, and no tick."""
    QTest.mouseClick(bench.work.proposed.for_lower, LEFT)
    guided.go(step("Place the fixture"))
    session = bench.session
    wrong = replace(sample_plan().fixtures[0], id="46", tooth="46")
    session.apply("dropped", replace(session.plan, fixtures=(wrong,)))
    qtbot.waitUntil(lambda: session.ledger_is_whole, timeout=60000)
    guided.look()
    assert guided.at not in guided.ticked
    assert {m.verdict for m in session.ledger.measurements if m.limit} == {"not assessed"}
    assert "does not fit its place" in session.side.against[0].message
    both = (wrong, replace(sample_plan().fixtures[0]))
    session.apply("another", replace(session.plan, fixtures=both))
    qtbot.waitUntil(lambda: session.ledger_is_whole, timeout=60000)
    assert {m.verdict for m in session.ledger.measurements if m.limit} == {"not assessed"}
    assert "may be swapped" in bench.work.panels["patient line"].side.text()
    assert "MAY BE SWAPPED" in bench.windowTitle()
    assert bench.pictures.section.warning


def framed(guide, bench):
    assert guide.pointer.isVisible()
    return bench.work.childAt(guide.pointer.geometry().center())


def test_the_samples_own_marks_are_put_in_by_name_and_taken_back(guided, bench, qtbot):
    QTest.mouseClick(bench.work.proposed.for_lower, LEFT)
    for title, ids in (
        ("Mark the canal", {"canal-left"}),
        ("Mark what else is near", {"foramen-left", "loop-left", "root-35", "root-37-mesial"}),
    ):
        guided.go(step(title))
        assert guided.at not in guided.ticked
        QTest.mouseClick(guided.offer, LEFT)
        assert guided.at in guided.ticked
        assert {s.id for s in bench.session.plan.structures} >= ids
        assert "sample marks loaded" in bench.session.plan.history[-1]["what"]
    bench.session.undo_stack.undo()
    assert [s.id for s in bench.session.plan.structures] == ["canal-left"]


def test_it_can_be_left_and_goes_with_the_sample(guided, bench, qtbot):
    with qtbot.waitSignal(guided.left):
        QTest.mouseClick(guided.leave, LEFT)
    assert guided.isHidden()
    assert not guided.pointer.isVisible()
    bench.opening.guided_case()
    assert guided.isVisible()
    bench.close_case()
    assert guided.isHidden()


def test_another_open_case_is_only_closed_where_a_person_says_so(bench, qtbot, monkeypatch):
    opened(bench, qtbot)
    bench.session.source = "somewhere else"
    asked = []
    monkeypatch.setattr(bench, "choose", lambda *words: asked.append(words))
    bench.opening.guided_case()
    assert len(asked) == 1
    assert bench.work.guide.isHidden()
    assert bench.session.volume is not None
