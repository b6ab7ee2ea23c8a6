"""The window as a person uses it: open, confirm, step, undo, and nothing clipped."""

from __future__ import annotations

import threading
from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import QMimeData, QPoint, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent, QFontMetrics
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel, QMessageBox, QPushButton, QToolButton

import sample_volumes
from app.case.loading import best_of, must_ask
from app.case.record import CaseRecord
from app.pictures.places import NEIGHBOUR_MM
from app.tools.catalogue import TOOLS
from app.widgets import style
from app.window.bench import Bench
from core.image.volume import ScanIdentity, Volume
from core.plans.plan import Plan, ScanTie
from core.scan.report import SeriesReport
from core.words.cautions import CAUTIONS

FOLDED = {tool.name for tool in TOOLS if tool.folded}

SCAN = "lower_left_36"


@pytest.fixture
def bench(qtbot, tmp_path):
    made = Bench(tmp_path / "cases")
    made.resize(1366, 768)
    with qtbot.waitExposed(made):
        made.show()
    yield made
    for box in made.findChildren(QMessageBox):
        box.close()
    made.close()
    qtbot.waitUntil(lambda: not made.pictures.busy, timeout=20000)
    made.deleteLater()


def opened(bench, qtbot, plan=""):
    if plan:
        bench.opening.scan(str(sample_volumes.path(SCAN)), plan=str(sample_volumes.path(plan)))
    else:
        bench.opening.sample()
    qtbot.waitUntil(lambda: bench.pages.currentWidget() is bench.work, timeout=60000)
    qtbot.waitUntil(
        lambda: not bench.pictures.busy and bench.pictures.panorama.has_picture, timeout=60000
    )


def test_the_first_screen_says_the_cautions(bench):
    assert bench.pages.currentWidget() is bench.start
    assert CAUTIONS in [label.text() for label in bench.start.findChildren(QLabel)]


def test_the_hint_follows_the_state_of_a_tool(bench, monkeypatch):
    """What a tool found by itself changes what a click does next."""
    bench.session.volume = object()
    monkeypatch.setattr(bench.hub.active, "hint", lambda: "Enter confirms.")
    bench.redraw()
    assert bench.work.hint.text() == "Enter confirms."
    bench.session.volume = None


def test_the_hint_stands_whole_below_the_button_that_leads_on(bench, qtbot):
    """As large as any text, on the smallest window too; what lies below it does not move."""
    opened(bench, qtbot, f"{SCAN}.plan.json")
    bench.resize(1024, 680)
    below, tops = bench.work.panels["fixture"], set()
    for tool in ("Move", "Fixture", "Follow canal", "Find root", "Jaw plane"):
        bench.take_tool(tool)
        qtbot.wait(50)
        hint, button = bench.work.hint, bench.work.next_mark
        assert hint.text() == bench.hub.active.hint()
        assert hint.isVisible()
        assert hint.height() >= hint.heightForWidth(hint.width()), tool
        top = hint.mapTo(bench, QPoint(0, 0)).y()
        assert 0 <= top - button.mapTo(bench, QPoint(0, button.height())).y() <= 8
        assert hint.font().pixelSize() >= button.font().pixelSize()
        assert hint.palette().windowText().color() == style.TEXT
        if tool != "Jaw plane":  # which lays other pictures out
            tops.add(below.mapTo(bench, QPoint(0, 0)).y())
    assert len(tops) == 1, "the panel below jumps from tool to tool"


def test_enter_presses_what_has_the_focus_on_the_first_screen(bench, qtbot):
    bench.start.open_sample.disconnect()
    (button,) = [b for b in bench.start.findChildren(QPushButton) if "sample" in b.text()]
    with qtbot.waitSignal(bench.start.open_sample, timeout=2000):
        QTest.keyClick(button, Qt.Key.Key_Return)


def test_a_case_left_open_by_a_crash_comes_first_and_names_can_be_hidden(bench):
    closed = CaseRecord(key="a", patient="QUARRY^Sample", tooth="36", closed=True)
    left = CaseRecord(key="b", patient="HARBOUR^Sample", tooth="46")
    bench.start.show_recent((closed, left), hidden=False, left_open=(left,))
    words = [bench.start.list.item(n).text() for n in range(2)]
    assert words[0].startswith("Not closed properly: HARBOUR")
    assert "36, lower left first molar" in words[1]
    bench.start.open_recent.disconnect()
    bench.start.names_hidden.disconnect()
    bench.start.hide_names.setChecked(True)
    words = [bench.start.list.item(n).text() for n in range(2)]
    assert not any("HARBOUR" in text or "QUARRY" in text for text in words)
    taken = []
    bench.start.open_recent.connect(taken.append)
    bench.start.list.setCurrentRow(0)
    QTest.keyClick(bench.start.list, Qt.Key.Key_Return)
    assert taken == [left]


def test_nothing_is_blank_and_no_number_is_given_until_the_arch_is_confirmed(bench, qtbot):
    opened(bench, qtbot)
    assert all(view.has_picture for view in bench.pictures.views)
    assert bench.work.proposed.isVisible()
    assert "suggestions" in bench.work.proposed.words.text()
    right, middle, left = (f"{each.mm:.1f}" for each in bench.session.plane_misses)
    assert (
        f"misses the tips of the teeth by up to {right} mm at the right end of the arch, "
        f"{middle} mm in the middle and {left} mm at the left end"
    ) in bench.work.proposed.words.text()
    assert bench.session.ledger is None
    QTest.mouseClick(bench.work.proposed.for_lower, Qt.MouseButton.LeftButton)
    assert bench.session.confirmed
    assert bench.session.plan.jaw == "lower"
    assert not bench.work.proposed.isVisible()
    assert "confirmed as suggested" in bench.session.plan.history[-1]["what"]
    qtbot.waitUntil(lambda: bench.session.ledger is not None, timeout=60000)


def test_keys_step_and_never_move_an_object(bench, qtbot):
    opened(bench, qtbot, f"{SCAN}.plan.json")
    session, section = bench.session, bench.pictures.section
    section.setFocus()
    fixture, at = session.plan.fixtures[0], session.station_mm
    QTest.keyClick(section, Qt.Key.Key_Right)
    assert session.station_mm == pytest.approx(at + 1)
    QTest.keyClick(section, Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier)
    assert session.station_mm == pytest.approx(at - 4)
    assert session.plan.fixtures[0] is fixture
    assert session.undo_stack.count() == 0


def test_a_click_in_one_picture_moves_the_others(bench, qtbot):
    opened(bench, qtbot, f"{SCAN}.plan.json")
    session, arch = bench.session, bench.session.arch
    wanted = arch.frame(20.0).origin
    at = bench.pictures.arch_map.screen_position(wanted).toPoint()
    QTest.mouseClick(bench.pictures.arch_map, Qt.MouseButton.LeftButton, pos=at)
    reach = 2 * bench.pictures.arch_map.mm_per_pixel()
    assert session.station_mm == pytest.approx(20.0, abs=reach)
    assert bench.pictures.section.station_mm == session.station_mm
    pixel = bench.pictures.panorama
    at = pixel.to_screen().map(QPointF(pixel.u_of(40.0), 0.0)).toPoint()
    QTest.mouseClick(pixel, Qt.MouseButton.LeftButton, pos=at)
    assert session.station_mm == pytest.approx(40.0, abs=2 * pixel.mm_per_pixel())
    third = bench.pictures.neighbours[5]
    station = third.station_mm
    QTest.mouseClick(third, Qt.MouseButton.LeftButton, pos=QPoint(20, 30))
    assert session.station_mm == pytest.approx(station)


def test_a_click_where_nothing_was_scanned_takes_no_picture_there(bench, qtbot):
    opened(bench, qtbot, f"{SCAN}.plan.json")
    section, session = bench.pictures.section, bench.session
    bench.take_tool("Move")
    rows, cols = np.nonzero(np.isnan(section._grey))
    shape, pixel = section._grey.shape, section.grid.pixel_mm
    uv = np.stack([cols - (shape[1] - 1) / 2, (shape[0] - 1) / 2 - rows], axis=1) * pixel
    places = [section.to_screen().map(QPointF(*at)).toPoint() for at in uv]
    at = next(p for p in places if section.rect().adjusted(20, 20, -20, -20).contains(p))
    height, map_says = session.point_mm, bench.pictures.arch_map.subtitle
    QTest.mouseClick(section, Qt.MouseButton.LeftButton, pos=at)
    assert session.point_mm is height
    assert "was not scanned" in bench.said.text()
    qtbot.waitUntil(lambda: not bench.pictures.busy, timeout=20000)
    assert bench.pictures.arch_map.subtitle == map_says


def test_ctrl_z_and_ctrl_y(bench, qtbot):
    opened(bench, qtbot)
    bench.activateWindow()
    bench.session.confirm_proposal("lower")
    bench.session.undo_stack.undo()
    assert not bench.session.confirmed
    shortcuts = [s.toString() for a in bench.menus.edit.actions() for s in a.shortcuts()]
    assert {"Ctrl+Z", "Ctrl+Y"} <= set(shortcuts)
    redo = bench.menus.edit.actions()[1]
    redo.trigger()
    assert bench.session.confirmed


def test_the_plan_of_another_scan_is_refused_with_a_reason(bench, qtbot, monkeypatch):
    told = []
    monkeypatch.setattr(bench, "tell_error", told.append)
    bench.opening.loading.failed.connect(told.append)
    bench.opening.scan(
        str(sample_volumes.path(SCAN)), plan=Plan(scan=ScanTie(series_uid="1.2.3.4"))
    )
    qtbot.waitUntil(lambda: bool(told), timeout=60000)
    assert told[0].code == "plan-other-scan"
    assert bench.session.volume is None
    assert bench.pages.currentWidget() is bench.start


def test_the_voxels_are_summed_up_by_a_worker_once_and_before_any_number_stands(
    bench, qtbot, monkeypatch
):
    summed, numbers = [], []
    usual = Volume._summed

    def noted(volume):
        summed.append((threading.current_thread() is threading.main_thread(), len(numbers)))
        return usual(volume)

    monkeypatch.setattr(Volume, "_summed", noted)
    bench.session.ledger_changed.connect(
        lambda: numbers.extend(bench.session.ledger.measurements if bench.session.ledger else ())
    )
    opened(bench, qtbot, f"{SCAN}.plan.json")
    qtbot.waitUntil(lambda: bool(numbers), timeout=120000)
    assert summed == [(False, 0)]


def test_a_kept_plan_is_tied_to_the_voxels_and_a_changed_scan_opens_no_numbers(
    bench, qtbot, monkeypatch
):
    opened(bench, qtbot)
    tie = bench.session.plan.scan
    assert tie.fingerprint == bench.session.volume.fingerprint()
    bench.close_case()
    told = []
    monkeypatch.setattr(bench, "tell_error", told.append)
    changed = Plan(scan=replace(tie, fingerprint="sha256:other"))
    bench.opening.scan(str(sample_volumes.path(SCAN)), plan=changed)
    qtbot.waitUntil(lambda: bool(told), timeout=60000)
    assert told[0].code == "plan-scan-changed"
    assert bench.session.volume is None


def test_a_folder_without_a_scan_is_told_plainly(bench, qtbot, tmp_path):
    (tmp_path / "notes.txt").write_text("nothing")
    told = []
    bench.opening.loading.failed.connect(told.append)
    bench.opening.path(str(tmp_path))
    qtbot.waitUntil(lambda: bool(told), timeout=30000)
    box = bench.findChild(QMessageBox)
    assert box is not None
    assert "Traceback" not in box.text() + box.informativeText() + box.detailedText()
    assert bench.pages.currentWidget() is bench.start


def test_a_scan_can_be_dropped_on_the_window_and_given_up(bench, qtbot):
    mime = QMimeData()
    mime.setUrls([QUrl.fromLocalFile(str(sample_volumes.path(SCAN)))])
    drop = QDropEvent(
        QPointF(50, 50), Qt.DropAction.CopyAction, mime, Qt.MouseButton.LeftButton,
        Qt.KeyboardModifier.NoModifier,
    )  # fmt: skip
    bench.dropEvent(drop)
    assert bench.pages.currentWidget() is bench.loading_page
    QTest.mouseClick(bench.loading_page.cancel, Qt.MouseButton.LeftButton)
    assert bench.pages.currentWidget() is bench.start
    qtbot.wait(600)
    assert bench.session.volume is None


@pytest.mark.parametrize("size", [(1366, 768), (1440, 930)])
def test_every_tool_is_inside_the_window(bench, qtbot, size):
    opened(bench, qtbot, f"{SCAN}.plan.json")
    bench.resize(*size)
    qtbot.wait(50)
    area = bench.rect()
    for button in bench.work.tool_row.findChildren(QToolButton):
        corner = button.mapTo(bench, QPoint(button.width(), button.height()))
        assert area.contains(corner), button.text()
        assert button.width() >= button.sizeHint().width()
    assert bench.width() == size[0], "the window had to grow to hold its parts"
    assert bench.height() == size[1]
    assert bench.pictures.section.height() > 0.45 * size[1]


@pytest.mark.parametrize(("size", "most"), [((1366, 768), 3), ((1024, 680), 2)])
def test_no_more_is_unfolded_than_has_room(bench, qtbot, size, most):
    opened(bench, qtbot, f"{SCAN}.plan.json")
    bench.resize(*size)
    qtbot.waitUntil(lambda: bench.work.strip.width() < 0.8 * size[0])
    folds = bench.work.folds
    for place, button in folds.items():
        QTest.mouseClick(button, Qt.MouseButton.LeftButton)
        assert button.isChecked(), place
    kept = list(folds)[-most:]
    assert [place for place, button in folds.items() if button.isChecked()] == kept
    for place in folds:
        panel = bench.work.panels[place]
        assert panel.isVisible() == (place in kept), place
        if panel.isVisible():
            heading = panel.heading
            need = heading.fontMetrics().horizontalAdvance(heading.text())
            qtbot.waitUntil(lambda h=heading, n=need: h.width() >= n)


def test_with_all_that_fits_unfolded_the_section_stays_large_and_nothing_is_clipped(bench, qtbot):
    opened(bench, qtbot, f"{SCAN}.plan.json")
    before = bench.pictures.section.height()
    for place in bench.work.folds:
        bench.work.folds[place].setChecked(True)
    # What the rows say takes width from the last head.
    qtbot.waitUntil(lambda: bool(bench.work.panels["my sizes"].model.rows), timeout=90000)
    qtbot.wait(50)
    assert bench.pictures.section.height() >= 400
    assert (bench.width(), bench.height()) == (1366, 768)
    assert bench.pictures.arch_map.height() >= 150
    table = bench.work.panels["my sizes"].editor.table
    head = table.horizontalHeader()
    for column in range(table.columnCount()):
        words = table.horizontalHeaderItem(column).text()
        need = head.fontMetrics().horizontalAdvance(words)
        assert head.sectionSize(column) >= need, words
    tried = bench.work.panels["my sizes"].table
    head = tried.horizontalHeader()
    for column in range(tried.model().columnCount()):
        words = tried.model().headerData(column, Qt.Orientation.Horizontal)
        # 6 pixels on each side belong to the head's own edge.
        assert head.sectionSize(column) >= head.fontMetrics().horizontalAdvance(words) + 12, words
    panels = [bench.work.panels[place] for place in bench.work.folds]
    for panel in (panel for panel in panels if panel.isVisible()):
        for button in panel.findChildren(QPushButton):
            need = button.fontMetrics().horizontalAdvance(button.text())
            assert button.width() >= need + 4, button.text()
        heading = panel.heading
        assert heading.width() >= heading.fontMetrics().horizontalAdvance(heading.text())
        right = panel.mapTo(bench, QPoint(panel.width(), panel.height()))
        assert bench.rect().contains(right)
    for place in bench.work.folds:
        bench.work.folds[place].setChecked(False)
    qtbot.wait(50)
    assert bench.pictures.section.height() == pytest.approx(before, abs=8)
    assert bench.pictures.panorama.isVisible()


def test_on_the_smallest_window_words_neither_touch_nor_are_cut(bench, qtbot):
    opened(bench, qtbot, f"{SCAN}.plan.json")
    dial, section = bench.work.dial, bench.pictures.section
    assert dial.isVisible()
    bench.resize(1024, 680)
    qtbot.wait(50)
    heads = {place: fold.mapTo(bench, QPoint(0, 0)) for place, fold in bench.work.folds.items()}
    for unfolded in bench.work.folds:
        bench.work.folds[unfolded].setChecked(True)
        qtbot.wait(100)
        for place, fold in bench.work.folds.items():
            moved = fold.mapTo(bench, QPoint(0, 0)).y() - heads[place].y()
            within = abs(moved) < fold.height() / 2
            assert within, f"{unfolded}: a second click would hit something else"
        bench.work.folds[unfolded].setChecked(False)
    bench.resize(1024, 680)
    qtbot.waitUntil(lambda: not bench.pictures.busy, timeout=20000)
    qtbot.wait(50)
    assert (bench.width(), bench.height()) == (1024, 680)
    area = section.picture_rect().intersected(section.rect())
    half_a_line = QFontMetrics(style.font(13)).height() / 2
    assert dial.y() - 4 > area.center().y() + half_a_line, "over the side's name"
    assert dial.geometry().bottom() < section.height()
    every = [name for name in bench.work.strip.findChildren(QLabel) if name.toolTip()]
    assert [name.toolTip() for name in every][:4] == [
        "3 mm mesial", "2 mm mesial", "1 mm mesial", "here",
    ]  # fmt: skip
    # Seven would be too narrow for their letters and bars.
    names = [name for name in every if name.isVisible()]
    assert [name.text() for name in names] == [name.toolTip() for name in every[1:-1]]
    scales = {round(v.width() * v.mm_per_pixel(), 3) for v in bench.pictures.neighbours[1:-1]}
    assert min(scales) < 2 * NEIGHBOUR_MM[0], "shown far smaller than there is room for"
    assert all(view.width() >= 60 for view in bench.pictures.neighbours if view.isVisible())
    for name in names:
        assert name.fontMetrics().horizontalAdvance(name.text()) <= name.width(), name.text()


def test_on_a_high_screen_what_is_unfolded_stands_below_the_panorama(bench, qtbot):
    opened(bench, qtbot, f"{SCAN}.plan.json")
    bench.resize(1920, 1052)
    qtbot.wait(50)
    bench.work.folds["my sizes"].setChecked(True)
    qtbot.wait(50)
    assert bench.pictures.panorama.isVisible()
    assert bench.work.panels["my sizes"].isVisible()
    assert bench.pictures.section.height() >= 480


def test_every_picture_and_tool_can_be_reached_with_keys_alone(bench, qtbot):
    """Tab goes through the pictures and to the active tool; arrows go on from tool to tool."""
    opened(bench, qtbot, f"{SCAN}.plan.json")
    start = bench.pictures.section
    start.setFocus()
    seen = [start]
    for _ in range(300):
        QTest.keyClick(bench.focusWidget(), Qt.Key.Key_Tab)
        seen.append(bench.focusWidget())
        if seen[-1] is start:
            break
    assert seen[-1] is start, "the Tab key goes round"
    assert {*bench.pictures.views} <= {*seen}
    row = bench.work.tool_row
    assert row.button("Move") in seen
    assert {row.button(name) for name in FOLDED} <= {*seen}
    row.button("Move").setFocus()
    reached = set()
    for _ in range(40):
        focused = bench.focusWidget()
        reached.add(focused.text() if isinstance(focused, QToolButton) else "")
        QTest.keyClick(focused, Qt.Key.Key_Right)
    assert {tool.title() for tool in bench.hub.tools.values() if not tool.folded} <= reached


def test_a_folded_tool_shows_its_name_while_it_is_active(bench, qtbot):
    opened(bench, qtbot, f"{SCAN}.plan.json")
    name = "stent_top"
    bench.take_tool(name)
    row = bench.work.tool_row
    assert row.button(name).text() == "Stent top …"
    assert row.button(name).isChecked()
    assert not row.button("Move").isChecked()
    bench.take_tool("Move")
    assert row.button("Move").isChecked()
    assert not row.button(name).isChecked()


def test_grey_windows_and_slab_change_no_number(bench, qtbot):
    opened(bench, qtbot, f"{SCAN}.plan.json")
    qtbot.waitUntil(lambda: bench.session.ledger_is_whole, timeout=60000)
    before = bench.session.ledger
    bench.use_window("bone")
    bench.session.look_through(slab_mm=5.0)
    qtbot.waitUntil(lambda: not bench.pictures.busy, timeout=30000)
    assert bench.session.ledger is before


def report(date="2026-09-14", voxel=0.25, *, usable=True, uid="1"):
    return SeriesReport(
        uid=uid, stack=0, modality="CT", description="", date=date, shape=(10, 10, 10),
        voxel_mm=(voxel, voxel, voxel), usable=usable, findings=(), identity=ScanIdentity(),
        middle=None,
    )  # fmt: skip


def test_two_dates_always_ask():
    assert not must_ask((report(),))
    assert not must_ask((report(), report(usable=False)))
    assert must_ask((report(), report(uid="2")))
    assert must_ask((report(), report("2025-01-01", usable=False)))


def test_the_latest_and_finest_usable_series_is_preselected():
    reports = (
        report("2025-01-01", 0.1),
        report("2026-09-14", 0.3),
        report("2026-09-14", 0.2),
        report("2026-10-01", 0.1, usable=False),
    )
    assert best_of(reports) == 2


def test_the_chooser_opens_what_was_chosen(bench, qtbot):
    from app.case.loading import Contents

    picture = np.zeros((20, 20), dtype=np.float32)
    reports = (report("2025-01-01", uid="1.1"), report("2026-09-14", uid="1.2"))
    bench._choose(Contents(path="somewhere", reports=reports, pictures=(picture, None)))
    assert bench.pages.currentWidget() is bench.chooser
    assert "2 dates" in bench.chooser.why.text()
    assert bench.chooser.list.currentRow() == 1
    bench.chooser.chosen.disconnect()
    with qtbot.waitSignal(bench.chooser.chosen) as got:
        QTest.mouseClick(bench.chooser.open, Qt.MouseButton.LeftButton)
    assert got.args == ["somewhere", "1.2:0"]
