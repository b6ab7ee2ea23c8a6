"""The window stays whole in longer words, in German and mirrored for right-to-left scripts."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QPushButton

import sample_volumes
from app.window.bench import Bench
from core.words.catalogue import SOURCE, speak
from core.words.pseudo import PSEUDO
from tests.app.clipped import clipped

LTR, RTL = Qt.LayoutDirection.LeftToRight, Qt.LayoutDirection.RightToLeft
SCAN = "lower_left_36"


@pytest.fixture(
    params=[(PSEUDO, LTR), (PSEUDO, RTL), ("de", LTR)], ids=["longer", "mirrored", "german"]
)
def bench(request, qtbot, qapp, tmp_path):
    language, direction = request.param
    speak(language)
    qapp.setLayoutDirection(direction)
    made = Bench(tmp_path / "cases")
    made.resize(1366, 768)
    with qtbot.waitExposed(made):
        made.show()
    yield made
    made.close()
    qtbot.waitUntil(lambda: not made.pictures.busy, timeout=20000)
    made.deleteLater()
    qapp.setLayoutDirection(LTR)
    speak(SOURCE)


def test_the_first_screen_shows_its_words_whole(bench, qtbot):
    qtbot.wait(50)
    assert bench.start.findChildren(QPushButton)
    assert clipped(bench) == []


def test_a_case_with_each_panel_unfolded_shows_its_words_whole(bench, qtbot):
    plan = str(sample_volumes.path(f"{SCAN}.plan.json"))
    bench.opening.scan(str(sample_volumes.path(SCAN)), plan=plan)
    qtbot.waitUntil(lambda: bench.pages.currentWidget() is bench.work, timeout=60000)
    qtbot.waitUntil(lambda: not bench.pictures.busy, timeout=60000)
    qtbot.waitUntil(lambda: bench.session.ledger_is_whole, timeout=120000)
    qtbot.wait(100)
    found = {"": clipped(bench)}
    for name in bench.work.folds:
        bench.work.folds[name].setChecked(True)
        qtbot.wait(100)
        found[name] = clipped(bench)
        bench.work.folds[name].setChecked(False)
    assert {name: wrong for name, wrong in found.items() if wrong} == {}
