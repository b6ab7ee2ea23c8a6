"""The guided case on the sample scan, by real mouse and key events alone.

Where the marks go is known: the sample's own plan holds the exact places of the invented jaw. What
the hand does is what a person does: press buttons, click on pictures, type. Only the folder that
the system's own file window would ask for is given directly.
"""

from __future__ import annotations

import time

from PySide6.QtCore import QPoint, Qt, QTimer
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QInputDialog, QLineEdit, QPushButton

import sample_volumes
from app.dialogs.answers.image_check import ImageDialog
from app.dialogs.answers.interpreted import InterpretedDialog
from app.dialogs.answers.side import SideDialog
from app.dialogs.answers.sign_off import SignOffDialog
from app.dialogs.sheet.dialog import SheetDialog
from app.panels.ledger_list import ENTRY
from core import load_plan
from core.plans.history import sign_off_state
from core.words.catalogue import say
from tests.watchdog import PATIENCE

SAMPLE = "lower_left_36"
LEFT = Qt.MouseButton.LeftButton
CTRL = Qt.KeyboardModifier.ControlModifier


def wait(until, seconds=90.0):
    """Let the window work until something is so."""
    end = time.monotonic() + seconds * PATIENCE
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
        words = say("window.start.try-the-sample-case-five")
        (button,) = [b for b in self.bench.start.findChildren(QPushButton) if b.text() == words]
        QTest.mouseClick(button, LEFT)
        wait(lambda: self.bench.pages.currentWidget() is self.bench.work)
        wait(lambda: self.bench.pictures.panorama.has_picture)
        self.rest()

    # -- the guide -------------------------------------------------------------------------

    @property
    def guide(self):
        return self.bench.work.guide

    def on(self):
        """Press *Next*: the step must have noticed by itself that it is done."""
        wait(lambda: self.guide.at in self.guide.ticked, 20)
        wait(lambda: self.guide.fact.text() == say("guide.bar.ticked"), 5)
        QTest.mouseClick(self.guide.next, LEFT)

    def leave_guide(self):
        QTest.mouseClick(self.guide.leave, LEFT)

    def pointed_at(self):
        """Middle of the frame of the guide, on the page."""
        pause(0.3)
        assert self.guide.pointer.isVisible(), "the guide points at nothing"
        return self.guide.pointer.geometry().center()

    def click_pointed(self, button=LEFT):
        """Click where the guide points, whatever stands there."""
        at = self.pointed_at()
        widget = self.bench.work.childAt(at)
        QTest.mouseClick(widget, button, pos=widget.mapFrom(self.bench.work, at))
        return widget

    # -- what the hands do -----------------------------------------------------------------

    def confirm_jaw(self):
        """The guide points at the button of the proposal."""
        assert self.click_pointed() is self.bench.work.proposed.for_lower
        self.rest()

    def go_to_the_gap(self):
        """Click on the map where the guide points, then the wheel's keys to the very section."""
        self.click_pointed()
        self.step_to(self.fixture_place())
        self.rest()

    def take(self, tool):
        QTest.mouseClick(self.bench.work.tool_row.button(tool), LEFT)

    def step_to(self, point_mm):
        """Step to the section nearest to a place."""
        off = self.session.arch.station(point_mm) - self.session.station_mm
        key = Qt.Key.Key_Right if off > 0 else Qt.Key.Key_Left
        for _ in range(round(abs(off))):
            QTest.keyClick(self.bench.pictures.section, key)

    def look_at(self, point_mm):
        """Click the arch map where a place is, then step to the section nearest to it."""
        view = self.bench.pictures.arch_map
        QTest.mouseClick(view, LEFT, pos=view.screen_position(point_mm).toPoint())
        self.step_to(point_mm)

    def click_section(self, point_mm):
        view = self.bench.pictures.section
        QTest.mouseClick(view, LEFT, pos=view.screen_position(point_mm).toPoint())

    def mark_canal(self, marks=8):
        """Press what the guide points at, its own button, then click as it points."""
        assert self.click_pointed() is self.guide.show_me
        for _ in range(marks):
            wait(lambda: not self.bench.pictures.busy)
            assert self.click_pointed() is self.bench.pictures.section
        QTest.keyClick(self.bench.pictures.section, Qt.Key.Key_Return)
        self.rest()

    def put_in_the_rest(self):
        """Foramen, loop and roots as they come with the sample."""
        assert self.click_pointed() is self.guide.offer
        self.rest()

    def fixture_place(self):
        return self.truth.fixtures[0].platform

    def drop_fixture(self):
        """Click where the guide points and answer which tooth; its own button first, if it does."""
        typed = QTimer(interval=50)
        typed.timeout.connect(lambda: _answer("36"))
        typed.start()
        clicked = self.click_pointed()
        if clicked is self.guide.show_me:
            wait(lambda: not self.bench.pictures.busy)
            clicked = self.click_pointed()
        assert clicked is self.bench.pictures.section
        typed.stop()
        wait(lambda: bool(self.session.plan.fixtures))
        self.rest()

    def nudge(self, times=3):
        """Tenths of a millimetre to the right of the section, with the fixture taken again."""
        if self.guide.isVisible() and self.guide.pointer.isVisible():
            assert self.click_pointed() is self.guide.show_me
            wait(lambda: not self.bench.pictures.busy)
        for _ in range(times):
            QTest.keyClick(self.bench.windowHandle(), Qt.Key.Key_Right, CTRL)
        self.rest()

    def drag_fixture(self, shift_px):
        """Take the fixture by its body."""
        view, fixture = self.bench.pictures.section, self.session.plan.fixtures[0]
        at = view.screen_position(fixture.on_axis(4.0)).toPoint()
        QTest.mousePress(view, LEFT, pos=at)
        for part in (0.5, 1.0):
            QTest.mouseMove(view, at + QPoint(*shift_px) * part)
            pause(0.05)
        QTest.mouseRelease(view, LEFT, pos=at + QPoint(*shift_px))
        self.rest()

    def read_ledger(self):
        """Click the first row: its reasons unfold; then "show me" by its key."""
        panel = self.bench.work.panels["ledger"]
        view = panel.view
        first = next(
            row for row in range(panel.model.rowCount())
            if panel.model.index(row).data(ENTRY).kind == "row"
        )  # fmt: skip
        QTest.mouseClick(
            view.viewport(), LEFT, pos=view.visualRect(panel.model.index(first)).center()
        )
        assert panel.opened
        QTest.keyClick(view, Qt.Key.Key_S)
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
        QTest.mouseClick(self.bench.work.panels["patient line"].side, LEFT)
        dialog = self.bench.findChild(SideDialog)
        button = dialog.button("chart", "left")
        QTest.mouseClick(button, LEFT, pos=QPoint(8, button.height() // 2))
        for line in dialog.findChildren(QLineEdit):
            line.selectAll()
            QTest.keyClicks(line, "LM")
        QTest.mouseClick(dialog.ok, LEFT)
        wait(lambda: self.session.plan.side_check is not None)
        self.rest()

    def settle(self, act):
        """Click the open point of the log that asks for something."""
        panel = self.bench.work.panels["log"]
        (row,) = [n for n, line in enumerate(panel.model.lines)
                  if line.point is not None and line.point.act == act]  # fmt: skip
        place = panel.view.visualRect(panel.model.index(row)).center()
        QTest.mouseClick(panel.view.viewport(), LEFT, pos=place)

    def judge_image(self):
        """What the program found, and none of the other faults: an invented scan has none."""
        self.settle("image")
        dialog = self.bench.findChild(ImageDialog)
        assert [each.trouble for each in dialog.found] == ["cut-off field"]
        assert dialog.by.text() == "LM"
        QTest.mouseClick(dialog.none, LEFT)
        wait(lambda: self.session.plan.image_check is not None)
        assert self.session.plan.image_check.trouble["cut-off field"] == "away from the site"
        self.rest()

    def say_who_read_it(self):
        """A name; the day of today and the initials stand there."""
        self.settle("interpreted")
        dialog = self.bench.findChild(InterpretedDialog)
        assert not dialog.ok.isEnabled(), "nobody is named yet"
        QTest.keyClicks(dialog.name, "R. Keel")
        QTest.mouseClick(dialog.ok, LEFT)
        wait(lambda: self.session.plan.interpreted_by == "R. Keel")
        self.rest()

    def sign(self):
        """Name and role; the scan's fingerprint is read first."""
        assert self.click_pointed() is self.bench.work.panels["patient line"].state
        dialog = self.bench.findChild(SignOffDialog)
        for line, words in ((dialog.name, "L. Marsh"), (dialog.role, "treating clinician")):
            line.selectAll()
            QTest.keyClicks(line, words)
        for line in dialog.reasons.values():
            QTest.keyClicks(line, "told to the patient")
        wait(dialog.ok.isEnabled)
        QTest.mouseClick(dialog.ok, LEFT)
        wait(lambda: sign_off_state(self.session.plan) == "signed")
        self.rest()

    def write_sheet(self, folder):
        """Open the sheet, wait for its pages, and write it."""
        QTest.mouseClick(self.bench.work.panels["patient line"].sheet, LEFT)
        dialog = self.bench.findChild(SheetDialog)
        wait(lambda: bool(dialog.images))
        dialog.write(folder)
        wait(lambda: bool(dialog.written))
        pause(0.3)
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
