"""Every question: nothing answered beforehand, refused while half, put into the plan when whole."""

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QAbstractSpinBox,
    QApplication,
    QComboBox,
    QLabel,
    QLineEdit,
    QPushButton,
    QRadioButton,
    QWidget,
)

from app.case.settings import settings_of
from app.dialogs import catalogue
from app.dialogs.answers import image_check
from app.dialogs.answers.declare import ask_declaration
from app.dialogs.answers.image_check import ask_image_check
from app.dialogs.answers.interpreted import ask_interpreted
from app.dialogs.answers.side import ask_side
from app.dialogs.answers.sign_off import SignOffDialog, ask_sign_off
from app.dialogs.base import MOST_HEIGHT, MOST_WIDTH
from app.dialogs.examples import example
from app.dialogs.help.dialog import show_help
from app.dialogs.help.topics import topics
from app.dialogs.limits import ask_limits
from app.dialogs.room import ask_room
from app.dialogs.settings import show_settings
from app.widgets.beside import Beside
from core.measurement import Note
from core.measurement_kinds import MeasurementKind
from core.measuring.found_troubles import FoundTrouble
from core.measuring.rows_crown import entered_room_mm, teeth_together
from core.plans.history import sign_off_state
from core.plans.plan import TROUBLE_PLACES, TROUBLES
from core.plans.plan_dump import document_of
from core.words.cautions import CAUTIONS
from core.words.numbers import Figure
from tests.app.case_at_hand import ledger, plan


@pytest.fixture
def asked(qtbot, session, desk, closing):
    def ask(function, **how):
        dialog = closing(function(session, desk, None, **how))
        qtbot.waitUntil(dialog.isVisible)
        return dialog

    return ask


def press(button):
    QTest.mouseClick(button, Qt.MouseButton.LeftButton)


def radio(dialog, words):
    return next(b for b in dialog.findChildren(QRadioButton) if b.text() == words)


def write(line, text):
    line.setFocus()
    line.selectAll()
    QTest.keyClicks(line, text)


def test_side_is_answered_whole_or_not_at_all(asked, session):
    session.plan = plan(side_check=None)
    dialog = asked(ask_side)
    words = " ".join(label.text() for label in dialog.findChildren(QLabel))
    assert "I compared missing and crowned teeth, and the site is on the patient’s" in words
    assert "Compared with the chart:" in words
    assert not any(b.isChecked() for b in dialog.findChildren(QRadioButton))
    assert not dialog.ok.isEnabled()
    button = dialog.button("chart", "left")
    assert button.accessibleName() == "Compared with the chart: LEFT"
    button.click()
    assert not dialog.ok.isEnabled(), "initials are missing"
    assert dialog.focusWidget() is dialog.by, "what is still missing is typed at once"
    write(dialog.by, "LM")
    press(dialog.ok)
    check = session.plan.side_check
    assert (check.side, check.against, check.by) == ("left", "chart", "LM")
    assert check.at
    assert session.plan.history[-1]["who"] == "LM"
    session.undo_stack.undo()
    assert session.plan.side_check is None


def test_one_press_answers_that_none_of_the_five_was_seen(asked, session):
    session.operator = "LM"
    dialog = asked(ask_image_check)
    assert len(dialog.groups) == 5
    press(dialog.none)
    assert set(session.plan.image_check.trouble.values()) == {"none"}
    assert session.plan.image_check.by == "LM"
    session.operator = ""
    settings_of(session).change(name="", role="", initials="")
    session.undo_stack.undo()
    nobody = asked(ask_image_check)
    press(nobody.none)
    assert session.plan.image_check is None, "nobody said so yet"
    assert nobody.focusWidget() is nobody.by


@pytest.fixture
def found(session, monkeypatch):
    """As if the program had found something in the image."""

    def find(*found):
        monkeypatch.setattr(image_check, "found_troubles", lambda *_: found)
        monkeypatch.setattr(session.basis, "at_hand", lambda *_: object())

    return find


CUT = FoundTrouble(
    trouble="cut-off field", place="away from the site", note=Note("jaw_cut", {"mm": Figure("23")})
)
MOVED = FoundTrouble(trouble="movement", place="", note=Note("image_moved", {"mm": Figure("0.5")}))


def press_radio(dialog, trouble, place):
    button = dialog.groups[trouble].button(TROUBLE_PLACES.index(place))
    QTest.mouseClick(
        button, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, QPoint(8, 10)
    )


def test_what_the_program_found_is_confirmed_with_the_rest_by_one_press(asked, session, found):
    found(CUT)
    session.operator = "LM"
    dialog = asked(ask_image_check)
    assert dialog.meanings["cut-off field"].text() == (
        "Found by the program. The jaw's bone ends at the edge of the scan, 23 mm from the site."
    )
    assert dialog.none.text() == "I looked for all five: none of the others anywhere in the scan"
    assert session.plan.image_check is None, "nobody confirmed it yet"
    press(dialog.none)
    assert session.plan.image_check.trouble == {
        **dict.fromkeys(TROUBLES, "none"), "cut-off field": "away from the site",
    }  # fmt: skip


def test_an_answer_and_one_press_for_all_others(asked, session):
    session.operator = "LM"
    dialog = asked(ask_image_check)
    assert dialog.none.text() == "I looked for all five: none of them anywhere in the scan"
    press_radio(dialog, "streaks", "at the site")
    assert dialog.none.text() == "I looked for all five: none of the others anywhere in the scan"
    press(dialog.none)
    assert session.plan.image_check.trouble == {
        **dict.fromkeys(TROUBLES, "none"), "streaks": "at the site",
    }  # fmt: skip


def test_what_was_found_without_a_place_waits_for_one(asked, session, found, qtbot):
    found(MOVED)
    session.operator = "LM"
    dialog = asked(ask_image_check)
    dialog.activateWindow()
    assert dialog.meanings["movement"].text() == "Found by the program: say where."
    assert "0.5 mm double" in dialog.meanings["movement"].toolTip()
    press(dialog.none)
    assert session.plan.image_check is None
    assert dialog.groups["movement"].checkedId() == -1
    assert dialog.groups["noise"].checkedId() == TROUBLE_PLACES.index("none")
    press_radio(dialog, "movement", "at the site")
    press(dialog.none)
    assert session.plan.image_check.trouble["movement"] == "at the site"


def test_what_is_found_later_takes_no_answer_back(asked, session, found):
    session.operator = "LM"
    dialog = asked(ask_image_check)
    press_radio(dialog, "cut-off field", "none")
    found(CUT)
    session.ledger_changed.emit()
    assert "Found by the program" in dialog.meanings["cut-off field"].text()
    assert dialog.groups["cut-off field"].checkedId() == TROUBLE_PLACES.index("none")
    press(dialog.none)
    assert session.plan.image_check.trouble["cut-off field"] == "none", "who looked said so"
    session.ledger_changed.emit()  # heard by nobody: the question is closed


def test_return_in_the_name_confirms_and_never_throws_the_answers_away(asked, session, qtbot):
    session.plan = plan(side_check=None)
    dialog = asked(ask_side)
    # As when it opens: the button that has the focus becomes the one that Return presses.
    dialog.activateWindow()
    dialog.cancel.setFocus()
    qtbot.waitUntil(dialog.cancel.hasFocus)
    dialog.by.setFocus()
    assert dialog.ok.isDefault()
    assert not dialog.cancel.isDefault()
    write(dialog.by, "LM")
    QTest.keyClick(dialog.by, Qt.Key.Key_Return)
    assert dialog.isVisible()
    assert session.plan.side_check is None
    dialog.button("chart", "left").click()
    QTest.keyClick(dialog.by, Qt.Key.Key_Return)
    assert session.plan.side_check.side == "left"


def test_image_is_judged_for_each_trouble(asked, session):
    dialog = asked(ask_image_check)
    write(dialog.by, "LM")
    for trouble in TROUBLES[:-1]:
        dialog.groups[trouble].button(0).click()
    assert not dialog.ok.isEnabled()
    dialog.groups[TROUBLES[-1]].button(2).click()
    press(dialog.ok)
    assert session.plan.image_check.at_the_site
    assert set(session.plan.image_check.trouble) == set(TROUBLES)


def test_who_made_a_scan_without_a_stent_can_say_so(asked, session):
    dialog = asked(ask_image_check)
    first = {trouble: group.button(0).text() for trouble, group in dialog.groups.items()}
    assert first.pop("gap under the stent") == "none, or no stent"
    assert set(first.values()) == {"none"}


def test_examples_differ_from_a_plain_image_and_each_other():
    pictures = [example(name) for name in ("none", *TROUBLES)]
    for n, first in enumerate(pictures):
        for second in pictures[n + 1 :]:
            assert np.abs(first - second).mean() > 0.01


def test_interpreted_needs_a_day_that_exists_and_is_not_to_come(asked, session):
    dialog = asked(ask_interpreted)
    write(dialog.by, "LM")
    write(dialog.name, "A reader")
    for wrong in ("2026-02-30", "2999-01-01", "1.2.2026"):
        write(dialog.on, wrong)
        assert not dialog.ok.isEnabled(), wrong
    write(dialog.on, "2026-01-15")
    press(dialog.ok)
    assert session.plan.interpreted_by == "A reader"
    assert session.plan.interpreted_at == "2026-01-15"


def test_interpreted_begins_at_the_name_and_needs_one(asked, session):
    dialog = asked(ask_interpreted)
    assert dialog.focusWidget() is dialog.name
    write(dialog.by, "LM")
    write(dialog.on, "2026-01-15")
    assert not dialog.ok.isEnabled(), "nobody named has read nothing"
    write(dialog.name, "A reader")
    press(dialog.ok)
    again = asked(ask_interpreted)
    again.name.clear()
    assert again.ok.isEnabled(), "an answer can be taken back"
    press(again.ok)
    assert session.plan.interpreted_by == ""


def test_a_declaration_needs_state_and_reason(asked, session):
    dialog = asked(ask_declaration, structure="root-37")
    assert dialog.structure.currentText() == "root of 37"
    radio(dialog, "not near this site: excluded from the summary").click()
    write(dialog.by, "LM")
    assert not dialog.ok.isEnabled()
    write(dialog.reason, "removed years ago")
    press(dialog.ok)
    (said,) = session.plan.declared
    assert (said.structure, said.state, said.reason, said.by) == (
        "root-37", "not near this site", "removed years ago", "LM",
    )  # fmt: skip


def test_a_limit_changes_with_reason_and_never_under_its_lower_line(asked, session):
    dialog = asked(ask_limits, key="canal")
    assert dialog.value.minimum() == 1.0
    dialog.value.setValue(0.2)
    assert dialog.value.value() == 1.0
    write(dialog.value, "3.0")
    write(dialog.by, "LM")
    assert not dialog.ok.isEnabled()
    write(dialog.reason, "thick fingers")
    press(dialog.ok)
    changed = session.plan.limits["canal"]
    assert (changed.value, changed.by, changed.reason) == (3.0, "LM", "thick fingers")
    back = asked(ask_limits, key="canal")
    write(back.value, "2.0")
    write(back.reason, "Defaults")
    press(back.ok)
    assert "canal" not in session.plan.limits


def test_a_molar_s_limit_is_that_of_a_molar_in_words_and_log(asked, session):
    """1.5 mm holds for teeth 6 to 8: never beside the words of teeth 1 to 5."""
    dialog = asked(ask_limits, key="wall-buccal")
    at = dialog.table.currentRow()
    texts = [dialog.table.item(at, column).text() for column in range(6)]
    assert "teeth 6 to 8" in texts[1]
    assert texts[2:4] == ["1.5", "1.5"]
    assert "Monje" in texts[5]
    write(dialog.value, "1.8")
    write(dialog.reason, "thin plate")
    write(dialog.by, "LM")
    press(dialog.ok)
    assert "changed from 1.5 to 1.8 mm" in session.plan.history[-1]["what"]


def test_a_declaration_is_taken_back(asked, session):
    dialog = asked(ask_declaration, structure="foramen")
    assert not dialog.back.isVisible()
    dialog.state.button(0).click()
    write(dialog.reason, "well behind it")
    write(dialog.by, "LM")
    press(dialog.ok)
    assert [d.structure for d in session.plan.declared] == ["foramen"]
    again = asked(ask_declaration, structure="foramen")
    assert "not near this site (well behind it), LM" in again.before.text()
    press(again.back)
    assert session.plan.declared == ()
    assert not again.back.isVisible()
    assert "withdrawn" in session.undo_stack.undoText()


def test_teeth_together_and_an_entered_room_are_kept_with_who_and_can_be_taken_back(asked, session):
    dialog = asked(ask_room)
    write(dialog.by, "LM")
    assert not dialog.ok.isEnabled()
    write(dialog.rooms["36"], "wide")
    assert not dialog.ok.isEnabled()
    write(dialog.rooms["36"], "7,5")
    radio(dialog, "The teeth were in occlusion in this scan").click()
    press(dialog.ok)
    plan = session.plan
    assert teeth_together(plan)
    assert entered_room_mm(plan, "36") == 7.5
    assert plan.document["teeth_together"]["by"] == "LM"
    assert session.undo_stack.count() == 1
    assert document_of(plan)["entered_room"]["36"]["mm"] == 7.5
    again = asked(ask_room)
    again.rooms["36"].selectAll()
    QTest.keyClick(again.rooms["36"], Qt.Key.Key_Delete)
    radio(again, "They were apart, or it is not known").click()
    press(again.ok)
    assert not teeth_together(session.plan)
    assert entered_room_mm(session.plan, "36") is None
    assert "entered_room" not in document_of(session.plan)
    session.undo_stack.undo()
    assert teeth_together(session.plan)


def test_signing_is_refused_while_side_and_tooth_contradict(asked, session, qtbot):
    session.plan = plan(side_check=type(plan().side_check)(side="right", against="chart", by="LM"))
    session.show_ledger(ledger(session.plan))
    dialog = asked(ask_sign_off)
    write(dialog.name, "L. Example")
    write(dialog.role, "dentist")
    qtbot.wait(100)
    assert dialog.obstacles
    assert not dialog.ok.isEnabled()


def test_signing_says_what_it_waits_for_and_begins_at_it(asked, session, qtbot):
    # Settings live as long as the run: who signed in an earlier test is offered, and left out here.
    settings_of(session).change(name="", role="")
    session.show_ledger(ledger(session.plan, ()))
    dialog = asked(ask_sign_off)
    qtbot.waitUntil(dialog.name.hasFocus)
    assert "name and role" in dialog.lacking.text()
    qtbot.keyClicks(QApplication.focusWidget(), "L. Example")
    assert dialog.lacking.text() == "Still to write: role."
    assert not dialog.ok.isEnabled()
    QTest.keyClick(QApplication.focusWidget(), Qt.Key.Key_Tab)
    qtbot.keyClicks(QApplication.focusWidget(), "dentist")
    assert not dialog.lacking.text()
    qtbot.waitUntil(dialog.ok.isEnabled, timeout=5000)
    QTest.keyClick(QApplication.focusWidget(), Qt.Key.Key_Return)
    assert sign_off_state(session.plan) == "signed"


def test_what_is_measured_while_the_signature_is_asked_is_asked_with_its_reasons(
    asked, session, qtbot
):
    session.show_ledger(ledger(session.plan), whole=False)
    dialog = asked(ask_sign_off)
    write(dialog.name, "L. Example")
    write(dialog.role, "dentist")
    qtbot.waitUntil(lambda: bool(dialog.fingerprint), timeout=5000)
    assert not dialog.reasons
    session.show_ledger(ledger(session.plan))
    assert not dialog.isVisible()
    assert not dialog.is_complete(), "no limit that is not met is signed without a reason"
    (again,) = (
        w for w in QApplication.topLevelWidgets()
        if isinstance(w, SignOffDialog) and w.isVisible()
    )  # fmt: skip
    assert len(again.reasons) == 3
    again.reject()


def test_each_limit_that_is_not_met_needs_a_reason_before_it_is_signed(asked, session, qtbot):
    dialog = asked(ask_sign_off)
    write(dialog.name, "L. Example")
    write(dialog.role, "dentist")
    assert len(dialog.reasons) == 3
    first, *others = dialog.reasons.values()
    for line in others:
        write(line, "told to the patient")
    qtbot.waitUntil(lambda: bool(dialog.fingerprint), timeout=5000)
    assert not dialog.ok.isEnabled()
    assert "a reason for each limit" in dialog.lacking.text()
    write(first, "the plate is grafted")
    assert dialog.ok.isEnabled()
    press(dialog.ok)
    assert sorted(session.plan.accepted.values()) == [
        "the plate is grafted", "told to the patient", "told to the patient",
    ]  # fmt: skip
    assert sign_off_state(session.plan) == "signed"


def test_one_reason_is_written_into_the_lines_that_are_empty_and_no_other(asked, session):
    dialog = asked(ask_sign_off)
    first, second, third = dialog.reasons.values()
    press(dialog.same)
    assert [line.text() for line in dialog.reasons.values()] == ["", "", ""]
    write(first, "the plate is grafted")
    write(third, "told to the patient")
    press(dialog.same)
    assert second.text() == "the plate is grafted"
    assert third.text() == "told to the patient"


def test_signing_locks_and_an_edit_voids(asked, session, qtbot):
    dialog = asked(ask_sign_off)
    write(dialog.name, "L. Example")
    write(dialog.role, "dentist")
    for line in dialog.reasons.values():
        write(line, "told to the patient")
    qtbot.waitUntil(dialog.ok.isEnabled, timeout=5000)
    press(dialog.ok)
    assert sign_off_state(session.plan) == "signed"
    assert session.plan.scan.fingerprint.startswith("sha256:")
    assert "36" in session.plan.locked
    again = asked(ask_sign_off)
    assert again.ok.text() == "Reopen for editing"
    press(again.ok)
    assert session.plan.locked == ()
    assert sign_off_state(session.plan) == "void"


def test_settings_are_kept_in_the_users_folder(asked, session):
    dialog = asked(show_settings)
    dialog.numbering.setCurrentIndex(1)
    write(dialog.initials_line, "LM")
    dialog.limits["canal"].setValue(2.5)
    dialog.list.setCurrentRow(3)
    dialog._add_drill()
    for column, bad, good in ((1, "wide", "2,2"), (2, "8 6", "6 8 10"), (4, "-1", "0.6")):
        dialog.drills.item(0, column).setText(bad)
        press(dialog.ok)
        assert "Row 1 of the drill table" in dialog.trouble.text()
        dialog.drills.item(0, column).setText(good)
    press(dialog.ok)
    value = settings_of(session).value
    assert value.drills[0].diameter_mm == 2.2
    assert value.drills[0].marks_mm == (6.0, 8.0, 10.0)
    assert value.drills[0].tip_mm == 0.6
    assert value.numbering == "1-32"
    assert value.limits == {"canal": 2.5}
    assert value.drills[0].marks_include_tip == "don't know"
    assert session.operator == "LM"
    settings_of(session).path.unlink()


def test_a_number_that_is_not_taken_keeps_its_dialog_open(asked, session, qtbot):
    """Pressing OK leaves the box: its old number must not pass for the one that was typed."""
    dialog = asked(show_settings)
    box = dialog.limits["canal"]
    page = next(n for n in range(dialog.pages.count()) if dialog.pages.widget(n).isAncestorOf(box))
    dialog.list.setCurrentRow(page)
    qtbot.waitUntil(box.isVisible)
    before = box.value()
    write(box, "0.1")
    press(dialog.ok)
    assert dialog.isVisible()
    (plate,) = [plate for plate in dialog.findChildren(Beside) if plate.isVisible()]
    assert "0.1" in plate.text()
    assert box.value() == before
    press(dialog.ok)
    assert not dialog.isVisible(), "once it was said, the number that stands there is the answer"
    settings_of(session).path.unlink(missing_ok=True)


def test_who_answers_by_name_need_not_write_it_again_to_sign(asked, session):
    session.operator = ""
    settings_of(session).change(name="", role="", initials="")
    dialog = asked(ask_side)
    dialog.button("chart", "left").click()
    write(dialog.by, "L. Marsh")
    press(dialog.ok)
    assert session.plan.side_check.by == "L. Marsh", "a name is never cut to letters"
    assert settings_of(session).value.name == "L. Marsh"
    assert asked(ask_image_check).by.text() == "L. Marsh"
    session.operator = ""
    assert asked(ask_image_check).by.text() == "L. Marsh", "nor in another session"
    settings_of(session).path.unlink()


def test_drills_are_read_from_a_file_or_the_table_stays(asked, session, tmp_path):
    dialog = asked(show_settings)
    table = tmp_path / "drills.csv"
    table.write_text("name,diameter_mm,marks_mm\npilot,2.0,6 8 10\nsecond,2.8,every 1\n")
    dialog.read_drills_from(table)
    assert dialog.drills.rowCount() == 2
    table.write_text("name,diameter_mm\npilot,wide\n")
    dialog.read_drills_from(table)
    assert "Row 2 of the drill table" in dialog.trouble.text()
    dialog.read_drills_from(tmp_path / "none.csv")
    assert "cannot be read" in dialog.trouble.text()
    assert dialog.drills.rowCount() == 2
    press(dialog.ok)
    second = settings_of(session).value.drills[1]
    assert (second.name, second.marks_mm, second.step_mm) == ("second", (), 1.0)
    settings_of(session).path.unlink()


def test_a_text_of_risks_is_tried_before_it_is_kept(asked, session, tmp_path):
    dialog = asked(show_settings)
    write(dialog.risks, str(tmp_path / "none.txt"))
    press(dialog.ok)
    assert "cannot be used" in dialog.trouble.text()
    (tmp_path / "risks.txt").write_text("Swelling. Bruises.", encoding="utf-8")
    write(dialog.risks, str(tmp_path / "risks.txt"))
    press(dialog.ok)
    assert settings_of(session).value.risks_file == str(tmp_path / "risks.txt")
    settings_of(session).path.unlink()


@pytest.mark.parametrize("kind", MeasurementKind)
def test_help_explains_every_kind_of_row(asked, kind):
    dialog = asked(show_help, topic=kind)
    assert str(kind.row.definition)[:30] in dialog.page.toPlainText().replace("\n", " ")


def test_about_carries_the_cautions(asked):
    dialog = asked(show_help, topic="about")
    assert CAUTIONS in dialog.page.toPlainText()
    assert list(topics())[-1] == "about"


@pytest.mark.parametrize("entry", catalogue.DIALOGS, ids=lambda e: e.words)
def test_every_window_fits_and_closes_by_key(entry, session, desk, closing, qtbot):
    window = closing(entry.show(session, desk, None))
    qtbot.wait(30)
    assert window.width() <= MOST_WIDTH
    assert window.height() <= MOST_HEIGHT
    for button in window.findChildren(QPushButton):
        if button.isVisible() and button.text():
            need = button.fontMetrics().horizontalAdvance(button.text())
            assert button.width() >= need + 8, button.text()
    QTest.keyClick(window, Qt.Key.Key_Escape)
    assert not window.isVisible()
    QApplication.processEvents()


@pytest.mark.parametrize("entry", catalogue.DIALOGS, ids=lambda e: e.words)
def test_every_control_of_every_window_is_reached_by_tab(entry, session, desk, closing, qtbot):
    window = closing(entry.show(session, desk, None))
    qtbot.waitUntil(window.isVisible)
    stop = getattr(window, "stop", None)
    if stop is not None:  # what can be pressed changes until its pages are drawn
        qtbot.waitUntil(lambda: not stop.isVisible(), timeout=30000)
    window.activateWindow()
    controls = [
        w for w in window.findChildren(QWidget)
        if isinstance(w, QAbstractButton | QLineEdit | QComboBox | QAbstractSpinBox)
        and w.isVisible() and w.isEnabled()
        # Parts of other controls: the line of a number box, the corner of a table, a pager's arrow.
        and not isinstance(w.parentWidget(), QAbstractSpinBox | QComboBox | QAbstractItemView)
    ]  # fmt: skip
    assert controls
    start = window.focusWidget() or controls[0]
    start.setFocus()
    seen = {start}
    for _ in range(300):
        here = window.focusWidget()
        QTest.keyClick(here, Qt.Key.Key_Tab)
        seen.add(window.focusWidget())
        if window.focusWidget() is start:
            break
    groups = {b.group() for b in seen if isinstance(b, QAbstractButton)} - {None}
    left_out = [
        w for w in controls
        # Arrows go on within a group of answers.
        if w not in seen and not (isinstance(w, QAbstractButton) and w.group() in groups)
    ]  # fmt: skip
    assert [
        type(w).__name__ + " " + (w.accessibleName() or getattr(w, "text", str)()) for w in left_out
    ] == []
