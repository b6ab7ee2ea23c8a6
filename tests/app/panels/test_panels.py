"""Patient line, log, fixture boxes, scan checks, my sizes: with real mouse and key events."""

import csv
from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import QRect, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel, QPushButton, QStyleOptionViewItem

from app.case.scan_checks import parts_of, warnings_of
from app.case.settings import settings_of
from app.dialogs.answers.confirm_jaw import confirm_jaw
from app.dialogs.answers.interpreted import InterpretedDialog
from app.dialogs.answers.side import SideDialog
from app.dialogs.answers.side_question import SideQuestion, SideTrouble
from app.dialogs.answers.sign_off import SignOffDialog
from app.panels import scan_checks
from app.panels.fixture import FixturePanel
from app.panels.fixture_words import align_targets
from app.panels.log import Log, LogLine, held, log_lines
from app.panels.my_sizes import MySizes
from app.panels.open_points import OpenPoint, open_points
from app.panels.patient_line import PatientLine
from app.panels.scan_checks import ScanChecks
from core.findings import Finding
from core.fixture import FixtureSize
from core.plans.history import sign
from core.plans.plan import TISSUES, TissuePoint
from core.structures import StentAxis, Tapered
from tests.app.case_at_hand import ledger, plan, proposed, row


def shown(qtbot, panel, width, height):
    qtbot.addWidget(panel)
    panel.resize(width, height)
    panel.show()
    qtbot.wait(20)
    return panel


def test_who_and_which_side(qtbot, session, desk):
    bar = shown(qtbot, PatientLine(session, desk), 1366, 44)
    assert bar.name.whole == "QUARRY, Sample"
    assert "1961-04-02" in bar.rest.whole
    assert "S-0107" in bar.rest.whole
    assert "2026-09-14" in bar.rest.whole
    assert bar.tooth.text() == "36, lower left first molar (19 in 1–32)"
    assert bar.side.text() == "LEFT confirmed, chart (LM)"
    assert bar.state.text().startswith("DRAFT")
    assert bar.rest.text() == bar.rest.whole, "cut at 1366 pixels"


def test_a_name_is_whole_even_where_the_rest_must_be_cut(qtbot, session, desk):
    bar = shown(qtbot, PatientLine(session, desk), 1024, 44)
    assert bar.name.text() == "QUARRY, Sample"
    assert bar.rest.text().startswith("born 1961-04-02")
    assert "scanned 2026-09-14" in bar.rest.text(), "the date is whole where its age is cut"
    assert bar.rest.toolTip() == bar.rest.whole


def test_an_old_scan_is_marked_as_one(qtbot, session, desk):
    bar = shown(qtbot, PatientLine(session, desk), 1366, 44)
    assert "!" not in bar.rest.whole
    identity = replace(session.volume.identity, study_date="2019-03-01")
    session.volume = replace(session.volume, identity=identity)
    session.scan_changed.emit()
    assert "! scanned 2019-03-01" in bar.rest.text(), "not cut with the age"
    assert "A new scan must be clinically justified" in bar.rest.toolTip()


def test_names_can_be_hidden(qtbot, session, desk):
    bar = shown(qtbot, PatientLine(session, desk), 1366, 44)
    QTest.mouseClick(bar.names, Qt.MouseButton.LeftButton)
    for secret in ("QUARRY", "1961", "S-0107"):
        assert secret not in bar.name.whole + bar.rest.whole
    QTest.mouseClick(bar.names, Qt.MouseButton.LeftButton)
    assert bar.name.whole == "QUARRY, Sample"


def test_the_other_numbering_stands_first_when_chosen(qtbot, session, desk):
    bar = shown(qtbot, PatientLine(session, desk), 1366, 44)
    settings_of(session).change(numbering="1-32")
    assert bar.tooth.text() == "19, lower left first molar (36 in ISO)"
    settings_of(session).change(numbering="iso")


def test_open_points_are_facts_and_never_answered_by_software():
    of = plan(side_check=None)
    texts = [p.text for p in open_points(of, ledger(of), confirmed=True)]
    assert texts == [
        "Side: not confirmed with patient or chart",
        "Foramen: not marked",
        "Image quality: not yet checked",
        "Whole volume: not yet interpreted",
    ]


OLD = Finding("scan-old", "caution", {"scanned": "2024-01-05", "months": "34"})


def test_a_warning_of_the_scan_checks_is_open_before_anything_is_planned_and_until_it_is_signed():
    of = plan()
    told = "Scan check: The scan of 2024-01-05 is 34 months old"

    def texts(case, warnings):
        return [p.text for p in open_points(case, None, confirmed=True, warnings=warnings)]

    assert texts(plan(fixtures=(), level=None, arch_points=None), (OLD,))[0] == told
    assert texts(of, (OLD,))[0] == told
    assert texts(of, (OLD,) * 3)[0] == "Scan checks: 3 warnings"
    assert told not in texts(sign(of, name="LM", role="dentist", at="now"), (OLD,))


def test_the_log_and_the_button_of_the_scan_checks_tell_of_a_warning(qtbot, session, desk):
    log = shown(qtbot, Log(session, desk), 270, 260)
    panel = ScanChecks(session, desk)
    qtbot.addWidget(panel)
    told = []
    panel.marked.connect(told.append)
    assert panel.marks == 0
    session.show_ledger(replace(ledger(session.plan), findings=(OLD,)))
    assert (panel.marks, told) == (1, [1])
    row = next(n for n, x in enumerate(log.model.lines) if x.text.startswith("Scan check"))
    log.view.clicked.emit(log.model.index(row))
    assert desk.asked == ["checks"]


def test_an_old_scan_is_told_before_anything_is_measured(session):
    """The warning comes before the planning: from scan and date alone."""
    volume = session.volume
    old = replace(volume, identity=replace(volume.identity, study_date="2019-01-05"))
    session.volume, session.ledger = old, None
    assert "scan-old" in [f.code for f in warnings_of(session)]


class Painted:
    """Stands for a painter, and remembers what was written."""

    def __init__(self):
        self.words = []

    def drawText(self, *how):  # noqa: N802 (Qt's name)
        self.words.append(how[-1])

    def __getattr__(self, _name):
        return lambda *_: None


@pytest.mark.parametrize(("by", "written"), [
    ("LM", ["LM", "Marked"]), ("L. Marsh", ["Marked · L. Marsh"]), ("", ["Marked"]),
])  # fmt: skip
def test_a_name_in_the_log_is_never_cut(qtbot, session, desk, by, written):
    log = shown(qtbot, Log(session, desk), 270, 260)
    session.operator = by
    session.apply("marked", replace(session.plan, image_check=None))
    row = next(n for n, line in enumerate(log.model.lines) if line.point is None)
    option = QStyleOptionViewItem()
    option.rect = QRect(0, 0, 250, 60)
    painter = Painted()
    log._delegate.paint(painter, option, log.model.index(row))
    assert painter.words[1:] == written
    session.operator = ""


def test_log_shows_what_was_done_with_initials(qtbot, session, desk):
    log = shown(qtbot, Log(session, desk), 270, 260)
    session.operator = "LM"
    session.apply("jaw plane from three points", session.plan)
    done = [line for line in log.model.lines if line.point is None]
    assert done[0].text == "Jaw plane from three points"
    assert done[0].by == "LM"
    assert done[0].at
    session.undo_stack.undo()
    done = [line for line in log.model.lines if line.point is None]
    assert done[0].text.startswith("Undone: ")
    assert log.model.lines[0].point is not None, "open points stand on top"


def test_open_points_keep_their_place_while_the_pointer_is_among_them(
    qtbot, session, desk, monkeypatch
):
    session.plan = plan(side_check=None)
    session.show_ledger(ledger(session.plan))
    log = shown(qtbot, Log(session, desk), 270, 260)
    before = [line.text for line in log.model.lines if line.point is not None]
    monkeypatch.setattr(log.view, "underMouse", lambda: True)
    session.apply("side compared", plan())
    now = log.model.lines
    assert [line.text for line in now[: len(before)]] == before, "nothing moved below the hand"
    assert now[0].settled
    log.view.clicked.emit(log.model.index(0))
    assert desk.asked == []
    monkeypatch.setattr(log.view, "underMouse", lambda: False)
    log.view.left.emit()
    assert [line.text for line in log.model.lines if line.weighs] == before[1:]


def test_what_is_newly_open_comes_behind_what_stands_there():
    first, second, third = (LogLine(text=t, point=OpenPoint(text=t)) for t in "abc")
    done = LogLine(text="done")
    assert held((first, third), (second, third, done)) == (
        LogLine(text="a", settled=True), third, second, done,
    )  # fmt: skip


def test_the_log_draws_no_half_line(qtbot, session, desk):
    log = shown(qtbot, Log(session, desk), 270, 150)
    for n in range(9):
        session.apply(f"step {n} of a work that takes two lines at least", session.plan)
    log.view.doItemsLayout()
    view = log.view.viewport()
    rects = [log.view.visualRect(log.model.index(n)) for n in range(log.model.rowCount())]
    cut = next(r for r in rects if r.top() < view.height() < r.bottom())
    drawn = view.grab().toImage()
    shades = {drawn.pixel(x, y) for x in range(4, 200) for y in range(cut.top(), view.height())}
    assert len(shades) == 1


def test_equal_steps_are_one_line():
    steps = [{"who": "LM", "when": "2026-11-24T10:00:00Z", "what": "moved"}] * 3
    (line,) = log_lines((), tuple(steps))
    assert line.text == "Moved (× 3)"


def test_an_open_point_opens_its_question_and_stays_until_answered(qtbot, session, desk):
    log = shown(qtbot, Log(session, desk), 270, 260)
    row = next(n for n, x in enumerate(log.model.lines) if x.text.startswith("Whole volume"))
    log.view.setCurrentIndex(log.model.index(row))
    log.view.setFocus()
    QTest.keyClick(log.view, Qt.Key.Key_Return)
    dialog = log.findChild(InterpretedDialog)
    dialog.reject()
    assert any(x.text.startswith("Whole volume") for x in log.model.lines)


def test_an_open_side_is_asked_and_the_answer_can_be_undone(qtbot, session, desk):
    log = shown(qtbot, Log(session, desk), 270, 260)
    straight = np.array([(20.0, 0, 0), (21.5, 18, 0), (23.0, 36, 0)])
    session.apply("a short trace", replace(session.plan, arch_points=straight, fixtures=(),
                                           sites=(), structures=()))  # fmt: skip
    before = session.plan.side_answers
    row = next(n for n, x in enumerate(log.model.lines) if x.text.startswith("Which teeth"))
    log.view.setCurrentIndex(log.model.index(row))
    log.view.setFocus()
    QTest.keyClick(log.view, Qt.Key.Key_Return)
    dialog = log.findChild(SideQuestion)
    assert not dialog.ok.isEnabled(), "nothing is chosen beforehand"
    dialog.reject()
    assert session.plan.side_answers == before, "turned away: nothing is taken for an answer"
    QTest.keyClick(log.view, Qt.Key.Key_Return)
    dialog = log.findChildren(SideQuestion)[-1]
    next(b for b in dialog.choices.buttons() if "left" in b.text()).click()
    dialog.ok.click()
    assert session.plan.side_answers.region == "left back"
    assert any(x.text.startswith("Which end") for x in log.model.lines)
    session.undo_stack.undo()
    assert session.plan.side_answers == before


def test_without_an_arch_there_is_nothing_to_confirm_but_an_arch_to_trace(qtbot, session, desk):
    log = shown(qtbot, Log(session, desk), 270, 260)
    session.apply("arch taken away", replace(session.plan, arch_points=None))
    row = next(n for n, x in enumerate(log.model.lines) if x.text.startswith("Jaw plane and arch"))
    log.view.setCurrentIndex(log.model.index(row))
    log.view.setFocus()
    QTest.keyClick(log.view, Qt.Key.Key_Return)
    assert desk.tools == ["Arch"]
    assert session.plan.arch_points is None
    session.undo_stack.undo()


def test_the_bar_shows_no_side_while_tooth_and_side_contradict_each_other(qtbot, session, desk):
    bar = shown(qtbot, PatientLine(session, desk), 1366, 44)
    before = bar.side.text()
    wrong = replace(session.plan.fixtures[0], tooth="46")
    session.apply("tooth named", replace(session.plan, fixtures=(wrong,)))
    assert bar.side.text().startswith("Left and right may be swapped. Check.")
    bar.side.click()
    trouble = bar.findChild(SideTrouble)
    said = " ".join(label.text() for label in trouble.findChildren(QLabel))
    assert "patient or the chart" in said
    assert "nothing can be signed" in said
    trouble.reject()
    session.undo_stack.undo()
    assert bar.side.text() == before


def test_signing_asks_for_the_side_first_where_only_that_is_open(qtbot, session, desk):
    session.apply("side taken back", replace(session.plan, side_check=None))
    bar = shown(qtbot, PatientLine(session, desk), 1366, 44)
    bar.state.click()
    assert bar.findChild(SignOffDialog) is None
    dialog = bar.findChild(SideDialog)
    dialog.button("patient", "left").click()
    dialog.by.setText("LM")
    dialog.ok.click()
    session.show_ledger(ledger(session.plan), whole=False)
    assert bar.findChild(SignOffDialog) is None, "not before everything is measured"
    session.show_ledger(ledger(session.plan))
    session.show_ledger(ledger(session.plan))
    assert len(bar.findChildren(SignOffDialog)) == 1
    bar.findChild(SignOffDialog).reject()


def test_another_jaw_than_the_image_shows_is_asked_about(qtbot, session, desk):
    own = session.plan
    session.proposal = replace(proposed(own), jaw="upper")
    session.plan = replace(own, jaw=None)
    desk.answer = None
    confirm_jaw(session, desk, "lower")
    assert session.plan.jaw is None, "turned away"
    assert desk.asked[-1][1] == ("It is the lower jaw",)
    desk.answer = "It is the lower jaw"
    confirm_jaw(session, desk, "lower")
    assert session.plan.jaw == "lower"
    session.plan = replace(own, jaw=None)
    desk.asked.clear()
    confirm_jaw(session, desk, "upper")
    assert session.plan.jaw == "upper"
    assert not desk.asked
    assert desk.tools == [], "a plan with a fixture keeps its tool"
    session.plan = replace(own, jaw=None, fixtures=())
    confirm_jaw(session, desk, "upper")
    assert desk.tools == ["Fixture"], "a new case begins with the fixture"


def test_side_button_asks(qtbot, session, desk):
    bar = shown(qtbot, PatientLine(session, desk), 1366, 44)
    QTest.mouseClick(bar.side, Qt.MouseButton.LeftButton)
    dialog = bar.findChild(SideDialog)
    assert dialog is not None
    assert dialog.group.checkedId() == -1, "nothing is chosen beforehand"
    dialog.reject()


@pytest.fixture
def fixture_panel(qtbot, session, desk):
    return shown(qtbot, FixturePanel(session, desk), 345, 230)


def type_in(box, text):
    box.setFocus()
    box.selectAll()
    QTest.keyClicks(box, text)
    QTest.keyClick(box, Qt.Key.Key_Return)


def test_a_typed_diameter_is_one_step(fixture_panel, session):
    type_in(fixture_panel.boxes["diameter"], "5.0")
    assert session.plan.fixtures[0].size.diameter_mm == 5.0
    assert session.undo_stack.undoText() == "fixture 36 set to Ø 5.0 × 8.0 mm"
    session.undo_stack.undo()
    assert session.plan.fixtures[0].size.diameter_mm == 4.0
    assert fixture_panel.boxes["diameter"].value() == 4.0


def test_typed_place_moves_towards_the_cheek(fixture_panel, session):
    box = fixture_panel.boxes["buccal"]
    before = session.plan.fixtures[0].platform
    type_in(box, f"{box.value() + 2.0:.1f}")
    moved = session.plan.fixtures[0].platform - before
    assert np.linalg.norm(moved) == pytest.approx(2.0, abs=0.1)
    assert moved[0] > 0, "the cheek of 36 lies on the patient's left"


def test_boxes_say_from_where_a_height_counts_and_why_a_step_stands_at_zero(fixture_panel):
    for name, words in (("height", "above the jaw plane"), ("deeper", "stands at 0 again")):
        box = fixture_panel.boxes[name]
        assert words in box.toolTip()
        assert words in box.accessibleDescription()


def test_deeper_goes_along_the_axis_and_starts_at_zero_again(fixture_panel, session):
    before = session.plan.fixtures[0]
    type_in(fixture_panel.boxes["deeper"], "0.5")
    after = session.plan.fixtures[0]
    assert after.platform == pytest.approx(before.on_axis(0.5))
    assert fixture_panel.boxes["deeper"].value() == 0.0


def test_reading_the_boxes_changes_nothing(fixture_panel, session):
    before = session.plan.fixtures[0]
    for box in fixture_panel.boxes.values():
        box.setFocus()
        QTest.keyClick(box, Qt.Key.Key_Return)
    assert session.plan.fixtures[0] is before


def test_locked_is_not_edited(fixture_panel, session):
    QTest.mouseClick(fixture_panel.lock, Qt.MouseButton.LeftButton)
    assert session.plan.locked == ("36",)
    assert not fixture_panel.boxes["diameter"].isEnabled()
    assert not fixture_panel.remove.isEnabled()


def test_a_size_of_the_list(fixture_panel, session):
    menu = fixture_panel.sizes.menu()
    menu.aboutToShow.emit()
    action = next(a for a in menu.actions() if a.text() == "Ø 4.5 × 10.0 mm")
    action.trigger()
    assert session.plan.fixtures[0].size == FixtureSize(diameter_mm=4.5, length_mm=10.0)


def test_align_to_the_stent_axis(fixture_panel, session):
    axis = StentAxis(id="channel-36", occlusal=(18, 17, 9), gingival=(18, 17, 1))
    session.apply("stent axis", plan(stent_axes=(axis,)))
    assert [words for words, _ in align_targets(session.plan, session.fixture)] == [
        "stent axis 36",
        "the jaw plane’s normal",
    ]
    menu = fixture_panel.align.menu()
    menu.aboutToShow.emit()
    menu.actions()[0].trigger()
    assert session.plan.fixtures[0].towards_apex == pytest.approx((0, 0, -1))


def test_align_names_each_neighbour_once_and_both_together(session):
    """36 between 35 with one root, and 37 with two that lean 20 degrees apart."""

    def root(name, tooth, lean_deg):
        way = np.array([np.sin(np.radians(lean_deg)), 0.0, -np.cos(np.radians(lean_deg))])
        return Tapered(
            id=f"root-{name}", kind="root", tooth=tooth, diameters_mm=(4, 2),
            points=np.stack([np.zeros(3), 9.0 * way]),
        )  # fmt: skip

    up = root("37-distal", "37", 22.0)
    turned = replace(up, points=up.points[::-1])  # marked from its apex
    made = plan(structures=(root("35", "35", 4.0), root("37-mesial", "37", 2.0), turned))
    fixture = made.fixtures[0]
    found = dict(align_targets(made, fixture))
    assert list(found)[-3:] == ["the mean of 35 and 37", "the axis of 35", "the axis of 37"]
    leans = {words: np.degrees(np.arctan2(way[0], -way[2])) for words, way in found.items()}
    assert leans["the axis of 35"] == pytest.approx(4.0)
    assert leans["the axis of 37"] == pytest.approx(12.0)
    assert leans["the mean of 35 and 37"] == pytest.approx(8.0)
    one = replace(made, structures=made.structures[:1])
    assert [w for w, _ in align_targets(one, fixture)][-1:] == ["the axis of 35"]
    assert not any("mean" in w for w, _ in align_targets(one, fixture))


def test_what_the_sign_of_a_tilt_means_is_said(fixture_panel):
    box = fixture_panel.boxes["tilt-buccal"]
    assert box.toolTip().startswith("Plus: the crown end leans to the cheek.")
    assert (
        fixture_panel.boxes["tilt-mesial"]
        .toolTip()
        .startswith("Plus: the crown end leans mesially")
    )


def test_how_deep_the_platform_stands_in_the_bone_is_told(fixture_panel, session):
    assert fixture_panel.in_bone.text().endswith("buccal –, lingual –"), "not measured yet"
    sides = {"buccal": 0.77, "lingual": -0.41}
    measured = [
        row(side, mm, None, kind="depth", group="information", limit=None,
            of="platform below bone", side=side)
        for side, mm in sides.items()
    ]  # fmt: skip
    session.show_ledger(ledger(session.plan, measured))
    # To the nearest tenth, as page 1 of the sheet tells it.
    assert fixture_panel.in_bone.text() == (
        "Platform to the bone’s edge, mm: buccal 0.8 below, lingual 0.4 above"
    )


def test_values_are_seen_in_the_boxes(fixture_panel):
    box = fixture_panel.boxes["diameter"]
    assert box.lineEdit().text() == "4.0 mm"
    need = box.lineEdit().fontMetrics().horizontalAdvance("-100.0 mm")
    assert box.lineEdit().width() >= need
    assert box.lineEdit().height() >= box.lineEdit().fontMetrics().height()


def test_scan_checks_tell_what_each_means(qtbot, session, desk):
    finding = Finding("scan_voxel_large", "caution", {"voxel_mm": 0.5})
    what, meaning = parts_of(finding)
    assert what == "A voxel is 0.5 mm"
    assert meaning.startswith("Details below about twice")
    panel = shown(qtbot, ScanChecks(session, desk), 345, 200)
    assert panel.aside.text() == ""


def test_unproven_levels_offer_to_point_at_the_tissues(qtbot, session, desk, monkeypatch):
    told = (Finding("levels_soft_unclear", "caution", {}),)
    monkeypatch.setattr(scan_checks, "findings_of", lambda _: told)
    panel = shown(qtbot, ScanChecks(session, desk), 345, 300)
    took = []
    monkeypatch.setattr(desk, "take_tool", took.append)
    (button,) = panel.area.widget().findChildren(QPushButton)
    assert "Identify tissues" in button.text()
    QTest.mouseClick(button, Qt.MouseButton.LeftButton)
    assert took == ["Tissues"]


def test_places_pointed_at_can_be_dropped_and_undone(qtbot, session, desk, monkeypatch):
    points = tuple(TissuePoint(tissue=tissue, at=(18, 17, 0)) for tissue in TISSUES)
    session.plan = replace(session.plan, tissue_points=points)
    told = (Finding("tissue_points_not_needed", "caution", {}),)
    monkeypatch.setattr(scan_checks, "findings_of", lambda _: told)
    panel = shown(qtbot, ScanChecks(session, desk), 345, 300)
    (button,) = panel.area.widget().findChildren(QPushButton)
    QTest.mouseClick(button, Qt.MouseButton.LeftButton)
    assert session.plan.tissue_points == ()
    session.undo_stack.undo()
    assert len(session.plan.tissue_points) == 3


def test_my_sizes_edit_and_csv(qtbot, session, desk, tmp_path):
    panel = shown(qtbot, MySizes(session, desk), 460, 300)
    table = panel.editor.table
    count = table.rowCount()
    QTest.mouseClick(panel.editor.buttons["Add"], Qt.MouseButton.LeftButton)
    assert table.rowCount() == count + 1
    table.item(0, 1).setText("nonsense")
    assert "Row 1" in panel.editor.said.text()
    assert table.item(0, 1).text() == "3.5"
    out = tmp_path / "mine.csv"
    panel.editor.write_file(out)
    with out.open(encoding="utf-8", newline="") as file:
        assert len(list(csv.reader(file))) == count + 2
    bad = tmp_path / "bad.csv"
    bad.write_text("diameter_mm,length_mm\n4,8\n4,wide\n", encoding="utf-8")
    panel.editor.read_file(bad)
    assert "Row 3" in panel.editor.said.text()
    assert table.rowCount() == count + 1


def test_the_tooth_of_a_fixture_is_named_and_it_is_called_after_it(qtbot, session, desk):
    panel = shown(qtbot, FixturePanel(session, desk), 340, 200)
    assert panel.tooth.text() == "36 (19 in 1–32)"
    desk.answer = "37"
    QTest.mouseClick(panel.tooth, Qt.MouseButton.LeftButton)
    (fixture,) = session.plan.fixtures
    assert (fixture.id, fixture.tooth) == ("37", "37")
    assert session.selected == "37"
    assert panel.tooth.text() == "37 (18 in 1–32)"
    desk.answer = "39"
    QTest.mouseClick(panel.tooth, Qt.MouseButton.LeftButton)
    assert desk.errors[-1].code == "tooth-unknown"
    session.undo_stack.undo()
    assert session.plan.fixtures[0].id == "36"


def test_an_open_point_names_the_tooth(qtbot, session, desk, monkeypatch):
    from dataclasses import replace

    bare = replace(session.plan.fixtures[0], id="fixture-1", tooth="")
    session.apply("no tooth", replace(session.plan, fixtures=(bare,)))
    log = shown(qtbot, Log(session, desk), 240, 300)
    row = next(n for n, line in enumerate(log.model.lines) if "no tooth named" in line.text)
    desk.answer = "36"
    index = log.model.index(row)
    where = log.view.visualRect(index).center()
    # Where another window left the pointer, the lines would stay as they are under it.
    monkeypatch.setattr(log.view, "underMouse", lambda: False)
    QTest.mouseClick(log.view.viewport(), Qt.MouseButton.LeftButton, pos=where)
    assert session.plan.fixtures[0].tooth == "36"
    assert not any("no tooth named" in line.text for line in log.model.lines)
