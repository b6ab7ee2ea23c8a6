"""A typed number is the number that is taken, in any language and under any system's locale."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QLocale, Qt

from app.widgets.number_box import NumberBox
from core.words.catalogue import speaking


@pytest.fixture
def german_system():
    before = QLocale()
    QLocale.setDefault(QLocale(QLocale.Language.German, QLocale.Country.Germany))
    yield
    QLocale.setDefault(before)


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("typed", ["4.5", "4,5"])
def test_comma_and_point_are_both_the_decimal_sign(qtbot, german_system, language, typed):
    with speaking(language):
        box = NumberBox(0.0, 100.0)
        qtbot.addWidget(box)
        box.show()
        box.selectAll()
        qtbot.keyClicks(box, typed)
        qtbot.keyClick(box, Qt.Key.Key_Return)
        assert box.value() == 4.5
        assert box.text() == ("4,5 mm" if language == "de" else "4.5 mm")


def test_what_groups_thousands_is_no_number(qtbot, german_system):
    box = NumberBox(0.0, 5000.0)
    qtbot.addWidget(box)
    box.show()
    box.setValue(7.0)
    box.selectAll()
    qtbot.keyClicks(box, "1.234,5")
    qtbot.keyClick(box, Qt.Key.Key_Return)
    assert box.value() == 1.2  # the second sign cannot be typed, and there is one decimal
