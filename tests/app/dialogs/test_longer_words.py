"""Every dialog stays whole in longer words, in German and mirrored for right-to-left scripts."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt

from app.dialogs import catalogue
from app.dialogs.base import MOST_HEIGHT, MOST_WIDTH
from core.words.catalogue import SOURCE, speak
from core.words.pseudo import PSEUDO
from tests.app.clipped import clipped

LTR, RTL = Qt.LayoutDirection.LeftToRight, Qt.LayoutDirection.RightToLeft


@pytest.fixture(
    params=[(PSEUDO, LTR), (PSEUDO, RTL), ("de", LTR)], ids=["longer", "mirrored", "german"]
)
def spoken(request, qapp):
    language, direction = request.param
    speak(language)
    qapp.setLayoutDirection(direction)
    yield language
    qapp.setLayoutDirection(LTR)
    speak(SOURCE)


@pytest.mark.parametrize("number", range(len(catalogue.DIALOGS)))
def test_every_dialog_shows_its_words_whole(number, spoken, session, desk, closing, qtbot):
    window = closing(catalogue.DIALOGS[number].show(session, desk, None))
    qtbot.waitUntil(window.isVisible)
    stop = getattr(window, "stop", None)
    if stop is not None:  # what is shown changes until its pages are drawn
        qtbot.waitUntil(lambda: not stop.isVisible(), timeout=30000)
    qtbot.wait(50)
    assert window.width() <= MOST_WIDTH
    assert window.height() <= MOST_HEIGHT
    assert clipped(window) == []
