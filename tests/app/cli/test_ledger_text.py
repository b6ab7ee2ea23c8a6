"""The ledger on a console: figures rounded the safe way, nothing unmeasured looks measured."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from app.cli.measurement_table import as_text
from core.fixture import Fixture, FixtureSize
from core.image.volume import ScanIdentity
from core.measurement import Budget, Limit, Measurement, Note, Reading, Term
from core.measuring.ledger import Ledger
from core.pictures.ink import GLYPHS
from core.plans.plan import Plan
from core.words.cautions import CAUTIONS
from tests.details import details_of

SIZE = FixtureSize(diameter_mm=4.0, length_mm=8.0)


def row(*, value, verdict, target="canal-left", notes=()):
    budget = None if value is None else Budget(terms=(Term(name="voxel", u=0.1, source="test"),))
    return Measurement(
        id=f"36/clearance/{target}", group="danger", kind="clearance", fixture="36",
        target=target, budget=budget, verdict=verdict,
        reading=Reading(value=value, notes=notes),
        limit=Limit(key="canal", value=2.0, lower_line=1.5, source="test", default=2.0),
    )  # fmt: skip


def ledger(*rows, **scan):
    return Ledger(
        program="Sounding test", made_at="2030-01-01T00:00:00+00:00", plan=Plan(),
        plan_fingerprint="", scan=ScanIdentity(**scan), voxel_mm=np.ones(3), findings=(),
        measurements=rows,
    )  # fmt: skip


def test_figures_round_down_and_the_verdict_stands_in_words():
    text = as_text(ledger(row(value=2.319, verdict="meets limit")))
    assert "≥ Canal left " in text
    # at least = 2.319 - 1.645 x 0.1 = 2.1545 (JCGM 106:2012, one-sided 95 %)
    assert "2.31 mm      2.15  ± 0.20   2.0  meets limit" in text


def test_what_was_not_measured_shows_no_figure_and_says_why(monkeypatch):
    monkeypatch.setattr(Note, "message", "The canal is not marked.")
    text = as_text(ledger(row(value=None, verdict="not assessed", notes=(Note("any"),))))
    line = next(part for part in text.splitlines() if "Canal left" in part)
    assert line.startswith("? ")
    assert line.split()[3:] == ["–", "–", "2.0", "not", "assessed"]
    assert "The canal is not marked." in text


def test_who_stands_first_and_silence_is_said():
    first = as_text(ledger(patient_name="Sample^One", patient_id="7")).splitlines()[0]
    assert "Sample" in first
    assert "One" in first
    assert "birth date: not in the scan" in first
    assert "ID 7" in first
    assert as_text(ledger()).startswith("name: not in the scan")


def test_an_unsigned_plan_is_a_draft_and_the_cautions_close():
    text = as_text(ledger())
    assert "DRAFT - not signed off" in text
    assert " ".join(text.split()).endswith(CAUTIONS)


@pytest.mark.parametrize("length", [46, 47, 80])
def test_columns_hold_for_names_of_any_length(length):
    text = as_text(ledger(row(value=2.0, verdict="below limit", target="x" * length)))
    title = next(part for part in text.splitlines() if part.startswith("Vital structures"))
    figures = next(part for part in text.splitlines() if "2.00 mm" in part)
    assert figures.index("2.00 mm") + 7 == title.index("value") + 5


def test_two_fixtures_are_never_mixed():
    fixtures = (
        Fixture(id=n, tooth=n, platform=(0, 0, 0), towards_apex=(0, 0, -1), size=SIZE)
        for n in ("36", "46")
    )
    rows = [replace(row(value=2.0, verdict="meets limit"), fixture=n, id=n) for n in ("36", "46")]
    text = as_text(replace(ledger(*rows), plan=Plan(fixtures=tuple(fixtures))))
    first, second = (text.index(f"Fixture {n}: {n}, lower") for n in ("36", "46"))
    assert first < text.index("Canal left") < second < text.rindex("Canal left")
    assert "36, lower left first molar (19 in 1–32)" in text


def test_one_reason_of_many_rows_is_said_once_and_each_row_points_to_it():
    lost = Note("ridge_open_side")
    held = [
        replace(row(value=None, verdict="not assessed", notes=(lost,)), id=str(n)) for n in range(4)
    ]
    text = as_text(ledger(*held))
    assert " ".join(text.split()).count(lost.message) == 1
    assert "(a) 4 rows: " in text
    assert text.count("not assessed (a)") == 4
    few = as_text(ledger(*held[:2]))
    assert " ".join(few.split()).count(lost.message) == 2
    assert "(a)" not in few


def test_every_verdict_has_its_own_sign():
    assert len(set(GLYPHS.values())) == len(GLYPHS) == 5


def test_the_upper_jaw_has_a_palate():
    inner = replace(row(value=2.5, verdict="meets limit", target="bone surface"),
                    details=details_of("clearance", {"side": "lingual"}))  # fmt: skip
    found = ledger(inner)
    assert "lingual" in as_text(replace(found, plan=Plan(jaw="lower")))
    of_26 = Fixture(id="f", tooth="26", platform=(0, 0, 0), towards_apex=(0, 0, 1), size=SIZE)
    for plan in (Plan(jaw="upper"), Plan(fixtures=(of_26,))):
        text = as_text(replace(found, plan=plan))
        assert "palatal" in text
        assert "lingual" not in text
