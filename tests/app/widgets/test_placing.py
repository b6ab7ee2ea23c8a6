"""A question stands beside the large picture, never over its middle."""

from PySide6.QtWidgets import QInputDialog, QWidget

from app.widgets.placing import place_beside


def placed(qtbot, width):
    window = QWidget()
    window.resize(1366, 768)
    qtbot.addWidget(window)
    window.show()
    dialog = QInputDialog(window)
    dialog.setMinimumWidth(width)
    dialog.move(200, 200)
    before = dialog.pos()
    place_beside(dialog, window)
    return before, dialog.pos(), window


def test_a_narrow_question_stands_at_the_right_end(qtbot):
    _, now, window = placed(qtbot, 420)
    at = window.mapFromGlobal(now)
    assert at.x() > 0.65 * 1366
    assert 0 <= at.y() < 768 / 2 + 10


def test_a_wide_one_stays_where_it_comes_up(qtbot):
    before, now, _ = placed(qtbot, 800)
    assert now == before
