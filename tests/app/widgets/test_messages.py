"""What windows say about errors."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QTimer
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLabel, QLineEdit, QWidget

from app.widgets import style
from app.widgets.messages import FAULT, ask_text, error_text
from core.errors import ScanError
from tests.app.clipped import clipped


def test_a_refusal_says_its_sentence_and_too_little_memory_is_one():
    assert error_text(ScanError("scan_cancelled"))[0].startswith("Reading was stopped")
    said, details = error_text(MemoryError())
    assert "too little free memory" in said
    assert "memory-short" in details


def test_a_fault_tells_places_of_the_program_and_no_values():
    try:
        raise KeyError("QUARRY^Sample")  # noqa: TRY301
    except KeyError as error:
        said, details = error_text(error)
    assert said == str(FAULT)
    assert "test_messages.py" in details
    assert "QUARRY" not in details


@pytest.mark.parametrize("question", ["Root of which tooth? Two digits, such as 26.", "Why? " * 30])
def test_a_question_stands_whole_with_what_is_said_of_the_answer_below_it(qtbot, question):
    window = QWidget()
    window.setStyleSheet(style.STYLE_SHEET)
    qtbot.addWidget(window)
    window.show()
    seen = []

    def look():
        dialog = QApplication.activeModalWidget()
        line = dialog.findChild(QLineEdit)
        asked, explained = dialog.findChildren(QLabel)
        before = dialog.height()
        QTest.keyClicks(line, "26")
        QApplication.processEvents()
        seen.append(explained.text())
        assert asked.geometry().bottom() < line.geometry().top()
        assert line.geometry().bottom() < explained.geometry().top()
        assert not clipped(dialog)
        assert dialog.height() == before, "nothing moves while one types"
        seen.append(asked.text())
        dialog.reject()

    QTimer.singleShot(100, look)
    ask_text(window, "Tooth", question, "", lambda text: f"{text}: a tooth\nthat is far from here")
    assert seen == ["26: a tooth\nthat is far from here", question]
