"""My sizes at a pose: the core's own rows, in the list's order, never those of another pose."""

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest

from app.case.settings import settings_of
from app.panels.my_sizes import WAITS, MySizes
from core.fixture import FixtureSize
from core.image.volume import Volume
from core.measuring.assemble import measure
from core.measuring.basis import Basis
from core.measuring.sizes_table import try_sizes
from core.plans.edit_pose import fixture_deepened
from core.plans.plan_parse import parse
from core.plans.sizes import ListedSize, default_sizes
from sample_volumes import small_jaw
from tests.app.case_at_hand import IDENTITY, QuietSession

SHORT = (
    *default_sizes()[4:7],
    ListedSize(label="mine", size=FixtureSize(diameter_mm=6, length_mm=5)),
)


@pytest.fixture(scope="module")
def jaw():
    voxels, affine, truth = small_jaw()
    made_up = np.zeros(len(voxels), dtype=bool)
    volume = Volume(voxels=voxels, mm_from_ijk=affine, made_up=made_up, identity=IDENTITY)
    plan = parse({k: v for k, v in truth["plan"].items() if k != "scan"})
    return volume, plan, measure(plan, volume)


@pytest.fixture
def case(qapp, jaw):
    volume, plan, measured = jaw
    session = QuietSession()
    settings_of(session).change(sizes=SHORT)
    session.open(volume, plan, window=(0.0, 2000.0))
    session.show_ledger(measured)
    yield session
    session.close()
    settings_of(session).change(sizes=default_sizes())


@pytest.fixture
def panel(qtbot, case, desk):
    made = MySizes(case, desk)
    qtbot.addWidget(made)
    made.resize(460, 220)
    made.show()
    return made


def words(panel, column):
    model = panel.model
    return [model.index(row, column).data() for row in range(model.rowCount())]


def tried(qtbot, panel):
    qtbot.waitUntil(lambda: len(panel.model.rows) == len(SHORT), timeout=90_000)


def press(panel, row):
    place = panel.table.visualRect(panel.model.index(row, 1)).center()
    QTest.mouseClick(panel.table.viewport(), Qt.MouseButton.LeftButton, pos=QPoint(place))


def test_the_rows_are_the_cores_in_the_lists_order(qtbot, panel, case, jaw):
    volume, plan, _ = jaw
    assert words(panel, 2) == [WAITS] * len(SHORT), "dots until they are measured"
    tried(qtbot, panel)
    of_core = try_sizes(plan, plan.fixtures[0].id, SHORT, Basis.of(plan, volume))
    assert words(panel, 1) == [listed.words for listed in SHORT]
    assert words(panel, 2) == [
        "all" if r.met == r.limits else f"{r.limits - r.met} not met" for r in of_core
    ]
    assert words(panel, 3) == [r.note.message if r.stopped_by else "" for r in of_core]
    assert any(words(panel, 3)), "at least the widest lacks something"


def test_no_row_of_an_earlier_pose_is_shown(qtbot, panel, case):
    tried(qtbot, panel)
    moved = fixture_deepened(case.plan, case.fixture.id, 0.5)
    case.preview(moved)
    assert words(panel, 2) == [WAITS] * len(SHORT)
    assert words(panel, 3) == [WAITS] * len(SHORT)
    case.commit("deeper")
    assert words(panel, 2) == [WAITS] * len(SHORT), "until the ledger of this pose is whole"
    case.show_ledger(measure(case.plan, case.volume))
    tried(qtbot, panel)


def test_a_click_gives_the_fixture_that_size_and_undo_takes_it_back(qtbot, panel, case):
    before = case.fixture
    press(panel, 2)
    assert case.fixture.size == SHORT[2].size
    assert case.fixture.platform == pytest.approx(before.platform)
    assert case.undo_stack.undoText() == "fixture 36 set to Ø 4.0 × 10.0 mm"
    assert words(panel, 0) == ["", "", "▸", ""], "the placed size is marked, nothing else"
    case.undo_stack.undo()
    assert case.fixture.size == before.size


def test_the_same_by_keys(qtbot, panel, case):
    panel.table.setFocus()
    panel.table.setCurrentIndex(panel.model.index(0, 1))
    QTest.keyClick(panel.table, Qt.Key.Key_Down)
    assert case.fixture.size != SHORT[1].size, "going there changes nothing"
    QTest.keyClick(panel.table, Qt.Key.Key_Return)
    assert case.fixture.size == SHORT[1].size


def test_a_signed_or_locked_fixture_keeps_its_size(qtbot, panel, case, desk):
    from core.plans.edit import with_lock

    case.apply("locked", with_lock(case.plan, "36", locked=True))
    before = case.fixture.size
    press(panel, 0)
    assert case.fixture.size == before
    assert desk.errors[0].code == "edit-locked"


def test_a_longer_list_is_measured_anew(qtbot, panel, case):
    tried(qtbot, panel)
    settings_of(case).change(sizes=SHORT[:2])
    assert words(panel, 2) == [WAITS] * 2
    qtbot.waitUntil(lambda: len(panel.model.rows) == 2, timeout=90_000)


def test_nothing_is_emphasised(qtbot, panel):
    from PySide6.QtGui import QFont

    tried(qtbot, panel)
    model = panel.model
    for row in range(model.rowCount()):
        for column in range(model.columnCount()):
            index = model.index(row, column)
            for role in (
                Qt.ItemDataRole.ForegroundRole,
                Qt.ItemDataRole.BackgroundRole,
                Qt.ItemDataRole.DecorationRole,
            ):
                assert index.data(role) is None
            assert not isinstance(index.data(Qt.ItemDataRole.FontRole), QFont)


def test_without_a_fixture_it_says_so(qtbot, panel, case):
    from dataclasses import replace

    case.apply("none", replace(case.plan, fixtures=()))
    assert panel.said.text() == "No fixture yet."
    assert words(panel, 2) == [""] * len(SHORT)


def test_csv_in_by_the_list_behind_it(qtbot, panel, case, tmp_path):
    QTest.mouseClick(panel.edit, Qt.MouseButton.LeftButton)
    assert panel.editor.isVisible()
    file = tmp_path / "mine.csv"
    file.write_text("diameter_mm;length_mm\n4,2;9\n", encoding="utf-8")
    panel.editor.read_file(file)
    QTest.mouseClick(panel.edit, Qt.MouseButton.LeftButton)
    assert words(panel, 1) == ["Ø 4.2 × 9.0 mm"]
