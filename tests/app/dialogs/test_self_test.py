"""The self-test from the Help menu: apart from the window, its page shown, kept and copied."""

import json

import pytest
from PySide6.QtCore import Qt, QTimer
from PySide6.QtTest import QTest

from app.dialogs.base import open_dialog
from app.dialogs.catalogue import DIALOGS
from app.dialogs.self_test import SelfTestDialog, show_self_test
from core.measuring.self_test import NOT_THE_SCANNER

LEFT = Qt.MouseButton.LeftButton


@pytest.fixture
def dialog(qtbot, session, desk, closing, tmp_path):
    made = closing(open_dialog(SelfTestDialog(session, desk, None, folder=tmp_path / "kept")))
    qtbot.waitUntil(made.isVisible)
    return made


def test_it_stands_in_the_help_menu_and_needs_no_scan():
    (entry,) = [e for e in DIALOGS if e.show is show_self_test]
    assert entry.menu == "Help"
    assert not entry.needs_scan


@pytest.mark.slow
def test_it_runs_beside_the_window_and_leaves_page_and_figures(dialog, qtbot, tmp_path):
    beats = []
    timer = QTimer(interval=20)
    timer.timeout.connect(lambda: beats.append(dialog.said.text()))
    timer.start()
    QTest.mouseClick(dialog.ok, LEFT)
    assert dialog.ok.text() == "Stop"
    qtbot.waitUntil(lambda: bool(dialog.files), timeout=180_000)
    timer.stop()
    # The window went on all the while, and said what was being done.
    assert len(beats) > 100
    assert {"Measuring it …", "Writing it as DICOM and reading it back …"} <= set(beats)
    assert "checks are within their bounds" in dialog.said.text()
    qtbot.waitUntil(lambda: bool(dialog.page.images), timeout=30_000)
    pdf, document = dialog.files
    assert pdf.parent == tmp_path / "kept"
    figures = json.loads(document.read_text("utf-8"))
    assert figures["passed"]
    assert figures["caution"] == str(NOT_THE_SCANNER)
    out = tmp_path / "out"
    out.mkdir()
    dialog.save_to(out)
    assert {p.name for p in out.iterdir()} == {pdf.name, document.name}


def test_it_is_stopped_with_the_button_and_with_the_window(dialog, qtbot):
    QTest.mouseClick(dialog.ok, LEFT)
    qtbot.waitUntil(lambda: dialog.process.processId() > 0, timeout=20_000)
    QTest.mouseClick(dialog.ok, LEFT)
    qtbot.waitUntil(lambda: not dialog.running, timeout=20_000)
    assert "Nothing was tested" in dialog.said.text()
    assert dialog.files == ()
    QTest.mouseClick(dialog.ok, LEFT)
    qtbot.waitUntil(lambda: dialog.process.processId() > 0, timeout=20_000)
    process = dialog.process
    ended = []
    process.finished.connect(lambda *_: ended.append(True))
    dialog.close()
    qtbot.waitUntil(lambda: bool(ended), timeout=20_000)


def test_a_test_that_cannot_end_passes_nothing(dialog, qtbot, monkeypatch, tmp_path):
    """A folder that cannot be written: no word of having passed."""
    blocked = tmp_path / "kept"
    blocked.write_text("a file stands in the way", "utf-8")
    monkeypatch.setattr("app.dialogs.self_test.sys.executable", "/nowhere/at-all")
    QTest.mouseClick(dialog.ok, LEFT)
    qtbot.waitUntil(lambda: "did not finish" in dialog.said.text(), timeout=20_000)
    assert dialog.files == ()
    assert dialog.trouble.text()
    assert dialog.ok.text() == "Run the test"
