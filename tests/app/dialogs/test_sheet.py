"""Sheet and record in the bench: chosen, looked at, refused with its reason, written, stopped."""

from dataclasses import replace
from pathlib import Path

import pypdf
import pytest

pytest.importorskip("PySide6")

from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QFileDialog,
    QLabel,
    QPushButton,
    QStyle,
    QStyleOptionViewItem,
    QWidget,
)

from app.case.settings import SettingsStore, settings_of
from app.dialogs.answers.sign_off import SignAndWriteDialog
from app.dialogs.sheet import work
from app.dialogs.sheet.dialog import show_sheet
from app.widgets import file_windows
from app.widgets.number_box import NumberBox
from core.image.radiograph import Tube
from core.measuring.basis import Basis
from core.measuring.drill_table import Drill
from core.measuring.ledger import LEDGER_FILE
from core.plans.history import sign_off_state
from core.plans.plan import SideCheck
from core.sheet.day import Pin
from core.sheet.parts import PARTS
from tests.app.case_at_hand import QuietSession
from tests.sheet_material import IDENTITY, fixture_at, ledger_of, plan_with, round_jaw

CT = "1.2.840.10008.5.1.4.1.1.2"
WHOLE = replace(IDENTITY, sop_instances=((CT, "2.25.11"),))
LEFT = Qt.MouseButton.LeftButton
LONG = 60_000


@pytest.fixture
def case_of(qapp):
    sessions = []

    def make(*fixtures, identity=WHOLE, measured=True, **changed):
        plan = replace(plan_with(*fixtures), **changed)
        session = QuietSession()
        sessions.append(session)
        volume = replace(round_jaw(voxel_mm=2.0), identity=identity)
        session.open(volume, plan, source="folder", window=(0.0, 1000.0))
        ledger = ledger_of(session.plan, identity=identity, unmarked=False)
        ledger = replace(ledger, plan=session.plan)
        if measured:
            session.show_ledger(ledger)
        return session

    yield make
    for session in sessions:
        session.close()


@pytest.fixture
def opened(qtbot, desk, closing, case_of):
    def show(*fixtures, **more):
        session = case_of(*fixtures or (fixture_at(20.0, "36"),), **more)
        dialog = closing(show_sheet(session, desk, None))
        qtbot.waitUntil(dialog.isVisible)
        return dialog

    return show


def row_of(dialog, part):
    return dialog.parts.visualItemRect(dialog.parts.item(PARTS.index(part)))


def look_at(dialog, part):
    """Click on the words of a row."""
    dialog.parts.scrollToItem(dialog.parts.item(PARTS.index(part)))
    QTest.mouseClick(dialog.parts.viewport(), LEFT, pos=row_of(dialog, part).center())


def tick(dialog, part):
    """Click into the box of a row."""
    item = dialog.parts.item(PARTS.index(part))
    dialog.parts.scrollToItem(item)
    option = QStyleOptionViewItem()
    dialog.parts.initViewItemOption(option)
    option.rect = row_of(dialog, part)
    option.features |= QStyleOptionViewItem.ViewItemFeature.HasCheckIndicator
    box = dialog.parts.style().subElementRect(
        QStyle.SubElement.SE_ItemViewItemCheckIndicator, option, dialog.parts
    )
    QTest.mouseClick(dialog.parts.viewport(), LEFT, pos=box.center())


def write_to(dialog, monkeypatch, folder):
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_, **_how: (str(folder), ""))
    QTest.mouseClick(dialog.ok, LEFT)


def names(folder):
    return {p.name for p in folder.iterdir()}


def test_a_folder_that_is_not_there_is_proposed_and_made(opened, qtbot, monkeypatch, tmp_path):
    dialog = opened()
    monkeypatch.setattr(file_windows, "_last", {"record": tmp_path})
    offered = []

    def answer(_parent, _title, at, *_, **_how):
        offered.append(Path(at))
        return at, ""

    monkeypatch.setattr(QFileDialog, "getSaveFileName", answer)
    QTest.mouseClick(dialog.ok, LEFT)
    qtbot.waitUntil(lambda: bool(dialog.written), timeout=LONG)
    assert offered == [tmp_path / "sounding-36"], "named for the tooth, never for the patient"
    assert {file.parent for file in dialog.written} == {tmp_path / "sounding-36"}
    assert dialog.written[0].exists()


def test_one_press_signs_and_writes_what_was_looked_at(opened, qtbot, monkeypatch, tmp_path):
    dialog = opened()
    session = dialog.session
    assert sign_off_state(session.plan) != "signed"
    monkeypatch.setattr(file_windows, "_last", {"record": tmp_path})
    no_window = lambda *_, **_how: pytest.fail("a window of the system")  # noqa: E731
    monkeypatch.setattr(QFileDialog, "getSaveFileName", no_window)
    asked = signing(dialog)
    assert asked.ok.text() == "Sign and write"
    assert asked.folder.text() == str(tmp_path / "sounding-36"), "shown before it is written"
    for line in (asked.name, asked.role, *asked.reasons.values()):
        line.clear()
    asked.activateWindow()
    asked.name.setFocus()
    qtbot.waitUntil(lambda: bool(asked.fingerprint), timeout=LONG)
    for words in ("L. Marsh", "dentist", *("told to the patient" for _ in asked.reasons)):
        assert sign_off_state(session.plan) != "signed"
        QTest.keyClicks(asked.focusWidget(), words)
        QTest.keyClick(asked.focusWidget(), Qt.Key.Key_Return)
    assert sign_off_state(session.plan) == "signed"
    assert not dialog.written, "nothing before it is measured as it was signed"
    session.show_ledger(replace(session.ledger, plan=session.plan))
    qtbot.waitUntil(lambda: bool(dialog.written), timeout=LONG)
    assert {file.parent for file in dialog.written} == {tmp_path / "sounding-36"}
    assert not dialog.sign.isVisible(), "what is signed is only written"


def test_return_leads_to_the_signature_and_never_to_a_draft(opened, monkeypatch, qtbot):
    """Two readers pressed it from habit and were asked where to save what nobody had signed."""
    dialog = opened()
    no_window = lambda *_, **_how: pytest.fail("a window of the system")  # noqa: E731
    monkeypatch.setattr(QFileDialog, "getSaveFileName", no_window)
    dialog.activateWindow()
    QTest.keyClick(dialog, Qt.Key.Key_Return)
    (asked,) = [d for d in dialog.findChildren(SignAndWriteDialog) if d.isVisible()]
    assert not asked.folder.hasFrame(), "told, not asked"
    assert asked.folder.focusPolicy() == Qt.FocusPolicy.NoFocus, "no typing is swallowed"


def signing(dialog):
    """The question of the signature, asked from the sheet."""
    QTest.mouseClick(dialog.sign, LEFT)
    (asked,) = [d for d in dialog.findChildren(SignAndWriteDialog) if d.isVisible()]
    return asked


def test_another_folder_is_chosen_where_it_is_signed(opened, monkeypatch, tmp_path):
    asked = signing(opened())
    monkeypatch.setattr(
        QFileDialog, "getSaveFileName", lambda *_, **_how: (str(tmp_path / "out"), "")
    )
    (other,) = [b for b in asked.findChildren(QPushButton) if b.text() == "Other folder …"]
    QTest.mouseClick(other, LEFT)
    assert asked.folder.text() == str(tmp_path / "out")


def test_tab_goes_from_the_role_to_the_first_reason(opened, qtbot):
    asked = signing(opened(fixture_at(20.0, "36", length_mm=13.0)))
    first = next(iter(asked.reasons.values()))
    asked.activateWindow()
    asked.role.setFocus()
    qtbot.waitUntil(asked.role.hasFocus)
    QTest.keyClick(asked.role, Qt.Key.Key_Tab)
    assert asked.focusWidget() is first


def test_nothing_moves_when_the_progress_bar_comes_and_goes(opened, qtbot):
    dialog = opened()
    places = []
    parts = (dialog.origin, dialog.paper, dialog.alias, dialog.parts, dialog.ok, dialog.pages)
    for busy, words in ((True, "Drawing"), (False, ""), (True, "Drawing"), (False, "")):
        dialog._busy(busy, words)
        dialog.tell("" if busy else "The page is copied.")
        qtbot.wait(20)
        places.append([(w.mapTo(dialog, QPoint(0, 0)), w.size()) for w in parts])
    for found in places:
        assert found == places[0]


def test_every_part_is_offered_and_shown(qtbot, opened):
    dialog = opened()
    assert dialog.parts.chosen == PARTS
    assert dialog.parts.hindrances == {}
    assert dialog.state.text().startswith("DRAFT")
    for part in PARTS:
        look_at(dialog, part)
        assert dialog.parts.part == part
        qtbot.waitUntil(lambda p=part: p in dialog._looks, timeout=LONG)
        text = dialog.pages.text.text()
        if part in ("report", "key pictures", "bodies", "meshes"):
            assert not dialog.images
            assert dialog.pages.shown.isHidden()
            assert not dialog.print.isEnabled()
        else:
            assert dialog.images
            assert dialog.print.isEnabled()
    assert "fixture-36_LPS-mm.stl" in text
    opened_up = [line for line in text.splitlines() if "NOT closed" in line]
    assert all("bone-and-teeth" in line for line in opened_up), "a solid with a hole in it"
    assert " closed, " in text
    assert dialog.trouble.isHidden()


def test_the_report_is_shown_as_its_own_bytes_say(qtbot, opened):
    dialog = opened()
    look_at(dialog, "report")
    qtbot.waitUntil(lambda: "report" in dialog._looks, timeout=LONG)
    text = dialog.pages.text.text()
    for words in ("Comprehensive 3D SR", "DRAFT - not signed off", "PARTIAL, UNVERIFIED",
                  "QUARRY^Sample", "Measurement Group 36", "Canal left: ",
                  "Empty, since the scan does not hold it"):  # fmt: skip
        assert words in text, words
    row = next(m for m in dialog.session.ledger.measurements if m.target == "canal-left")
    assert f"Canal left: {round(row.value, 4):g}" in text


def test_only_what_is_chosen_is_written(qtbot, opened, monkeypatch, tmp_path):
    dialog = opened()
    for part in PARTS:
        if part not in ("card", "checklist"):
            tick(dialog, part)
    assert dialog.parts.chosen == ("card", "checklist")
    write_to(dialog, monkeypatch, tmp_path / "out")
    assert not dialog.ok.isEnabled(), "no second writing while one is on its way"
    qtbot.waitUntil(lambda: bool(dialog.written), timeout=LONG)
    assert names(tmp_path / "out") == {"drill-card.pdf", "checklist.pdf", LEDGER_FILE}
    assert dialog.folder.isVisible()
    assert dialog.ok.isEnabled()
    assert "3 files saved to" in dialog.trouble.text()


def test_chosen_by_keys_alone(qtbot, opened):
    dialog = opened()
    dialog.parts.setFocus()
    QTest.keyClick(dialog.parts, Qt.Key.Key_Home)
    QTest.keyClick(dialog.parts, Qt.Key.Key_Space)
    assert "sheet" not in dialog.parts.chosen
    QTest.keyClick(dialog.parts, Qt.Key.Key_Down)
    assert dialog.parts.part == "basis"
    qtbot.waitUntil(lambda: bool(dialog.images), timeout=LONG)
    QTest.keyClick(dialog.parts, Qt.Key.Key_Home)
    QTest.keyClick(dialog.parts, Qt.Key.Key_Space)
    assert "sheet" in dialog.parts.chosen


def test_with_nothing_chosen_nothing_can_be_written(opened):
    dialog = opened()
    for part in PARTS:
        tick(dialog, part)
    assert dialog.parts.chosen == ()
    assert not dialog.ok.isEnabled()


def test_what_cannot_be_made_says_why_before_anything_is_pressed(
    qtbot, opened, monkeypatch, tmp_path
):
    dialog = opened(identity=replace(WHOLE, frame_of_reference_uid=""))
    assert set(dialog.parts.hindrances) == {"report", "bodies"}
    item = dialog.parts.item(PARTS.index("report"))
    assert "The scan holds no usable FrameOfReferenceUID" in item.text()
    tick(dialog, "report")
    assert "report" not in dialog.parts.chosen
    look_at(dialog, "report")
    assert "Export the scan again" in dialog.pages.text.text()
    assert dialog.ok.isEnabled()
    for part in PARTS:
        if part not in ("report", "checklist"):
            tick(dialog, part)
    write_to(dialog, monkeypatch, tmp_path)
    qtbot.waitUntil(lambda: bool(dialog.written), timeout=LONG)
    assert "measurements.dcm" not in names(tmp_path)


def test_a_contradicting_side_bars_what_would_carry_it_to_chair_and_archive(opened):
    right = SideCheck(side="right", against="chart", by="LM", at="2026-09-15T10:30")
    dialog = opened(side_check=right)
    assert set(dialog.parts.hindrances) == {"card", "patient", "report", "bodies", "laboratory"}
    look_at(dialog, "report")
    assert "TOOTH NUMBER AND SIDE DISAGREE" in dialog.pages.text.text()


def test_without_a_fixture_the_sheet_is_still_there(qtbot, case_of, desk, closing):
    dialog = closing(show_sheet(case_of(), desk, None))
    assert {"card", "film", "laboratory"} <= set(dialog.parts.hindrances)
    assert "sheet" in dialog.parts.chosen


def test_before_everything_is_measured_nothing_is_written(case_of, desk, closing):
    session = case_of(fixture_at(20.0, "36"), measured=False)
    dialog = closing(show_sheet(session, desk, None))
    assert not dialog.ok.isEnabled()
    assert dialog.pages.text.text()
    session.show_ledger(replace(ledger_of(session.plan, identity=WHOLE), plan=session.plan))
    assert dialog.ok.isEnabled()


def test_what_the_measuring_rests_on_is_not_made_again(opened, monkeypatch):
    dialog = opened()
    session = dialog.session
    assert dialog.job().basis is None
    made = session.basis.of(session.plan, session.volume)
    job = dialog.job()
    monkeypatch.setattr(Basis, "of", lambda *_: pytest.fail("made once more"))
    assert job.basis is made
    assert job.case(job.settings()).basis is made


def test_a_pseudonym_is_on_every_page_and_in_no_named_folder(qtbot, opened, monkeypatch, tmp_path):
    monkeypatch.setattr(work, "practice_secret", lambda: b"0123456789abcdef")
    dialog = opened()
    look_at(dialog, "report")
    qtbot.waitUntil(lambda: "report" in dialog._looks, timeout=LONG)
    QTest.keyClick(dialog.alias, Qt.Key.Key_Space)
    assert dialog._looks == {}, "what was seen by name is not what will be written"
    qtbot.waitUntil(lambda: "report" in dialog._looks, timeout=LONG)
    text = dialog.pages.text.text()
    assert "QUARRY" not in text
    assert "Patient P-" in text
    for part in PARTS:
        if part not in ("report", "checklist"):
            tick(dialog, part)
    write_to(dialog, monkeypatch, tmp_path / "alias")
    qtbot.waitUntil(lambda: bool(dialog.written), timeout=LONG)
    assert b"QUARRY" not in (tmp_path / "alias" / "measurements.dcm").read_bytes()
    dialog.written = ()
    QTest.keyClick(dialog.alias, Qt.Key.Key_Space)
    write_to(dialog, monkeypatch, tmp_path / "alias")
    qtbot.waitUntil(lambda: "another scan" in dialog.trouble.text(), timeout=LONG)
    assert dialog.written == ()


def test_the_origin_of_depths_is_chosen_and_stands_in_the_plan(opened):
    dialog = opened()
    session = dialog.session
    assert session.plan.depth_from is None
    dialog.origin.setFocus()
    QTest.keyClick(dialog.origin, Qt.Key.Key_Down)
    assert session.plan.depth_from == "buccal rim"
    assert session.plan.history[-1]["what"] == "drilling depths counted from: buccal bone edge"
    session.undo_stack.undo()
    assert session.plan.depth_from is None
    assert dialog.origin.currentData() is None


def test_a_plan_with_a_limit_that_is_not_met_has_no_card(opened):
    dialog = opened(fixture_at(20.0, "36", length_mm=13.0))
    assert "card" in dialog.parts.hindrances
    assert "There is no drill card" in str(dialog.parts.hindrances["card"])


def test_the_paper_is_that_of_the_page(qtbot, opened):
    """Letter is 216 x 279 mm (ANSI Y14.1), A5 148 x 210 mm (ISO 216)."""
    dialog = opened()
    dialog.paper.setFocus()
    QTest.keyClick(dialog.paper, Qt.Key.Key_Down)
    assert dialog.paper.currentText() == "Letter"
    for part, width in (("checklist", 215.9), ("card", 148.0)):
        look_at(dialog, part)
        qtbot.waitUntil(lambda p=part: p in dialog._looks, timeout=LONG)
        assert dialog.images[0].width() == pytest.approx(width / 25.4 * 80, abs=1)


def test_own_drills_are_on_the_card(qtbot, opened, monkeypatch, tmp_path):
    dialog = opened()
    drills = (Drill(name="round bur 17", diameter_mm=2.0, marks_mm=(6.0, 8.0)),)
    store = settings_of(dialog.session)
    store.value = replace(store.value, drills=drills)
    # Paper chosen anew: everything is drawn again.
    QTest.keyClick(dialog.paper, Qt.Key.Key_Down)
    for part in PARTS:
        if part != "card":
            tick(dialog, part)
    write_to(dialog, monkeypatch, tmp_path)
    qtbot.waitUntil(lambda: bool(dialog.written), timeout=LONG)
    card = pypdf.PdfReader(tmp_path / "drill-card.pdf")
    assert "round bur 17" in card.pages[0].extract_text()


def test_a_text_of_risks_that_cannot_be_read_is_told_in_its_place(qtbot, opened, tmp_path):
    dialog = opened()
    store = settings_of(dialog.session)
    store.value = replace(store.value, risks_file=str(tmp_path / "none.txt"))
    dialog._anew()
    look_at(dialog, "patient")
    qtbot.waitUntil(lambda: "cannot be used" in dialog.pages.text.text(), timeout=LONG)


def test_stop_leaves_nothing(qtbot, opened, monkeypatch, tmp_path):
    dialog = opened()
    qtbot.waitUntil(lambda: bool(dialog.images), timeout=LONG)
    write_to(dialog, monkeypatch, tmp_path / "out")
    assert dialog.stop.isVisible()
    QTest.mouseClick(dialog.stop, LEFT)
    assert "Stopped" in dialog.trouble.text()
    qtbot.waitUntil(lambda: not dialog._writing.busy, timeout=LONG)
    assert not (tmp_path / "out").exists()
    assert dialog.ok.isEnabled()


def test_a_full_folder_of_somebody_else_is_told_and_untouched(qtbot, opened, monkeypatch, tmp_path):
    (tmp_path / "patient.pdf").write_text("theirs")
    (tmp_path / LEDGER_FILE).write_text("of nobody knows whom")
    dialog = opened()
    write_to(dialog, monkeypatch, tmp_path)
    qtbot.waitUntil(lambda: "Choose an empty folder" in dialog.trouble.text(), timeout=LONG)
    assert names(tmp_path) == {"patient.pdf", LEDGER_FILE}
    assert dialog.ok.isEnabled()


def test_among_other_files_the_set_gets_a_folder_of_its_own(qtbot, opened, monkeypatch, tmp_path):
    (tmp_path / "patient.pdf").write_text("theirs")
    dialog = opened()
    for part in PARTS:
        if part != "checklist":
            tick(dialog, part)
    write_to(dialog, monkeypatch, tmp_path)
    qtbot.waitUntil(lambda: bool(dialog.written), timeout=LONG)
    assert names(tmp_path) == {"patient.pdf", "sounding-36"}
    assert names(tmp_path / "sounding-36") == {"checklist.pdf", LEDGER_FILE}
    assert str(tmp_path / "sounding-36") in dialog.trouble.text()


def test_pages_turn_and_are_copied(qtbot, opened):
    dialog = opened()
    qtbot.waitUntil(lambda: len(dialog.images) > 1, timeout=LONG)
    QTest.mouseClick(dialog.pages.next, LEFT)
    assert dialog.pages.number.text().startswith("page 2 of")
    QTest.mouseClick(dialog.copy, LEFT)
    assert QGuiApplication.clipboard().image().size() == dialog.images[1].size()
    QTest.mouseClick(dialog.pages.back, LEFT)
    assert not dialog.pages.back.isEnabled()


def test_an_edit_while_it_is_open_draws_anew(qtbot, opened):
    dialog = opened()
    qtbot.waitUntil(lambda: bool(dialog.images), timeout=LONG)
    session = dialog.session
    session.show_ledger(session.ledger, current=False)
    assert not dialog.images
    assert not dialog.ok.isEnabled()
    session.show_ledger(session.ledger)
    qtbot.waitUntil(lambda: bool(dialog.images), timeout=LONG)


def typed(box, words):
    """Type into a box and press Return, as a person does."""
    box.setFocus()
    box.selectAll()
    QTest.keyClicks(box, words)
    QTest.keyClick(box, Qt.Key.Key_Return)


@pytest.fixture
def shipped(qapp):
    """Tube and pin as shipped; what a test keeps is taken back."""
    yield
    SettingsStore().change(tube=Tube(), pin=Pin())


def test_tube_and_pin_are_typed_and_stand_on_the_film(
    qtbot, shipped, opened, monkeypatch, tmp_path
):
    dialog = opened()
    assert not dialog.film.isVisible(), "they belong to the film's page"
    look_at(dialog, "film")
    qtbot.waitUntil(lambda: "film" in dialog._looks, timeout=LONG)
    assert dialog.film.isVisible()
    before = dialog.images[0]
    fields = dialog.film
    pressed = []
    window = "getSaveFileName"
    monkeypatch.setattr(QFileDialog, window, lambda *_, **_how: pressed.append(1) or ("", ""))
    for box, words in (
        (fields.source, "250"), (fields.behind, "25"), (fields.above, "-10"),
        (fields.mesial, "12"), (fields.deep, "5"), (fields.out, "7"), (fields.thick, "3"),
    ):  # fmt: skip
        typed(box, words)
    assert not pressed, "Return takes a number over and presses no button"
    assert dialog.job().day.tube == Tube(
        source_to_film_mm=250.0, object_to_film_mm=25.0, up_deg=-10.0, mesial_deg=12.0
    )
    assert dialog.job().day.pin == Pin(depth_mm=5.0, above_mm=7.0, diameter_mm=3.0)
    qtbot.waitUntil(lambda: "film" in dialog._looks, timeout=LONG)
    assert dialog.images[0] != before, "drawn anew"
    for part in PARTS:
        if part != "film":
            tick(dialog, part)
    write_to(dialog, monkeypatch, tmp_path)
    qtbot.waitUntil(lambda: bool(dialog.written), timeout=LONG)
    (name,) = [p for p in dialog.written if "film" in p.name]
    text = " ".join(pypdf.PdfReader(name).pages[0].extract_text().split())
    # M = SID / (SID - OID) at the axis: 250 / 225.
    assert "magnified 1.11" in text
    assert "Tube 250.0 mm from the film, film 25.0 mm behind the axis" in text
    assert "tilted -10° from above, 12° from mesial" in text
    assert "pin, true length 12.0 mm" in text


def test_the_practices_distances_are_kept_and_the_patients_angles_are_not(
    shipped, opened, desk, closing
):
    dialog = opened()
    look_at(dialog, "film")
    for box, words in ((dialog.film.source, "400"), (dialog.film.mesial, "20"),
                       (dialog.film.deep, "4"), (dialog.film.thick, "2.5")):  # fmt: skip
        typed(box, words)
    kept = settings_of(dialog.session).value
    assert (kept.tube, kept.pin) == (Tube(source_to_film_mm=400.0), Pin(diameter_mm=2.5))
    again = closing(show_sheet(dialog.session, desk, None))
    assert again.film.tube == Tube(source_to_film_mm=400.0)
    assert again.film.pin == Pin(diameter_mm=2.5)
    assert again.film.deep.text() == "same as fixture"
    look_at(again, "film")
    QTest.mouseClick(again.film.ideal, LEFT)
    assert (again.film.tube, again.film.pin) == (Tube(), Pin())
    assert again.job().day.tube == Tube()
    assert settings_of(again.session).value.tube == Tube()


def test_the_fields_hold_their_words_on_the_smallest_dialog(qtbot, opened):
    dialog = opened()
    look_at(dialog, "film")
    dialog.resize(dialog.minimumSize())
    qtbot.wait(20)
    for child in dialog.film.findChildren(
        QWidget, options=Qt.FindChildOption.FindDirectChildrenOnly
    ):
        assert dialog.film.rect().contains(child.geometry())
        if isinstance(child, QLabel):
            need = child.fontMetrics().horizontalAdvance(child.text())
            assert child.width() >= need, child.text()
    boxes = [c for c in dialog.film.children() if isinstance(c, NumberBox)]
    assert len(boxes) == 7
    for n, one in enumerate(boxes):
        assert not any(one.geometry().intersects(b.geometry()) for b in boxes[n + 1 :])
        assert one.accessibleName()
