"""The chooser: whose scan it is stands in sight, and of several patients none is preselected."""

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel

from app.case.loading import Contents
from app.widgets import style
from app.window.series_chooser import SeriesChooser
from core.findings import Finding
from core.image.volume import ScanIdentity
from core.scan import SeriesReport

LEFT = Qt.MouseButton.LeftButton
TWO = Finding("scan_two_patients", "caution", {"count": 2})


def report(name, number, date, *findings):
    identity = ScanIdentity(patient_name=name, patient_id=number, study_date=date)
    return SeriesReport(
        uid=number, stack=0, modality="CT", description="Jaw with stent", date=date,
        shape=(192, 256, 256), voxel_mm=(0.25, 0.25, 0.25), usable=True, findings=findings,
        identity=identity, middle=None,
    )  # fmt: skip


@pytest.fixture
def chooser(qapp, qtbot):
    style.load_fonts()
    qapp.setStyleSheet(style.STYLE_SHEET)
    made = SeriesChooser()
    qtbot.addWidget(made)
    made.resize(1024, 620)
    made.show()
    return made


def contents(*reports):
    picture = np.zeros((20, 20), dtype=np.float32)
    return Contents(path="somewhere", reports=reports, pictures=(picture,) * len(reports))


def two_patients():
    return contents(
        report("QUARRY^Sample", "S-1", "2026-09-14", TWO),
        report("ORCHARD^Sample", "S-2", "2026-10-06", TWO),
    )


def row_of(chooser, number):
    return chooser.list.itemWidget(chooser.list.item(number))


def test_of_two_patients_none_is_preselected_and_the_button_names_the_chosen(chooser, qtbot):
    chooser.show_contents(two_patients())
    assert "several patients" in chooser.why.text()
    assert chooser.list.selectedItems() == []
    assert not chooser.open.isEnabled()
    QTest.mouseClick(chooser.open, LEFT)
    QTest.keyClick(chooser.list, Qt.Key.Key_Return)
    assert not chooser.list.selectedItems()
    second = chooser.list.visualItemRect(chooser.list.item(1)).center()
    QTest.mouseClick(chooser.list.viewport(), LEFT, pos=second)
    assert chooser.open.text() == "Open ORCHARD, Sample, 2026-10-06"
    with qtbot.waitSignal(chooser.chosen) as got:
        QTest.mouseClick(chooser.open, LEFT)
    assert got.args == ["somewhere", "S-2:0"]


def test_the_chosen_row_is_told_from_the_others(chooser):
    chooser.show_contents(two_patients())
    for chosen in (1, 0):
        at = chooser.list.visualItemRect(chooser.list.item(chosen)).center()
        QTest.mouseClick(chooser.list.viewport(), LEFT, pos=at)
        for number in (0, 1):
            row = row_of(chooser, number)
            colour = row.grab().toImage().pixelColor(row.width() - 3, 3)
            wanted = style.SELECTED if number == chosen else style.PANEL
            assert colour.name() == wanted.name(), (chosen, number)


@pytest.mark.parametrize("width", [984, 1326])
def test_every_name_is_in_sight_without_gaps(chooser, qtbot, width):
    chooser.resize(width, 620)
    long = Finding("scan_localizer", "caution")
    one = replace(two_patients().reports[0], findings=(long, long))
    chooser.show_contents(contents(one, replace(one, uid="3", date="2025-01-01")))
    qtbot.wait(20)
    assert chooser.list.verticalScrollBar().maximum() == 0
    for number in (0, 1):
        row = row_of(chooser, number)
        labels = [label for label in row.findChildren(QLabel) if label.text()]
        assert row.height() <= 160
        for label in labels:
            assert label.height() >= label.heightForWidth(label.width()), label.text()
