"""A widget painted by Python survives 5,000 repaints.

PySide6 6.12.0 under Python 3.11 loses a reference to None at each repaint and aborts after some
1,700 of them (found by trying; 6.8.3 to 6.11.3 are fine). Run before the bound is raised.
"""

from __future__ import annotations

import subprocess
import sys

import pytest

from tests.watchdog import PATIENCE

pytest.importorskip("PySide6")

PROGRAM = """
from PySide6.QtGui import QPainter
from PySide6.QtWidgets import QApplication, QWidget

class Painted(QWidget):
    painted = 0
    def paintEvent(self, event):
        painter = QPainter(self)
        painter.drawLine(0, 0, self.width(), self.height())
        painter.end()
        Painted.painted += 1

application = QApplication([])
widget = Painted()
widget.resize(20, 20)
widget.show()
while not Painted.painted:  # nothing is painted before the window is exposed
    application.processEvents()
for _ in range(5000):
    widget.repaint()
assert Painted.painted >= 5000, Painted.painted
"""


def test_5000_repaints_end_well():
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM],
        capture_output=True,
        text=True,
        check=False,
        timeout=60 * PATIENCE,
    )
    assert done.returncode == 0, done.stderr[-2000:]
