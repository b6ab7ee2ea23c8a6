"""Two sizes in one place: looked at side by side, exchanged, and never both planned."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QMenu

from app.dialogs.two_sizes import show_two_sizes
from app.panels.fixture import FixturePanel
from app.panels.ledger_entries import entries
from app.tools.two_sizes import exchange, lay_beside, take_away
from core.fixture import FixtureSize
from core.image.volume import Volume
from core.measuring.assemble import measure
from core.pictures.ink import GLYPHS
from core.plans.edit_pose import fixture_resized
from core.plans.plan_parse import parse
from core.trust.figures import told
from sample_volumes import small_jaw
from tests.app.case_at_hand import IDENTITY, QuietSession

OTHER = FixtureSize(diameter_mm=3.5, length_mm=6.0)


@pytest.fixture(scope="module")
def jaw():
    voxels, affine, truth = small_jaw()
    volume = Volume(
        voxels=voxels, mm_from_ijk=affine, made_up=np.zeros(len(voxels), dtype=bool),
        identity=IDENTITY,
    )  # fmt: skip
    plan = parse({k: v for k, v in truth["plan"].items() if k != "scan"})
    return volume, plan, measure(plan, volume)


@pytest.fixture
def case(qapp, jaw):
    volume, plan, measured = jaw
    session = QuietSession()
    session.open(volume, plan, window=(0.0, 2000.0))
    session.show_ledger(measured)
    session.go_to(selected="36")
    yield session
    session.close()


def entry(menu: QMenu, words: str):
    return next(a for a in menu.actions() if a.text() == words)


def test_chosen_in_the_panels_menu_exchanged_and_taken_away_each_undone(qtbot, case, desk):
    panel = FixturePanel(case, desk)
    qtbot.addWidget(panel)
    panel.show()
    planned = case.fixture.size
    menu = panel.sizes.menu()
    menu.aboutToShow.emit()
    assert not entry(menu, "Plan the other size").isEnabled()
    beside = entry(menu, "Look at another size beside it").menu()
    next(a for a in beside.actions() if a.text() == "Ø 3.5 × 6.0 mm").trigger()
    assert (case.fixture.size, case.fixture.other_size) == (planned, OTHER)
    assert panel.other.text() == "Beside it: Ø 3.5 × 6.0 mm, not planned. X plans it instead."
    menu.aboutToShow.emit()
    entry(menu, "Plan the other size").trigger()
    assert (case.fixture.size, case.fixture.other_size) == (OTHER, planned)
    assert panel.boxes["diameter"].value() == 3.5
    menu.aboutToShow.emit()
    entry(menu, "Take the other size away").trigger()
    assert case.fixture.other_size is None
    assert panel.other.isHidden()
    for size, other in ((OTHER, planned), (planned, OTHER), (planned, None)):
        case.undo_stack.undo()
        assert (case.fixture.size, case.fixture.other_size) == (size, other)


def test_the_log_says_which_one_is_planned(case, desk):
    assert lay_beside(case, desk, OTHER)
    assert exchange(case, desk)
    assert case.undo_stack.undoText() == (
        "Fixture 36: Ø 3.5 × 6.0 mm is planned now, Ø 4.5 × 8.0 mm is the other size"
    )
    assert len(case.plan.fixtures) == 1
    assert take_away(case)
    assert not take_away(case)


def test_a_locked_fixture_keeps_its_size(case, desk):
    from core.plans.edit import with_lock

    lay_beside(case, desk, OTHER)
    case.apply("lock", with_lock(case.plan, "36", locked=True))
    planned = case.fixture.size
    assert not exchange(case, desk)
    assert case.fixture.size == planned


def test_side_by_side_stand_the_same_rows_each_with_its_own_numbers(
    qtbot, case, desk, closing, jaw
):
    lay_beside(case, desk, OTHER)
    dialog = closing(show_two_sizes(case, desk, None))
    qtbot.waitUntil(lambda: bool(dialog.rows), timeout=90_000)
    volume, plan, measured = jaw
    table = dialog.table
    assert table.horizontalHeaderItem(1).text() == "planned: Ø 4.5 × 8.0 mm"
    assert table.horizontalHeaderItem(2).text() == "not planned: Ø 3.5 × 6.0 mm"
    other = measure(fixture_resized(plan, "36", OTHER), volume)
    texts = [[table.item(n, c).text() for c in (1, 2)] for n in range(table.rowCount())]
    assert len(texts) > 5
    for ledger, row, column in ((measured, dialog.rows[0], 0), (other, dialog.rows[1], 1)):
        shown = [
            f"{GLYPHS[m.verdict]} {told(m)}" for m in map(ledger.get, (m.id for m in row.rows))
        ]
        assert all(any(t[column].startswith(s) for t in texts) for s in shown)
    assert any(one != two for one, two in texts)
    assert dialog.summary.text().startswith("Planned, Ø 4.5 × 8.0 mm:")
    QTest.mouseClick(dialog.ok, Qt.MouseButton.LeftButton)
    assert case.fixture.size == OTHER


def test_every_picture_and_the_list_tell_the_other_size_from_the_planned_one(case, desk, jaw):
    from core.image.section import across_arch_grid
    from core.pictures.chart_parts import fixture_lines

    lay_beside(case, desk, OTHER)
    fixture = case.fixture
    station = case.arch.station(fixture.platform)
    grid = across_arch_grid(case.arch, station, size_mm=(40.0, 40.0), pixel_mm=0.2)
    styles = [line.style for line in fixture_lines(fixture, grid)]
    assert styles.count("other size") == styles.count("fixture") == 1
    lines = entries(case.plan, case.ledger, None, current=True, whole=True, opened=set())
    assert any("no number here is of that size" in line.text for line in lines)
