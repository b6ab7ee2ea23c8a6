"""Who signs is told what the scan checks warn of, and can choose what a later choice would void."""

from dataclasses import replace

import pytest
from PySide6.QtWidgets import QLabel

from app.case.settings import settings_of
from app.dialogs.answers.sign_off import MOST_WARNINGS, ask_sign_off
from core.findings import Finding
from core.plans.history import sign_off_state
from tests.app.case_at_hand import ledger, row, rows

OLD = Finding("scan-old", "caution", {"scanned": "2024-01-05", "months": "34"})
NOTE = Finding("jaw-changed-since", "note", {"scanned": "2026-09-14"})


def drilling(origin, value, mark):
    of = {"of": "drill to the apex", "counted_from": origin, "mark_mm": mark}
    return row(origin, value, None, kind="depth", group="information", limit=None, **of)


DEPTHS = (drilling("buccal rim", 8.77, 8.5), drilling("highest rim", 9.25, 9.0))


@pytest.fixture
def asked(qtbot, session, desk, closing):
    def ask(*, findings=(), measured=()):
        known = replace(ledger(session.plan, measured), findings=tuple(findings))
        session.show_ledger(known)
        dialog = closing(ask_sign_off(session, desk, None))
        qtbot.waitUntil(dialog.isVisible)
        return dialog

    return ask


def words(dialog):
    return [label.text() for label in dialog.findChildren(QLabel) if not label.isHidden()]


def test_each_warning_stands_in_the_dialog_and_no_note(asked):
    told = words(asked(findings=(OLD, NOTE)))
    assert f"Scan check: {OLD.message}" in told
    assert not any(NOTE.message in text for text in told)
    assert any("you have read the warnings" in text for text in told)


def test_many_warnings_say_how_many_more_there_are(asked):
    many = [replace(OLD, fields={**OLD.fields, "months": str(n)}) for n in range(7, 12)]
    told = words(asked(findings=many))
    assert sum(text.startswith("Scan check: ") for text in told) == MOST_WARNINGS
    assert "2 more warnings stand under Scan checks." in told


def test_without_a_warning_nothing_is_said_to_have_been_read(asked):
    assert not any("warning" in text for text in words(asked(findings=(NOTE,))))


def test_what_the_sheet_will_lack_is_said_before_signing(asked, session):
    assert session.plan.midline is not None
    assert not any("sheet will lack" in text for text in words(asked()))
    nameless = replace(session.plan.fixtures[0], tooth="")
    session.apply("midline away", replace(session.plan, midline=None, fixtures=(nameless,)))
    (told,) = [text for text in words(asked()) if "sheet will lack" in text]
    assert told.startswith("Not marked, so the sheet will lack it: midline, which places")
    assert "void the signature" in told


def test_a_depth_that_nobody_chose_is_said_and_chosen_before_signing(asked, session, qtbot):
    dialog = asked(measured=DEPTHS)
    assert dialog.origin.checkedId() == -1
    assert any("voids the signature" in text for text in words(dialog))
    assert [b.text() for b in dialog.origin.buttons()] == [
        "buccal bone edge: 8.5 mm", "most coronal bone edge: 9.0 mm"
    ]  # fmt: skip
    settings_of(session).change(name="", role="")
    dialog.name.setText("L. Example")
    dialog.role.clear()
    dialog.origin.buttons()[0].click()
    assert dialog.focusWidget() is dialog.role, "to what is still to be written"
    assert not any("Choose it here" in text for text in words(dialog))
    dialog.name.setText("L. Example")
    dialog.role.setText("dentist")
    qtbot.waitUntil(dialog.ok.isEnabled, timeout=5000)
    dialog.ok.click()
    assert session.plan.depth_from == "buccal rim"
    assert sign_off_state(session.plan) == "signed"
    assert any("drilling depths" in str(e["what"]) for e in session.plan.history)


def test_where_no_depth_is_given_none_is_chosen(asked):
    assert asked(measured=rows()).origin is None
