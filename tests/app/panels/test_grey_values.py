"""Grey values: off until asked for, of this pose, labelled, and without a class of bone."""

import re

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest

from app.dialogs.help.topics import topics
from app.panels.remaining_bone import RemainingBone
from core.arch import fixture_frame
from core.bone.grey import grey_beside
from core.plans.edit_pose import fixture_deepened
from core.plans.side import traced
from tests.app.panels.test_my_sizes import case, jaw  # noqa: F401 - fixtures


@pytest.fixture
def panel(qtbot, case, desk):  # noqa: F811 - a fixture
    made = RemainingBone(case, desk)
    qtbot.addWidget(made)
    made.resize(520, 230)
    made.show()
    qtbot.waitUntil(lambda: made.shown_of is case.fixture, timeout=90_000)
    return made


def texts(panel, column):
    table = panel.grey.table
    return [table.item(row, column).text() for row in range(table.rowCount())]


def ask(qtbot, panel):
    QTest.mouseClick(panel.show_grey, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: panel.grey.table.rowCount() > 0, timeout=60_000)


def test_off_until_asked_for(panel):
    assert not panel.show_grey.isChecked()
    assert panel.grey.isHidden()
    assert panel.grey.table.rowCount() == 0, "nor are they measured"


def test_asked_for_they_are_the_cores(qtbot, panel, case):  # noqa: F811 - a fixture
    ask(qtbot, panel)
    plan = case.plan
    arch = traced(plan)
    rows = grey_beside(case.volume, case.fixture, fixture_frame(case.fixture, arch))
    assert texts(panel, 1) == [f"{row.mean:.0f}" for row in rows]
    assert panel.grey.label.text().startswith("grey value of this scan, not HU")


def test_of_another_pose_they_read_dots(qtbot, panel, case):  # noqa: F811 - a fixture
    ask(qtbot, panel)
    case.apply("deeper", fixture_deepened(case.plan, "36", 2.0))
    assert set(texts(panel, 1)) == {"…"}
    qtbot.waitUntil(lambda: "…" not in texts(panel, 1), timeout=60_000)


def test_no_class_is_named_where_they_are_explained():
    words = " ".join(topics()["grey values"].paragraphs)
    assert "not HU" in words
    assert re.search(r"\b[DQ][1-5]\b|dense|soft bone|quality", words) is None
