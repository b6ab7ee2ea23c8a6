"""A step along the arch: what hangs on the place follows, and nothing else is read again."""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtWidgets import QWidget

from app.panels.fixture import FixturePanel
from app.panels.patient_line import PatientLine
from app.pictures.dial import Dial


def test_the_tooth_of_the_bar_is_that_of_the_place(qtbot, session, desk):
    bar = PatientLine(session, desk)
    qtbot.addWidget(bar)
    assert bar.tooth.text().startswith("36")
    session.go_to(station_mm=5.0, across=True)
    assert bar.tooth.text() == "no tooth named here"
    session.go_to(station_mm=session.arch.station(session.fixture.platform), across=True)
    assert bar.tooth.text().startswith("36")


def test_the_boxes_follow_the_chosen_fixture_and_stay_along_the_arch(qtbot, session, desk):
    other = replace(session.fixture, id="35", tooth="35")
    session.apply("another", replace(session.plan, fixtures=(*session.plan.fixtures, other)))
    panel = FixturePanel(session, desk)
    qtbot.addWidget(panel)
    session.go_to(selected="36")
    read = []
    show = panel.boxes["height"].show_value
    panel.boxes["height"].show_value = lambda value: (read.append(value), show(value))
    session.step(1)
    session.step(1)
    assert read == []
    session.go_to(selected="35")
    assert len(read) == 1
    assert panel.choice.currentData() == "35"


def test_the_dial_is_drawn_anew_when_the_plane_turns(qtbot, session):
    picture = QWidget()
    qtbot.addWidget(picture)
    picture.resize(400, 300)
    dial = Dial(session, picture)
    session.go_to(across=True)
    across = dial.grab().toImage()
    session.go_to(turn_deg=40.0)
    turned = dial.grab().toImage()
    session.go_to(turn_deg=75.0)
    assert turned != across
    assert dial.grab().toImage() != turned
    session.go_to(across=True)
    assert dial.grab().toImage() == across
