"""A changed limit, from the practice's settings and the plan's dialog to every place it shows."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import pypdfium2
import pytest

pytest.importorskip("PySide6")

from app.case.attestations import with_limit, without_limit
from app.case.session import Session
from app.case.settings import SettingsStore, with_practice_limits
from app.case.settings_value import Settings
from app.cli.measurement_table import as_text
from app.panels.ledger_details import details
from app.panels.ledger_entries import why
from core.drawing import window_of_volume
from core.measuring.assemble import measure
from core.plans.limits import row_for
from core.plans.plan_file import load_plan, save_plan
from core.sheet.case import case_of
from core.sheet.csv_table import ledger_csv
from core.sheet.pdf import sheet_pdf
from tests.core.trust.case import case

WHEN = "2026-11-24T09:30:00+01:00"
ROW = "36/clearance/canal-left"


def shown_everywhere(plan, *words):
    """The row of the canal wherever it is shown; each must hold every word."""
    _, volume = case()
    ledger = measure(plan, volume, fine=False)
    m = ledger.get(ROW)
    sheet = sheet_pdf(
        case_of(plan, volume, ledger, without_viewing=True, window=window_of_volume(volume)),
        paper="A4",
    )
    document = pypdfium2.PdfDocument(sheet)
    page_text = " ".join(
        " ".join(document[n].get_textpage().get_text_range() for n in range(len(document))).split()
    )
    document.close()
    row = next(r for r in json.loads(ledger.to_json())["measurements"] if r["id"] == ROW)
    table = csv.DictReader(io.StringIO(ledger_csv(ledger, signed=False).decode("utf-8-sig")))
    in_table = next(r for r in table if r["id"] == ROW)
    places = {
        "sheet": page_text,
        "ledger file": json.dumps(row["limit_changed"], ensure_ascii=False),
        "table": f"{in_table['limit_default']} {in_table['limit_changed_by']} {in_table['note']}",
        "bench": " ".join(d.text for d in details(m, plan, None)),
        "console": " ".join(as_text(ledger).split()),
    }
    for place, text in places.items():
        for word in words:
            assert word in text, f"{word!r} is missing: {place}"
    return ledger, m


def test_a_practice_limit_is_in_each_new_plan_and_beside_its_default_everywhere(tmp_path):
    store = SettingsStore(path=tmp_path / "settings.json")
    store.change(limits={"canal": 2.6})
    again = SettingsStore(path=tmp_path / "settings.json").value
    plan = with_practice_limits(case()[0], again, at=WHEN)
    ledger, m = shown_everywhere(plan, "practice settings", "practice limit")
    assert (m.limit.value, m.limit.default) == (2.6, row_for("canal").value)
    assert f"limit 2.6 (default {row_for('canal').value:.1f})" in why(m)
    assert "limit-changed" in {f.code for f in ledger.findings}


def test_plans_that_exist_keep_theirs():
    own = replace(case()[0], limits=with_limit(
        case()[0], key="canal", value=3.0, reason="wide canal", by="LM", at=WHEN
    )[1].limits)  # fmt: skip
    settings = Settings(limits={"canal": 2.6})
    assert with_practice_limits(own, settings, at=WHEN).limits["canal"].value == 3.0


def test_a_change_is_logged_with_what_it_was_and_survives_the_file(tmp_path, qapp):
    session = Session()
    session._measure = lambda: None
    session.operator = "LM"
    session.plan = case()[0]
    session.apply(*with_limit(
        session.plan, key="canal", value=1.5, reason="canal at the far side", by="LM", at=WHEN
    ))  # fmt: skip
    session.apply(*with_limit(
        session.plan, key="canal", value=1.8, reason="second thoughts", by="AK", at=WHEN
    ))  # fmt: skip
    log = [(e["who"], e["what"]) for e in session.plan.history]
    assert log[-2] == ("LM", "limit canal changed from 2 to 1.5 mm: canal at the far side")
    assert log[-1] == ("LM", "limit canal changed from 1.5 to 1.8 mm: second thoughts")
    file = tmp_path / "case.plan.json"
    save_plan(session.plan, file)
    kept = load_plan(file)
    ledger, m = shown_everywhere(kept, "AK", "second thoughts")
    # Loosened: told as a caution, not as a note.
    (finding,) = [f for f in ledger.findings if f.code == "limit-changed"]
    assert finding.severity == "caution"
    assert m.limit.value == 1.8
    session.apply(*without_limit(session.plan, key="canal"))
    assert "canal" not in session.plan.limits
    assert session.plan.history[-1]["what"] == "limit canal reset to its default"
    session.undo_stack.undo()
    assert session.plan.limits["canal"].value == 1.8


def test_nobody_goes_under_the_lower_line(tmp_path):
    with pytest.raises(ValueError, match="lower line"):
        with_limit(case()[0], key="canal", value=0.5, reason="x", by="LM", at=WHEN)
    store = SettingsStore(path=tmp_path / "settings.json")
    store.change(limits={"canal": 0.5})
    broken = SettingsStore(path=tmp_path / "settings.json")
    assert broken.value.limits == {}
    assert "could not be read" in broken.trouble
