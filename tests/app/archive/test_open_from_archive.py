"""*Open from archive …* by mouse and keys: looked up, chosen by a person, fetched whole, opened."""

from __future__ import annotations

import pytest

pytest.importorskip("PySide6")

from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel, QMessageBox, QPushButton

from app.archive import node as node_module
from app.archive.searching import Listed
from app.case.settings import settings_of
from app.dialogs import open_from_archive
from app.dialogs.open_from_archive import OpenFromArchive, show_open_from_archive
from app.widgets import style
from app.window.bench import Bench
from core.errors import SoundingError
from core.words.catalogue import catalogue_of
from tests.app.archive.servers import HOST, free_port
from tests.core.scan.make_dicom import SERIES, SHAPE

LEFT = Qt.MouseButton.LeftButton
LONG = 60_000
LISTED = Listed(
    patient_name="QUARRY^Sample", patient_id="S-0107", birth_date="19610402",
    study_date="20260914", study_uid="2.25.2", series_uid="2.25.1", modality="CT",
    description="Lower jaw", count=192,
)  # fmt: skip


@pytest.fixture
def opened():
    return []


@pytest.fixture
def dialog(qtbot, session, desk, closing, opened):
    window = closing(show_open_from_archive(session, desk, None, opened.append))
    qtbot.waitUntil(window.isVisible)
    window.address.setText(f"ORTHANC@{HOST}:104")
    return window


def typed(edit, text):
    edit.setFocus()
    edit.selectAll()
    QTest.keyClicks(edit, text)


def cells(dialog, row):
    return [dialog.table.item(row, column).text() for column in range(dialog.table.columnCount())]


def click_row(dialog, row):
    at = dialog.table.visualItemRect(dialog.table.item(row, 0)).center()
    QTest.mouseClick(dialog.table.viewport(), LEFT, pos=at)


def test_two_people_are_listed_none_is_chosen_and_the_chosen_one_comes_whole(
    qtbot, archive, cache, dialog, session, opened
):
    node = archive[0].node
    assert dialog.focusWidget() is dialog.address, "what is still to be named"
    typed(dialog.address, str(node))
    typed(dialog.name, "Sample")
    assert not dialog.ok.isEnabled()
    QTest.mouseClick(dialog.search, LEFT)
    qtbot.waitUntil(lambda: dialog.table.rowCount() == 2, timeout=LONG)
    assert cells(dialog, 0) == [
        "Sample, Sue", "1981-03-04", "P2", "2024-03-06", "CT", "Upper jaw", str(SHAPE[0]),
    ]  # fmt: skip
    assert cells(dialog, 1)[:4] == ["Sample, Sam", "1970-01-02", "P1", "2024-03-05"]
    assert "Check whose it is" in dialog.trouble.text()
    assert dialog.chosen() is None
    assert not dialog.ok.isEnabled()
    click_row(dialog, 1)
    assert dialog.chosen().series_uid == SERIES
    QTest.mouseClick(dialog.ok, LEFT)
    qtbot.waitUntil(lambda: bool(opened), timeout=LONG)
    (folder,) = cache.iterdir()
    assert opened == [str(folder)]
    assert len(list(folder.iterdir())) == SHAPE[0]
    assert settings_of(session).value.archive == str(node)


def test_enter_searches_and_never_opens_what_was_found_before(qtbot, dialog, opened, monkeypatch):
    asked = []
    monkeypatch.setattr(
        open_from_archive, "find_series", lambda _c, search, **_: asked.append(search) or [LISTED]
    )
    typed(dialog.patient, "S-0107")
    QTest.keyClick(dialog.patient, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: dialog.table.rowCount() == 1, timeout=LONG)
    assert (asked[0].patient, asked[0].name, asked[0].day) == ("S-0107", "", "")
    QTest.keyClick(dialog.table, Qt.Key.Key_Home)
    click_row(dialog, 0)
    assert dialog.ok.isEnabled()
    # The list is of the ID that was asked for: with another one typed it is gone.
    typed(dialog.patient, "S-0108")
    assert dialog.table.rowCount() == 0
    assert not dialog.ok.isEnabled()
    QTest.keyClick(dialog.patient, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: len(asked) == 2, timeout=LONG)
    assert opened == []
    assert dialog.isVisible()


def test_it_can_be_stopped_and_nothing_is_opened(qtbot, dialog, opened, monkeypatch):
    running = []

    def slow(_connection, study, series, *, move, progress, cancelled):
        running.append((study, series, move, cancelled))
        progress(1, 192)
        while not cancelled():
            QTest.qSleep(5)
        raise SoundingError("measuring-cancelled")

    monkeypatch.setattr(open_from_archive, "find_series", lambda *_, **__: [LISTED])
    monkeypatch.setattr(open_from_archive, "fetch_series", slow)
    typed(dialog.patient, "S-0107")
    QTest.mouseClick(dialog.search, LEFT)
    qtbot.waitUntil(lambda: dialog.table.rowCount() == 1, timeout=LONG)
    click_row(dialog, 0)
    QTest.mouseClick(dialog.ok, LEFT)
    qtbot.waitUntil(lambda: dialog.bar.isVisible() and dialog.bar.value() == 1, timeout=LONG)
    assert dialog.bar.text() == "1 of 192 images"
    assert running[0][:3] == ("2.25.2", "2.25.1", False)
    assert not dialog.ok.isEnabled()
    assert not dialog.search.isEnabled()
    QTest.keyClicks(dialog.patient, "9")
    assert dialog.patient.text() == "S-0107"
    QTest.mouseClick(dialog.stop, LEFT)
    assert dialog.trouble.text() == "Stopped. Nothing was opened."
    assert running[0][3]()
    assert dialog.ok.isEnabled()
    assert opened == []


def test_what_goes_wrong_is_told_in_the_window(qtbot, dialog, monkeypatch):
    typed(dialog.day, "14.9.2026")
    QTest.mouseClick(dialog.search, LEFT)
    assert "YYYY-MM-DD" in dialog.trouble.text()
    typed(dialog.day, "2026-09-14")
    typed(dialog.address, "somewhere")
    QTest.mouseClick(dialog.search, LEFT)
    assert "AET@HOST:PORT" in dialog.trouble.text()
    typed(dialog.address, f"NOBODY@{HOST}:{free_port()}")
    QTest.mouseClick(dialog.search, LEFT)
    qtbot.waitUntil(lambda: "does not answer" in dialog.trouble.text(), timeout=LONG)
    assert dialog.bar.isHidden()
    assert dialog.focusWidget() is dialog.patient

    def broken(*_, **__):
        raise ZeroDivisionError("QUARRY^Sample")

    monkeypatch.setattr(open_from_archive, "find_series", broken)
    QTest.mouseClick(dialog.search, LEFT)
    qtbot.waitUntil(lambda: "ZeroDivisionError" in dialog.trouble.text(), timeout=LONG)
    assert "QUARRY" not in dialog.trouble.text()


def test_reports_are_left_out_and_an_own_port_means_that_the_archive_sends(
    qtbot, dialog, monkeypatch, opened
):
    report = Listed(**{f: getattr(LISTED, f) for f in LISTED.__slots__} | {"modality": "SR"})
    monkeypatch.setattr(open_from_archive, "find_series", lambda *_, **__: [LISTED, report])
    moves = []

    def fetch(connection, *_, move, **__):
        moves.append((connection.listen, move))
        return "folder"

    monkeypatch.setattr(open_from_archive, "fetch_series", fetch)
    typed(dialog.listen, "11112")
    typed(dialog.name, "Quarry")
    QTest.mouseClick(dialog.search, LEFT)
    qtbot.waitUntil(lambda: dialog.table.rowCount() == 1, timeout=LONG)
    assert "1 series without pictures is not listed" in dialog.trouble.text()
    QTest.keyClick(dialog.table, Qt.Key.Key_Home)
    click_row(dialog, 0)
    QTest.keyClick(dialog.table, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: opened == ["folder"], timeout=LONG)
    assert moves == [(11112, True)]


def test_without_the_optional_part_a_sentence_stands_there(
    qtbot, session, desk, closing, monkeypatch
):
    monkeypatch.setattr(node_module, "find_spec", lambda _name: None)
    window = closing(show_open_from_archive(session, desk, None, lambda _path: None))
    assert "[archive]" in window.trouble.text()
    window.address.setText(f"A@{HOST}:104")
    typed(window.patient, "P1")
    QTest.mouseClick(window.search, LEFT)
    qtbot.waitUntil(lambda: not window.is_busy, timeout=LONG)
    assert "not installed" in window.trouble.text()


def test_nothing_of_it_is_clipped_on_a_small_screen(qtbot, dialog, monkeypatch):
    dialog.tls.setChecked(True)
    dialog._show((LISTED,) * 30)
    dialog.tell(
        str(SoundingError("archive-not-offered", node="A@B:1", title="SOUNDING", service="C-GET"))
    )
    qtbot.wait(20)
    assert dialog.height() <= 690
    for label in dialog.findChildren(QLabel):
        if label.isVisible() and label.text():
            assert label.height() >= label.heightForWidth(label.width()), label.text()
    assert dialog.trouble.geometry().top() >= dialog.table.geometry().bottom()
    assert dialog.ca.isVisible()
    dialog.tls.setChecked(False)
    assert not dialog.ca.isVisible()


def test_a_journey_from_the_first_screen_to_the_open_scan(qtbot, tmp_path, archive, cache):
    style.load_fonts()
    bench = Bench(tmp_path / "cases")
    bench.resize(1366, 768)
    with qtbot.waitExposed(bench):
        bench.show()
    try:
        words = catalogue_of("en", "window").entries["window.start.open-from-archive"].forms[0]
        (button,) = [b for b in bench.start.findChildren(QPushButton) if b.text() == words]
        QTest.mouseClick(button, LEFT)
        (dialog,) = bench.findChildren(OpenFromArchive)
        typed(dialog.address, str(archive[0].node))
        typed(dialog.patient, "P2")
        QTest.keyClick(dialog.patient, Qt.Key.Key_Return)
        qtbot.waitUntil(lambda: dialog.table.rowCount() == 1, timeout=LONG)
        click_row(dialog, 0)
        QTest.mouseClick(dialog.ok, LEFT)
        qtbot.waitUntil(lambda: bench.pages.currentWidget() is bench.work, timeout=LONG)
        assert bench.session.volume.identity.patient_id == "P2"
        assert bench.session.volume.shape == SHAPE
        (folder,) = cache.iterdir()
        assert bench.session.source == str(folder)
    finally:
        for box in bench.findChildren(QMessageBox):
            box.close()
        bench.close()
        qtbot.waitUntil(lambda: not bench.pictures.busy, timeout=LONG)
        bench.deleteLater()
