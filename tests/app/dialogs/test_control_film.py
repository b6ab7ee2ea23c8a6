"""A control film in the bench: typed, compared with the plan, kept without the patient."""

from dataclasses import replace

import pytest

pytest.importorskip("PySide6")

from PySide6.QtCore import Qt
from PySide6.QtTest import QTest

from app.case.settings import settings_of
from app.case.settings_table import to_text
from app.dialogs.control_film import ask_control_film
from core.measurement import Measurement, Reading
from core.measuring.control_film import CANAL, NEIGHBOUR, FilmResult
from tests.app.case_at_hand import QuietSession
from tests.details import details_of
from tests.sheet_material import IDENTITY, fixture_at, ledger_of, plan_with, round_jaw


@pytest.fixture
def session(qapp):
    case = QuietSession()
    plan = plan_with(fixture_at(20.0, "36"))
    case.open(round_jaw(voxel_mm=2.0), plan, source="folder", window=(0.0, 1000.0))
    entry = Measurement(
        id="36/entry/mesial", group="information", fixture="36", kind="entry",
        reading=Reading(value=5.5),
        details=details_of("entry", {"of": "from the mesial neighbour's facing surface"}),
    )  # fmt: skip
    ledger = ledger_of(case.plan)
    rows = (*ledger.measurements, entry)
    case.show_ledger(replace(ledger, plan=case.plan, measurements=rows))
    yield case
    settings_of(case).path.unlink(missing_ok=True)
    case.close()


@pytest.fixture
def dialog(qtbot, session, desk, closing):
    window = closing(ask_control_film(session, desk, None))
    qtbot.waitUntil(window.isVisible)
    return window


def write(line, text):
    line.setFocus()
    line.selectAll()
    QTest.keyClicks(line, text)


def press(button):
    QTest.mouseClick(button, Qt.MouseButton.LeftButton)


def test_planned_figures_stand_before_anything_is_typed(dialog):
    """By hand: platform at 20, length 8, canal roof at 6.5: 5.5 mm below the apex."""
    assert dialog.found.text() == (
        "platform to neighbour: planned 5.5 mm; apex to canal: planned 5.5 mm"
    )
    assert not dialog.ok.isEnabled()


def test_a_film_is_compared_and_only_differences_are_kept(dialog, session):
    """By hand: 168 pixels are 8 mm, 21 a mm; 126 / 21 = 6.0 and 84 / 21 = 4.0 mm."""
    write(dialog.by, "LM")
    write(dialog.length, "168")
    write(dialog.neighbour, "126")
    write(dialog.canal, "84")
    text = dialog.found.text()
    assert "platform to neighbour: planned 5.5 mm, achieved 6.0" in text
    assert "0.5 mm further away than planned" in text
    assert "1.5 mm nearer than planned" in text
    press(dialog.ok)
    kept = {r.what: r for r in settings_of(session).value.control_films}
    assert kept[NEIGHBOUR].difference_mm == pytest.approx(0.5, abs=1e-3)
    assert kept[CANAL].difference_mm == pytest.approx(-1.5, abs=0.02)
    assert {r.by for r in kept.values()} == {"LM"}
    text = to_text(settings_of(session).value)
    for word in ("QUARRY", IDENTITY.patient_id, IDENTITY.series_uid, IDENTITY.birth_date):
        assert f'"{word}"' not in text


def test_an_apex_in_the_canal_is_typed_with_a_minus(dialog):
    write(dialog.by, "LM")
    write(dialog.length, "8,0")
    write(dialog.canal, "-0.5")
    assert "achieved -0.5" in dialog.found.text() or "achieved −0.5" in dialog.found.text()
    assert dialog.ok.isEnabled()


@pytest.mark.parametrize("text", ["wide", "0", "-3"])
def test_nonsense_is_told_and_not_kept(dialog, text):
    write(dialog.by, "LM")
    write(dialog.length, text)
    write(dialog.canal, "4")
    assert not dialog.ok.isEnabled()
    assert "enter a number" in dialog.found.text() or "positive length" in dialog.found.text()


def test_nobody_named_keeps_nothing(dialog):
    write(dialog.by, "")
    dialog.by.clear()
    write(dialog.length, "8")
    write(dialog.canal, "4")
    assert not dialog.ok.isEnabled()


def test_how_many_are_still_wanted_is_said(qtbot, session, desk, closing):
    store = settings_of(session)
    films = tuple(
        FilmResult(by="LM", at="", case=str(n), what=CANAL, difference_mm=0.4) for n in range(4)
    )
    store.value = replace(store.value, control_films=films)
    session.operator = "LM"
    window = closing(ask_control_film(session, desk, None))
    assert "apex to canal: 4 radiographs, mean 0.4 mm" in window.so_far.text()
    assert "After 10 radiographs of a distance" in window.so_far.text()
    assert session._own_series() is None
    more = tuple(replace(films[0], case=str(n)) for n in range(10))
    store.value = replace(store.value, control_films=more)
    assert session._own_series().deeper_mm == pytest.approx(0.4)
