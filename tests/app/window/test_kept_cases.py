"""A case left open is offered back; one that is not saved says so for as long as it is not."""

import shutil

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QMessageBox

import sample_volumes
from app.case.home import CaseHome
from app.window.bench import Bench
from app.window.crash_recovery import CaseNotice
from app.window.left_open import LET_BE, TAKE_UP, offer_left_open
from core.errors import OutputError
from core.plans.plan_file import load_plan
from tests.app.case_at_hand import all_saved

SCAN = "lower_left_36"


@pytest.fixture
def made(qtbot, tmp_path):
    benches = []

    def make():
        bench = Bench(tmp_path / "cases")
        with qtbot.waitExposed(bench):
            bench.show()
        benches.append(bench)
        return bench

    yield make
    for bench in benches:
        for box in bench.findChildren(QMessageBox):
            box.close()
        bench.store.abandon()
        bench.close()
        qtbot.waitUntil(lambda b=bench: not b.pictures.busy, timeout=20000)
        bench.deleteLater()


def opened(bench, qtbot):
    bench.opening.sample()
    qtbot.waitUntil(lambda: bench.pages.currentWidget() is bench.work, timeout=60000)


def crashed(bench, qtbot, tmp_path):
    """The folder of cases as a kill would leave it: record open, lock held by nobody."""
    opened(bench, qtbot)
    bench.session.confirm_proposal("lower")
    qtbot.waitUntil(lambda: all_saved(bench.store), timeout=20000)
    kept = tmp_path / "kept"
    shutil.copytree(bench.store.folder, kept, ignore=shutil.ignore_patterns("*.lock"))
    bench.close_case()
    shutil.rmtree(bench.store.folder)
    shutil.copytree(kept, bench.store.folder)


def press(box, words):
    (button,) = [b for b in box.buttons() if b.text() == words]
    QTest.mouseClick(button, Qt.MouseButton.LeftButton)


def test_a_case_left_open_is_taken_up_where_it_was(made, qtbot, tmp_path):
    crashed(made(), qtbot, tmp_path)
    after = made()
    box = offer_left_open(after)
    assert "QUARRY" in box.informativeText()
    assert all(f"“{button.text()}”" in box.informativeText() for button in box.buttons())
    press(box, str(TAKE_UP))
    qtbot.waitUntil(lambda: after.pages.currentWidget() is after.work, timeout=60000)
    assert after.session.confirmed
    assert after.session.plan.jaw == "lower"


def test_a_refused_case_is_not_offered_again_and_stays_in_the_list(made, qtbot, tmp_path):
    crashed(made(), qtbot, tmp_path)
    after = made()
    press(offer_left_open(after), str(LET_BE))
    qtbot.waitUntil(lambda: after.store.left_open() == ())
    assert len(after.store.recent()) == 1
    assert offer_left_open(after) is None
    assert after.session.volume is None


def test_hidden_names_are_hidden_in_the_offer_too(made, qtbot, tmp_path):
    crashed(made(), qtbot, tmp_path)
    after = made()
    after.settings.change(names_hidden=True)
    assert "QUARRY" not in offer_left_open(after).informativeText()
    after.settings.change(names_hidden=False)


def full_disk(*_args):
    raise OutputError("output-disk-full", path="cases")


def test_what_is_not_saved_is_said_until_it_is_saved(made, qtbot, monkeypatch):
    bench = made()
    opened(bench, qtbot)
    notice = bench.findChild(CaseNotice)
    with monkeypatch.context() as patch:
        patch.setattr(CaseHome, "write", full_disk)
        bench.session.confirm_proposal("lower")
        qtbot.waitUntil(notice.isVisible, timeout=10000)
        bench._hush.timeout.emit()
        bench.session.go_to(station_mm=20.0)
        assert notice.isVisible()
        assert "not saved" in notice.text()
    bench.store.save()
    qtbot.waitUntil(lambda: not notice.isVisible(), timeout=10000)


def test_a_case_left_unsaved_is_never_written_over_by_the_next(made, qtbot, monkeypatch):
    bench = made()
    opened(bench, qtbot)
    bench.session.confirm_proposal("lower")
    qtbot.waitUntil(lambda: all_saved(bench.store), timeout=20000)
    first = bench.store.plan_path(bench.store.record)
    monkeypatch.setattr(bench, "choose", lambda *_args: "Leave")
    with monkeypatch.context() as patch:
        patch.setattr(CaseHome, "write", full_disk)
        bench.close_case()
    assert bench.session.volume is None
    bench.opening.scan(str(sample_volumes.path(SCAN)))
    qtbot.waitUntil(lambda: bench.session.volume is not None, timeout=60000)
    qtbot.waitUntil(lambda: all_saved(bench.store), timeout=20000)
    assert bench.store.plan_path(bench.store.record) != first
    assert load_plan(first).jaw == "lower", "the last good state stays as it was"
