"""Every number, wherever it is shown, carries its doubt and its verdict: all rows of both samples.

The plan of each sample scan, measured once; each row is looked up in the ledger file, the table,
the bench's list with what unfolds below it, the console and the printed sheet.
"""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from functools import lru_cache

import pypdfium2
import pytest

import sample_volumes
from app.cli.measurement_table import as_text
from app.panels.ledger_details import details
from app.panels.ledger_entries import entries
from core import load_plan, measure, open_scan
from core.drawing import window_of_volume
from core.measurement import GUARD
from core.measuring.basis import settled_arch
from core.plans.sizes import default_sizes
from core.sheet.basis_pages import basis_pdf
from core.sheet.budget_table import TERMS
from core.sheet.case import case_of
from core.sheet.csv_table import ledger_csv
from core.sheet.pdf import laid_out, sheet_pdf
from core.trust.figures import shown, up
from core.trust.verdict import judged_words, least_allowed
from core.words.catalogue import say

SAMPLES = ("lower_left_36", "upper_right_15")
FURTHER = {
    "at_depth_mm", "at_width_mm", "from_platform_mm", "mark_mm", "with_tip_mm", "turn_deg",
    "free_hand_at_least_mm", "pilot_guide_at_least_mm", "full_guide_at_least_mm",
    "least_over_turn_mm", "width_crest_mm", "width_base_mm",
}  # fmt: skip
"""Numbers beside a row's value. Places and set figures have no doubt; of the others (what placing
would make of it, the least over a turn, the widths of the undercut's code) the row's own stands,
and a word beside them says so."""


@lru_cache(maxsize=4)
def measured(name):
    volume = open_scan(sample_volumes.path(name))
    plan = load_plan(sample_volumes.path(f"{name}.plan.json"))
    return plan, volume, measure(plan, volume)


@lru_cache(maxsize=4)
def sheet_text(name):
    plan, volume, ledger = measured(name)
    case = case_of(plan, volume, ledger, without_viewing=True, window=window_of_volume(volume))
    return case, pdf_text(sheet_pdf(case, paper="A4")), pdf_text(basis_pdf(case, paper="A4"))


def pdf_text(data):
    document = pypdfium2.PdfDocument(data)
    pages = [document[n].get_textpage().get_text_range() for n in range(len(document))]
    document.close()
    return "\n".join(pages)


@pytest.fixture(params=SAMPLES)
def sample(request):
    return request.param


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", [*SAMPLES, "lower_left_36_wrong"])
def test_a_sample_prints_on_four_pages_with_its_list_of_sizes(name, paper):
    plan, volume = (
        load_plan(sample_volumes.path(f"{name}.plan.json")),
        measured(name.removesuffix("_wrong"))[1],
    )
    ledger = measured(name)[2] if name in SAMPLES else measure(plan, volume)
    case = case_of(
        plan, volume, ledger, without_viewing=True, window=window_of_volume(volume),
        sizes=default_sizes(),
    )  # fmt: skip
    assert len(laid_out(case, paper=paper).pages) == 4


def test_page_one_names_the_nearest_vital_structure_first_where_all_limits_are_met(sample):
    """A vital structure before the bone's surface, however near that is; then the surface."""
    plan, volume, ledger = measured(sample)
    met = replace(
        ledger,
        measurements=tuple(
            replace(m, verdict="meets limit") if m.verdict and m.value is not None else m
            for m in ledger.measurements
            if m.verdict in (None, "meets limit") or m.value is not None
        ),
    )
    case = case_of(plan, volume, met, without_viewing=True, window=window_of_volume(volume))
    rows = [m for m in met.measurements if m.value is not None]
    vital = min(
        (m for m in rows if m.group == "danger" and m.target != "bone surface"),
        key=lambda m: m.value,
    )
    assert case.tightest(case.subjects[0]) is vital
    boxes = [b.what for b in laid_out(case, paper="A4").pages[0].boxes]
    column = boxes[boxes.index(say("sheet.closest")) :][:5]
    assert case.name(vital) in column
    assert f"{shown(vital)} mm" in column


def test_page_one_holds_the_smallest_bone_distance_of_all_rows_with_a_limit_or_without(sample):
    """A buccal surface has no limit, and may still be the nearest: it is never left out."""
    plan, volume, ledger = measured(sample)
    to_bone = [
        m
        for m in ledger.measurements
        if m.value is not None and (m.target == "bone surface" or m.kind == "wall")
    ]
    least = min(to_bone, key=lambda m: m.value)
    case = case_of(plan, volume, ledger, without_viewing=True, window=window_of_volume(volume))
    assert case.nearest_surface(case.subjects[0]) is least
    without = next(m for m in to_bone if m.limit is None)
    nearer = replace(without, reading=replace(without.reading, value=least.value - 0.5))
    rows = tuple(nearer if m is without else m for m in ledger.measurements)
    case = replace(case, ledger=replace(ledger, measurements=rows))
    boxes = [b.what for b in laid_out(case, paper="A4").pages[0].boxes]
    column = boxes[boxes.index(say("sheet.closest-surface")) :][:4]
    assert case.name(nearer) in column
    assert any(t.startswith(f"{shown(nearer)} mm, at least") for t in column)


def test_each_row_holds_together(sample):
    rows = measured(sample)[2].measurements
    assert len(rows) > 40
    for m in rows:
        if m.value is None:
            assert m.budget is None, m.id
            assert m.reading.notes, f"{m.id} gives no value and no reason"
            assert m.verdict == "not assessed" or m.details.by_key().get("declared"), m.id
            continue
        assert m.budget is not None, f"{m.id} is a bare number"
        assert m.budget.u > 0, f"{m.id} claims to be exact"
        assert all(t.source for t in m.budget.terms), m.id
        assert (m.limit is None) == (m.verdict is None), m.id
        if m.limit is not None:
            assert m.limit.source, m.id
            met = m.value - GUARD * m.budget.u >= least_allowed(m.limit)
            assert not (m.verdict == "meets limit" and not met), m.id
        numbers = {
            k for k, v in m.details.by_key().items() if isinstance(v, int | float) and v is not True
        }
        assert numbers <= FURTHER, m.id


def test_the_ledger_file_has_value_doubt_verdict_and_budget(sample):
    ledger = measured(sample)[2]
    written = {row["id"]: row for row in json.loads(ledger.to_json())["measurements"]}
    assert set(written) == {m.id for m in ledger.measurements}
    for m in ledger.measurements:
        row = written[m.id]
        unit = m.reading.unit
        assert row["verdict"] == m.verdict
        assert row["coverage"] == 2
        if m.value is None:
            assert row[f"value_{unit}"] is None
            assert row["budget"] is None
            assert row["note"], m.id
            continue
        assert row[f"value_{unit}"] == pytest.approx(m.value, abs=1e-4)
        assert row[f"uncertainty_{unit}"] == pytest.approx(m.budget.expanded, abs=1e-4)
        squares = sum(term["u"] ** 2 for term in row["budget"])
        combined = row[f"uncertainty_{unit}"] / 2
        assert squares == pytest.approx(combined**2, rel=1e-3, abs=1e-4), m.id
        assert all(term["source"] for term in row["budget"])
        if m.kind.row.more_is_safer:
            assert row[f"at_least_{unit}"] == pytest.approx(m.at_least, abs=1e-4)


def test_the_table_has_value_doubt_verdict_and_budget(sample):
    ledger = measured(sample)[2]
    text = ledger_csv(ledger, signed=False).decode("utf-8-sig")
    written = {row["id"].lstrip("'"): row for row in csv.DictReader(io.StringIO(text))}
    assert set(written) == {m.id for m in ledger.measurements}
    for m in ledger.measurements:
        row = written[m.id]
        assert row["verdict"] == (m.verdict or "")
        assert row["name"]
        if m.value is None:
            assert row["value"] == row["uncertainty"] == ""
            assert not any(row[f"u_{term}"] for term in TERMS)
            assert row["value_kind"] == "not measured"
            assert row["note"]
            continue
        assert float(row["value"]) == pytest.approx(m.value, abs=1e-4)
        assert float(row["uncertainty"]) == pytest.approx(m.budget.expanded, abs=1e-4)
        assert row["unit"] == m.reading.unit
        parts = {term: float(row[f"u_{term}"]) for term in TERMS if row[f"u_{term}"]}
        assert parts == pytest.approx({t.name: t.u for t in m.budget.terms}, abs=1e-4)


def test_the_bench_lists_every_row_and_unfolds_its_budget(sample):
    plan, _, ledger = measured(sample)
    arch = settled_arch(plan)
    opened = {
        f"{subject.id}:{group}:{fold}"
        for subject in (*plan.fixtures, *plan.sites)
        for group in ("danger", "roots", "bone", "information")
        for fold in ("met", "free")
    }
    lines = entries(plan, ledger, None, current=True, whole=True, opened=opened)
    listed = {line.row.id: line for line in lines if line.row is not None}
    assert set(listed) == {m.id for m in ledger.measurements}
    for m in ledger.measurements:
        line = listed[m.id]
        degrees = m.reading.unit == "deg" and m.value is not None
        assert line.value == shown(m) + ("°" if degrees else "")
        assert (judged_words(m) or "no limit") in line.spoken
        unfolded = details(m, plan, arch)
        if m.value is None:
            assert any(d.head == "note" for d in unfolded), m.id
            continue
        (doubt,) = [d for d in unfolded if d.head == "± U"]
        assert up(m.budget.expanded, 1 if degrees else 2) in doubt.text
        bars = {d.head: d.share for d in unfolded if d.share is not None}
        assert bars.keys() == {t.name for t in m.budget.terms if t.u > 0}
        assert sum(bars.values()) == pytest.approx(1.0)
        assert any(d.head == "means" for d in unfolded), f"{m.kind} has no definition"


def test_the_console_shows_every_row_with_its_verdict(sample):
    ledger = measured(sample)[2]
    text = as_text(ledger)
    for m in ledger.measurements:
        assert judged_words(m) in text
    assert text.count("±") >= sum(m.value is not None for m in ledger.measurements)


def test_the_sheet_prints_every_row_with_its_doubt_and_budget(sample):
    """The figures on the sheet's own pages, the budget of each in the basis beside it."""
    case, text, basis = sheet_text(sample)
    budgets = basis[basis.index("Uncertainty budget of each row") :]
    flat = " ".join(budgets.split())
    for m in case.ledger.measurements:
        name = " ".join(case.name(m).split())
        if m.value is None:
            assert "not assessed" in text
            continue
        # A fixture and a site may have rows of one name and value: one of them must fit.
        start = f"{name} {shown(m, decimals=2)}"
        decimals = 1 if m.reading.unit == "deg" else 2
        wanted = [up(t.u, decimals + 1) for t in m.budget.terms]
        wanted.append(up(m.budget.expanded, decimals))
        lines = [part[:90] for part in flat.split(start)[1:]]
        assert any(all(figure in line for figure in wanted) for line in lines), m.id
    used = {t.name for m in case.ledger.measurements if m.budget for t in m.budget.terms}
    assert used <= set(TERMS)
    assert all(term in flat for term in used)
