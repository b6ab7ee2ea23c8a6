"""Words of radio buttons and boxes are whole whether they are chosen or not."""

import pytest
from PySide6.QtWidgets import QCheckBox, QRadioButton, QStyle, QStyleOptionButton, QWidget

from app.widgets import style


@pytest.mark.parametrize(
    ("kind", "element"),
    [
        (QRadioButton, QStyle.SubElement.SE_RadioButtonContents),
        (QCheckBox, QStyle.SubElement.SE_CheckBoxContents),
    ],
)
@pytest.mark.parametrize("chosen", [False, True])
def test_the_words_have_the_same_room_when_chosen(qtbot, kind, element, chosen):
    page = QWidget()
    page.setStyleSheet(style.STYLE_SHEET)
    button = kind("away from the site", page)
    qtbot.addWidget(page)
    with qtbot.waitExposed(page):
        page.show()
    button.adjustSize()
    button.setChecked(chosen)
    option = QStyleOptionButton()
    button.initStyleOption(option)
    room = button.style().subElementRect(element, option, button)
    assert room.width() >= button.fontMetrics().horizontalAdvance(button.text())
