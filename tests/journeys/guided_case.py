"""The guided case on the sample scan, by real mouse and key events alone.

Where the marks go is known: the sample's own plan holds the exact places of the invented jaw. What
the hand does is what a person does: press buttons, click on pictures, type. Only the folder that
the system's own file window would ask for is given directly.
"""

from __future__ import annotations

import time

import numpy as np
from PySide6.QtCore import QPoint, Qt, QTimer
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QInputDialog, QLineEdit, QPushButton, QRadioButton

import sample_volumes
from app.dialogs.sheet import SheetDialog
from app.dialogs.side import SideDialog
from core import load_plan
from core.curve import Curve
from core.plans import edit

SAMPLE = "lower_left_36"
LEFT = Qt.MouseButton.LeftButton
CTRL = Qt.KeyboardModifier.ControlModifier


def wait(until, seconds=90.0):
    """Let the window work until something is so."""
    end = time.monotonic() + seconds
    while not until():
        if time.monotonic() > end:
            raise TimeoutError("the bench did not get there in time")
        pause(0.01)


def pause(seconds):
    """Let the window and its workers go on; `QTest.qWait` would keep the workers waiting."""
    end = time.monotonic() + seconds
    while True:
        QApplication.processEvents()
        if time.monotonic() > end:
            return
        time.sleep(0.005)


class GuidedCase:
    """Hands on one bench."""

    def __init__(self, bench):
        self.bench = bench
        self.session = bench.session
        self.truth = load_plan(sample_volumes.path(f"{SAMPLE}.plan.json"))

    def rest(self):
        """Wait until everything that was asked for is shown and measured."""
        wait(lambda: not self.bench.pictures.busy)
        if self.session.confirmed:
            wait(lambda: self.session.ledger_is_whole)
        wait(lambda: not self.bench.pictures.busy)
        pause(0.15)

    def open_sample(self):
        (button,) = [b for b in self.bench.start.findChildren(QPushButton) if "sample" in b.text()]
        QTest.mouseClick(button, LEFT)
        wait(lambda: self.bench.pages.currentWidget() is self.bench.work)
        wait(lambda: self.bench.pictures.panorama.has_picture)
        self.rest()

    def confirm_jaw(self):
        QTest.mouseClick(self.bench.work.proposed.for_lower, LEFT)
        self.rest()

    def take(self, tool):
        QTest.mouseClick(self.bench.work.tool_row.button(tool), LEFT)

    def look_at(self, point_mm):
        """Click the arch map where a place is, then step to the section nearest to it."""
        view = self.bench.pictures.arch_map
        QTest.mouseClick(view, LEFT, pos=view.screen_position(point_mm).toPoint())
        off = self.session.arch.station(point_mm) - self.session.station_mm
        key = Qt.Key.Key_Right if off > 0 else Qt.Key.Key_Left
        for _ in range(round(abs(off))):
            QTest.keyClick(self.bench.pictures.section, key)

    def click_section(self, point_mm):
        view = self.bench.pictures.section
        QTest.mouseClick(view, LEFT, pos=view.screen_position(point_mm).toPoint())

    def mark_canal(self, marks=7):
        """From section to section, beginning in front of the site; the view steps on itself."""
        truth = edit.find(self.truth, "canal-left")
        places = Curve.through(truth.points).polyline()[1]
        stations = np.array([self.session.arch.station(p) for p in places])
        self.take("Move")
        self.look_at(self.fixture_place())
        for _ in range(7):
            QTest.keyClick(self.bench.pictures.section, Qt.Key.Key_Left)
        self.take("Canal")
        for _ in range(marks):
            nearest = int(np.argmin(np.abs(stations - self.session.station_mm)))
            self.click_section(places[nearest])
        QTest.keyClick(self.bench.pictures.section, Qt.Key.Key_Return)
        self.rest()

    def fixture_place(self):
        return self.truth.fixtures[0].platform

    def drop_fixture(self):
        self.take("Move")
        self.look_at(self.fixture_place())
        self.take("Fixture")
        typed = QTimer(interval=50)
        typed.timeout.connect(lambda: _answer("36") and typed.stop())
        typed.start()
        self.click_section(self.fixture_place())
        wait(lambda: bool(self.session.plan.fixtures))
        self.rest()

    def nudge(self, times=3):
        """Take the fixture by its body, then tenths of a millimetre to the right of the section."""
        fixture = self.session.plan.fixtures[0]
        self.click_section(fixture.platform + 4.0 * fixture.towards_apex)
        for _ in range(times):
            QTest.keyClick(self.bench.pictures.section, Qt.Key.Key_Right, CTRL)
        self.rest()

    def unfold_first(self):
        """Choose the first row of the ledger that unfolds, and unfold it."""
        panel = self.bench.work.panels["ledger"]
        view = panel.view
        view.setFocus()
        for row in range(panel.model.rowCount()):
            view.setCurrentIndex(panel.model.index(row))
            before = panel.model.rowCount(), view.visualRect(panel.model.index(row)).height()
            QTest.keyClick(view, Qt.Key.Key_Space)
            pause(0.02)
            after = panel.model.rowCount(), view.visualRect(panel.model.index(row)).height()
            if after != before:
                return
        raise LookupError("no row of the ledger unfolds")

    def answer_side(self):
        QTest.mouseClick(self.bench.work.panels["who"].side, LEFT)
        dialog = self.bench.findChild(SideDialog)
        for words in ("chart", "LEFT"):
            (button,) = [b for b in dialog.findChildren(QRadioButton) if b.text() == words]
            QTest.mouseClick(button, LEFT, pos=QPoint(8, button.height() // 2))
        for line in dialog.findChildren(QLineEdit):
            line.selectAll()
            QTest.keyClicks(line, "LM")
        QTest.mouseClick(dialog.ok, LEFT)
        wait(lambda: self.session.plan.side_check is not None)
        self.rest()

    def write_sheet(self, folder):
        """Open the sheet by its key, wait for its pages, and write it."""
        action = next(a for a in self.bench.menus.case.actions() if a.text().startswith("Sheet"))
        action.trigger()
        dialog = self.bench.findChild(SheetDialog)
        wait(lambda: bool(dialog.images))
        dialog.write(folder)
        wait(lambda: bool(dialog.written))
        QTest.mouseClick(dialog.cancel, LEFT)
        return dialog.written


def _answer(words):
    """Type into the question that is open, and press Return; False while there is none."""
    box = QApplication.activeModalWidget()
    if not isinstance(box, QInputDialog):
        return False
    line = box.findChild(QLineEdit)
    line.selectAll()
    QTest.keyClicks(line, words)
    QTest.keyClick(line, Qt.Key.Key_Return)
    return True
