"""The guided case ticks facts of the program alone."""

from dataclasses import replace

from app.guide import STEPS, GuidePanel
from core.fixture import FixtureSize


def test_facts_tick_and_judgements_never_do(qtbot, session, desk):
    panel = GuidePanel(session, desk)
    qtbot.addWidget(panel)
    assert panel.fact.text() == "waiting for it, or press Next"
    session.go_to(station_mm=session.station_mm + 5.0)
    assert 0 in panel.ticked
    assert panel.fact.text() == "✓ done"
    judged = next(n for n, step in enumerate(STEPS) if step.done is None)
    panel.go(judged)
    session.apply("anything", session.plan)
    session.go_to(station_mm=session.station_mm - 9.0)
    assert judged not in panel.ticked


def test_moving_resizing_and_undoing_are_seen(qtbot, session, desk):
    panel = GuidePanel(session, desk)
    qtbot.addWidget(panel)
    by_title = {step.title: n for n, step in enumerate(STEPS)}
    panel.go(by_title["Try another size"])
    fixture = replace(session.plan.fixtures[0], size=FixtureSize(diameter_mm=5.0, length_mm=8.0))
    session.apply("resized", replace(session.plan, fixtures=(fixture,)))
    assert panel.at in panel.ticked
    panel.go(by_title["Take it back"])
    assert panel.at not in panel.ticked
    session.undo_stack.undo()
    assert panel.at in panel.ticked


def test_it_can_be_left_at_any_step(qtbot, session, desk):
    panel = GuidePanel(session, desk)
    qtbot.addWidget(panel)
    with qtbot.waitSignal(panel.left):
        panel.leave.click()
    panel.go(len(STEPS) - 1)
    with qtbot.waitSignal(panel.left):
        panel.next.click()
