"""The window's first size: never larger than the screen that it opens on."""

import pytest
from PySide6.QtCore import QRect
from PySide6.QtWidgets import QWidget

from app.window.program import FRAME, ROOMY, lay_out


@pytest.mark.parametrize(
    ("wide", "high", "fills"),
    [(1366, 728, True), (1024, 680, True), (1440, 930, True), (1920, 1040, False)],
)
def test_the_window_fits_the_screen(qtbot, wide, high, fills):
    first = []

    class Window(QWidget):
        def resizeEvent(self, event):  # noqa: N802
            first.append(event.size())

    window = Window()
    qtbot.addWidget(window)
    lay_out(window, QRect(0, 0, wide, high))
    qtbot.waitUntil(lambda: window.isVisible() and bool(first))
    assert window.isMaximized() == fills
    assert first[0].width() <= wide - FRAME.width()
    assert first[0].height() <= high - FRAME.height()
    if not fills:
        assert first[0] == ROOMY
