"""Repeat study at the bench: blind and shuffled, kept at each section, offered to the plan."""

import json

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel

from app.case.repeat_studies import kept_studies, read_study
from app.dialogs.repeat_study.dialog import show_repeat_study
from app.dialogs.repeat_study.result import RepeatResultDialog
from core.trust.operator_precision import placement_of
from core.trust.repeatability import shuffled

LEFT = Qt.MouseButton.LeftButton


@pytest.fixture(autouse=True)
def folder(monkeypatch, tmp_path):
    monkeypatch.setattr("app.case.repeat_studies.studies_folder", lambda: tmp_path / "studies")
    return tmp_path / "studies"


@pytest.fixture
def start(qtbot, session, desk, closing):
    """Opens the studies and starts one of `sections` sections for LM."""

    def begin(sections=3, rounds=2, who="LM"):
        dialog = closing(show_repeat_study(session, desk, None))
        qtbot.waitUntil(dialog.isVisible)
        dialog.count.setValue(sections)
        dialog.rounds.setValue(rounds)
        dialog.who.setText(who)
        QTest.mouseClick(dialog.ok, LEFT)
        qtbot.waitUntil(lambda: dialog.placing is not None and dialog.placing.isVisible())
        return dialog, dialog.placing

    return begin


def click(view, u, v):
    at = view.to_screen().map(u, v)
    QTest.mouseClick(view, LEFT, Qt.KeyboardModifier.NoModifier, QPoint(round(at[0]), round(at[1])))


def place_all(placing, rng, *, sd=0.4):
    """Crest and canal on every section that is left, by real clicks; the order as it was shown."""
    shown = []
    while placing._left:
        shown.append(placing._left[0])
        deeper = placing.design.station_of(placing._left[0][0]) / 10
        click(placing.view, *rng.normal(scale=sd, size=2))
        click(placing.view, *(np.array([0.0, -8.0 - deeper]) + rng.normal(scale=sd, size=2)))
        QTest.mouseClick(placing.ok, LEFT)
        if not placing.isVisible():
            break
    return shown


def test_a_study_from_start_to_the_plan(start, session, qtbot, folder):
    dialog, placing = start(sections=4, rounds=3)
    design = placing.design
    shown = place_all(placing, np.random.default_rng(3))
    assert tuple(shown) == shuffled([s for s, _ in design.stations], 3, seed=design.seed)
    ((kept,), _) = kept_studies(folder)
    assert len(kept.study.readings) == 4 * 3 * 2
    spread = kept.study.spread("LM")
    assert 0.2 < spread.sd_mm < 0.7
    result = dialog.findChild(RepeatResultDialog)
    qtbot.waitUntil(result.isVisible)
    words = " ".join(label.text() for label in result.findChildren(QLabel))
    assert f"seed {design.seed}" in words
    assert "Dahlberg" in words
    assert "ICC(2,1)" in words
    assert "never bias" in words
    assert len(result.plot.plot.series[0].x) > 0
    result.by.setText("LM")
    QTest.mouseClick(result.ok, LEFT)
    hand = session.plan.own_hand
    assert hand.person == "LM"
    assert hand.placings == 24
    assert placement_of(session.plan).seen_mm == pytest.approx(spread.sd_mm)
    assert "own repeat study of LM" in dialog.now.text()
    QTest.mouseClick(dialog.usual, LEFT)
    assert session.plan.own_hand is None
    session.undo_stack.undo()
    assert session.plan.own_hand == hand


def test_nothing_of_plan_place_or_earlier_marks_is_shown(start):
    _, placing = start()
    view = placing.view
    stations = [f"{mm:g}" for _, mm in placing.design.stations]
    click(view, 0.0, 2.0)
    assert [d.at for d in view._draft.dots] == [pytest.approx((0.0, 2.0), abs=0.2)]
    click(view, 1.0, -6.0)
    assert len(view._draft.dots) == 2
    texts = [label.text() for label in placing.findChildren(QLabel)]
    assert not any(mm in text.split() for mm in stations for text in texts)
    assert view.title == view.subtitle == ""
    assert view.sides is None
    assert not view._chart.paths
    assert not view._chart._labels
    QTest.mouseClick(placing.ok, LEFT)
    assert view._draft.dots == ()
    assert placing.placed == []


def test_a_mark_is_taken_back_and_a_section_needs_all_its_marks(start):
    _, placing = start()
    assert not placing.ok.isEnabled()
    click(placing.view, 0.0, 2.0)
    assert not placing.ok.isEnabled()
    click(placing.view, 0.0, -6.0)
    assert placing.ok.isEnabled()
    click(placing.view, 3.0, 3.0)
    assert len(placing.placed) == 2
    QTest.mouseClick(placing.view, Qt.MouseButton.RightButton)
    assert len(placing.placed) == 1
    assert not placing.ok.isEnabled()


def test_by_keys_alone(start):
    _, placing = start()
    placing.view.setFocus()
    for _ in range(5):
        QTest.keyClick(placing.view, Qt.Key.Key_Right)
    QTest.keyClick(placing.view, Qt.Key.Key_Space)
    QTest.keyClick(placing.view, Qt.Key.Key_Down, Qt.KeyboardModifier.ShiftModifier)
    QTest.keyClick(placing.view, Qt.Key.Key_Space)
    assert len(placing.placed) == 2
    (u0, v0, _), (u1, v1, _) = placing.view.uv_mm(np.stack(placing.placed))
    assert (u1 - u0, v1 - v0) == pytest.approx((0.0, -2.0), abs=1e-6)
    left = len(placing._left)
    QTest.keyClick(placing.view, Qt.Key.Key_Return)
    assert len(placing._left) == left - 1


def test_a_study_that_was_stopped_goes_on_where_it_was(start, qtbot, folder):
    dialog, placing = start(sections=3, rounds=2)
    for _ in range(2):
        click(placing.view, 0.0, 2.0)
        click(placing.view, 0.0, -6.0)
        QTest.mouseClick(placing.ok, LEFT)
    rest = list(placing._left)
    QTest.mouseClick(placing.cancel, LEFT)
    qtbot.waitUntil(lambda: dialog.placing is None)
    ((kept,), _) = kept_studies(folder)
    assert len(kept.study.readings) == 4
    assert dialog.go_on.isEnabled()
    assert not dialog.second.isEnabled()
    QTest.mouseClick(dialog.go_on, LEFT)
    qtbot.waitUntil(lambda: dialog.placing is not None)
    assert dialog.placing._left == rest
    assert dialog.placing.person == "LM"


def test_a_second_person_sees_the_same_sections_in_another_order(start, qtbot, folder, session):
    dialog, placing = start(sections=5, rounds=2)
    first = place_all(placing, np.random.default_rng(1))
    dialog.findChild(RepeatResultDialog).close()
    dialog.who.setText("LM")
    QTest.mouseClick(dialog.second, LEFT)
    assert "second person" in dialog.trouble.text()
    dialog.who.setText("AK")
    QTest.mouseClick(dialog.second, LEFT)
    qtbot.waitUntil(lambda: dialog.placing is not None)
    second = place_all(dialog.placing, np.random.default_rng(2))
    assert sorted(first) == sorted(second)
    assert first != second
    ((kept,), _) = kept_studies(folder)
    assert kept.study.people == ("LM", "AK")
    results = dialog.findChildren(RepeatResultDialog)
    titles = [results[-1].which.itemText(n) for n in range(results[-1].which.count())]
    assert titles[-1] == "LM and AK, round 1 of each"


def test_page_picture_and_readings_are_saved(start, tmp_path):
    dialog, placing = start(sections=4)
    place_all(placing, np.random.default_rng(3))
    out = tmp_path / "out"
    out.mkdir()
    files = dialog.findChild(RepeatResultDialog).save_to(out)
    assert {f.suffix for f in files} == {".pdf", ".png", ".json"}
    assert read_study(next(f for f in files if f.suffix == ".json")).people == ("LM",)
    assert next(f for f in files if f.suffix == ".pdf").read_bytes().startswith(b"%PDF")


def test_one_reading_says_so_and_offers_nothing(start, qtbot, folder):
    dialog, placing = start(sections=3)
    click(placing.view, 0.0, 2.0)
    click(placing.view, 0.0, -6.0)
    QTest.mouseClick(placing.ok, LEFT)
    QTest.mouseClick(placing.cancel, LEFT)
    qtbot.waitUntil(lambda: dialog.placing is None)
    QTest.mouseClick(dialog.see, LEFT)
    result = dialog.findChild(RepeatResultDialog)
    assert not result.ok.isEnabled()
    words = " ".join(label.text() for label in result.findChildren(QLabel))
    assert "only one reading" in words


def test_a_file_that_is_no_study_is_passed_over(start, folder, session, desk, closing):
    folder.mkdir()
    (folder / "broken.repeat.json").write_text("{", "utf-8")
    (folder / "other.repeat.json").write_text(json.dumps({"format": "x"}), "utf-8")
    dialog = closing(show_repeat_study(session, desk, None))
    assert dialog.kept == ()
