"""A signature is taken back only when a person says so, never by one stroke too many."""

from dataclasses import replace

import pytest
from PySide6.QtWidgets import QWidget

from app.window.undoing import UndoAction, undo
from core.plans.history import sign, sign_off_state


@pytest.fixture
def signed(session):
    session.apply("a note", replace(session.plan, midline=(0.0, 0.5, 0.0)))
    session.apply("signed off", sign(session.plan, name="L. Example", role="dentist", at="now"))
    return session


def test_undo_of_a_signature_asks_and_turned_away_keeps_it(signed, desk):
    desk.answer = None
    undo(signed, desk)
    assert len(desk.asked) == 1
    assert sign_off_state(signed.plan) == "signed"
    desk.answer = "Take the signature back"
    undo(signed, desk)
    assert sign_off_state(signed.plan) == "not signed"


def test_other_steps_are_undone_at_once(signed, desk):
    desk.answer = "Take the signature back"
    undo(signed, desk)
    desk.asked.clear()
    undo(signed, desk)
    assert desk.asked == []
    assert signed.plan.midline[1] == 0.0


def test_the_entry_of_the_menu_asks_as_well_and_names_the_step(signed, desk, qtbot):
    window = QWidget()
    qtbot.addWidget(window)
    action = UndoAction(signed, desk, window)
    desk.answer = None
    action.trigger()
    assert len(desk.asked) == 1
    assert sign_off_state(signed.plan) == "signed"
    desk.answer = "Take the signature back"
    action.trigger()
    assert action.text() == "Undo a note"
    action.trigger()
    assert not action.isEnabled()
