"""Starts the bench as a program of its own."""

from __future__ import annotations

import sys
from pathlib import Path

from PySide6.QtCore import QRect, QSize
from PySide6.QtGui import QIcon
from PySide6.QtWidgets import QApplication, QWidget

from app.background.gui_gc import Tidying
from app.background.log_setup import start_logging
from app.case.settings import settings_of
from app.window.bench import Bench
from app.window.kernel_warm_up import FirstUse
from app.window.left_open import offer_left_open
from core.words.catalogue import speak

ICON = Path(__file__).parents[1] / "icon.svg"
ROOMY = QSize(1440, 930)
FRAME = QSize(16, 48)
"""What a desktop's frame and title bar take of a screen at most; common practice, no source."""


def lay_out(window: QWidget, room: QRect) -> None:
    """Give a window its first size; it fills a screen that has no room for more.

    Parameters
    ----------
    window : QWidget
    room : QRect
        What the screen has free, in pixels.
    """
    free = room.size() - FRAME
    window.resize(ROOMY.boundedTo(free))
    if free.width() < ROOMY.width() or free.height() < ROOMY.height():
        window.showMaximized()
    else:
        window.show()


def show(path: str | None = None) -> int:
    """Open the bench, on a scan or plan where a path is given; returns the exit status."""
    start_logging()
    # A worker in Python gives way to the window after 2 ms, so that a drag stays smooth.
    sys.setswitchinterval(0.002)
    program = QApplication.instance() or QApplication(sys.argv[:1])
    program.setApplicationName("Sounding")
    QApplication.setWindowIcon(QIcon(str(ICON)))
    QApplication.setDesktopFileName("sounding")
    speak(settings_of(program).value.language)
    tidying = Tidying(program)
    bench = Bench()
    bench.store.tidy()
    lay_out(bench, bench.screen().availableGeometry())
    tidying.set_aside()
    first_use = FirstUse(bench)
    first_use.told.connect(bench.preparing.setText)
    first_use.begin()
    if path is not None:
        bench.opening.path(str(path))
    else:
        offer_left_open(bench)
    status = int(program.exec())
    first_use.stop()
    tidying.deleteLater()
    return status
