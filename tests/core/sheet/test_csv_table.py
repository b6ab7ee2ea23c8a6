"""CSV by RFC 4180, read back by the standard library, equal to the ledger file."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import pytest

from core.sheet.csv_table import COLUMNS, ledger_csv
from tests.sheet_material import fixture_at, ledger_of, plan_with

LEDGER = ledger_of(plan_with(fixture_at(15.0, "36")))


def read(data):
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def test_figures_are_those_of_the_ledger_file():
    rows = read(ledger_csv(LEDGER, signed=False))
    filed = json.loads(LEDGER.to_json())["measurements"]
    assert [r["id"] for r in rows] == [m["id"] for m in filed]
    for row, m in zip(rows, filed, strict=True):
        assert row["value"] == ("" if m["value_mm"] is None else str(m["value_mm"]))
        assert row["verdict"] == m["verdict"]
        assert row["limit"] == str(m["limit_mm"])
        if m["witness"] is not None:
            assert float(row["to_z_mm"]) == m["witness"][1][2]


def test_every_row_says_whose_it_is():
    for row in read(ledger_csv(LEDGER, signed=True)):
        assert (row["patient_id"], row["study_date"]) == ("S-0107", "2026-09-14")
        assert row["plan_fingerprint"] == LEDGER.plan_fingerprint
        assert row["signed"] == "yes"


def test_form_is_the_one_of_the_standard():
    # RFC 4180: CRLF at each line's end, the same number of fields in each line.
    data = ledger_csv(LEDGER, signed=False)
    assert data.startswith(b"\xef\xbb\xbf")
    text = data.decode("utf-8-sig")
    assert text.count("\r\n") == len(LEDGER.measurements) + 1
    assert "\n" not in text.replace("\r\n", "")
    lengths = {len(line) for line in csv.reader(io.StringIO(text, newline=""))}
    assert lengths == {len(COLUMNS)}


@pytest.mark.parametrize("start", ["=", "+", "-", "@"])
def test_text_is_never_run_as_a_formula(start):
    scan = replace(LEDGER.scan, patient_id=f'{start}1+1"; ,x')
    row = read(ledger_csv(replace(LEDGER, scan=scan), signed=False))[0]
    assert row["patient_id"] == f"'{start}1+1\"; ,x"


def test_negative_numbers_stay_numbers():
    deep = plan_with(fixture_at(15.0, "36", length_mm=15.0))
    row = read(ledger_csv(ledger_of(deep), signed=False))[0]
    assert float(row["value"]) == pytest.approx(-1.5, abs=0.01)  # apex on the canal's middle line
