"""A scan whose pictures contradict its header: no limit is judged on it, and every row says why."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from core import load_plan, measure, open_scan
from core.findings import Finding
from tests.hostile import samples


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    folder = tmp_path_factory.mktemp("case")
    path = folder / "a.plan.json"
    path.write_text(json.dumps(samples.plan()))
    # A site of the other side would contradict the answered side.
    return replace(load_plan(path), sites=()), open_scan(samples.write_scan("raw", folder / "scan"))


def judged(ledger):
    return [m for m in ledger.measurements if m.limit is not None]


def test_a_contradicted_scan_has_no_verdict_and_its_rows_say_why(case):
    plan, volume = case
    plain = judged(measure(plan, volume, fine=False))
    assert {m.verdict for m in plain} - {"not assessed"}
    stop = Finding("scan_byte_order", "caution", {"count": 2}, stops_verdicts=True)
    rows = judged(measure(plan, replace(volume, findings=(stop,)), fine=False))
    assert len(rows) == len(plain)
    assert {m.verdict for m in rows} == {"not assessed"}
    for row in rows:
        if row.value is not None:
            assert any("exchanged" in note.message for note in row.reading.notes), row.id


def test_a_caution_that_stops_nothing_leaves_verdicts(case):
    plan, volume = case
    caution = Finding("scan_mixed", "caution", {"names": "KVP"})
    plain = judged(measure(plan, volume, fine=False))
    rows = judged(measure(plan, replace(volume, findings=(caution,)), fine=False))
    assert [m.verdict for m in rows] == [m.verdict for m in plain]
