"""CSV by RFC 4180, read back by the standard library, equal to the ledger file."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import jsonschema
import pandas as pd
import pytest

from core.measurement import MARKED, Note, Reading, Term
from core.sheet.csv_table import ledger_csv, ledger_rows
from core.sheet.schemas import column_type, ledger_schema, table_schema
from core.words.catalogue import languages, table
from core.words.columns import COLUMNS, meanings
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


def test_one_line_of_pandas_reads_it_and_its_types_are_those_of_the_schema():
    table = pd.read_csv(io.BytesIO(ledger_csv(LEDGER, signed=False)))
    assert list(table.columns) == list(COLUMNS)
    assert len(table) == len(LEDGER.measurements)
    filed = {m["id"]: m for m in json.loads(LEDGER.to_json())["measurements"]}
    for row in table.itertuples():
        value = filed[row.id]["value_mm"]
        assert row.value == value if value is not None else pd.isna(row.value)
    for name in COLUMNS:
        if column_type(name) != "string":
            assert pd.api.types.is_numeric_dtype(table[name]), name
    assert set(table["tooth_fdi"]) == {36}
    assert set(table["tooth_universal"]) == {19}
    assert set(table["fixture_diameter_mm"]) == {4.0}


def test_an_id_with_zeros_in_front_comes_whole_where_it_is_read_as_text():
    scan = replace(LEDGER.scan, patient_id="00107")
    data = ledger_csv(replace(LEDGER, scan=scan), signed=False)
    table = pd.read_csv(io.BytesIO(data), dtype={"patient_id": str})
    assert set(table["patient_id"]) == {"00107"}


def typed(row):
    def one(name):
        if row[name] == "":
            return None
        kind = column_type(name)
        return row[name] if kind == "string" else (int if kind == "integer" else float)(row[name])

    return {name: one(name) for name in row}


def test_numbers_of_a_row_are_numbers_of_the_schema_and_texts_are_texts():
    """What stands in a cell, not what its text looks like: a file of types is written from it."""
    types = {"string": str, "number": (int, float), "integer": int}
    row = ledger_rows(LEDGER, signed=True)[0]
    filled = [name for name, value in row.items() if value is not None]
    assert len(filled) > 25
    for name in filled:
        assert isinstance(row[name], types[column_type(name)]), name


def test_every_row_fits_the_schema_and_a_row_without_its_verdict_does_not():
    rows = [typed(row) for row in read(ledger_csv(LEDGER, signed=False))]
    jsonschema.validate(rows, table_schema())
    for broken in ({"verdict": "fine"}, {"value_kind": None}, {"u_edge": "0.1"}, {"extra": 1}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate([rows[0] | broken], table_schema())
    del rows[0]["verdict"]
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(rows, table_schema())


def test_the_ledger_file_fits_its_schema_and_a_broken_one_does_not():
    filed = json.loads(LEDGER.to_json())
    jsonschema.Draft202012Validator.check_schema(ledger_schema())
    jsonschema.validate(filed, ledger_schema())
    for broken in ({"verdict": "fine"}, {"site": "35"}, {"value_deg": 1.0}, {"witness": [1]}):
        row = filed["measurements"][0] | broken
        if "value_deg" in broken:
            row |= {"uncertainty_deg": 1.0, "at_least_deg": 1.0}
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(filed | {"measurements": [row]}, ledger_schema())


@pytest.mark.parametrize("language", languages())
def test_every_column_is_explained(language):
    told = meanings(language)
    assert tuple(told) == COLUMNS
    assert set(table("columns", language)) == set(COLUMNS)
    assert all(text.endswith(".") for text in told.values())
    assert len(set(told.values())) == len(told)


@pytest.mark.parametrize(
    ("more", "kind"),
    [({}, "measured"), ({"upper_bound": True}, "upper bound"), ({"lower_bound": True}, "at least"),
     ({"value": None, "notes": (Note("evidence-none"),)}, "not measured")],
)  # fmt: skip
def test_a_value_says_what_it_is(more, kind):
    reading = Reading(**({"value": 2.0, "evidence": MARKED} | more))
    row = replace(LEDGER.measurements[0], reading=reading)
    written = read(ledger_csv(replace(LEDGER, measurements=(row,)), signed=False))[0]
    assert written["value_kind"] == kind
    assert json.loads(replace(LEDGER, measurements=(row,)).to_json())["measurements"][0][
        "value_kind"
    ] == kind  # fmt: skip


def test_each_term_of_the_uncertainty_has_its_column():
    row = LEDGER.measurements[0]
    terms = tuple(Term(name=n, u=0.1 * k, source="x") for k, n in enumerate(("edge", "fit"), 1))
    row = replace(row, budget=replace(row.budget, terms=terms))
    written = read(ledger_csv(replace(LEDGER, measurements=(row,)), signed=False))[0]
    assert {n: written[n] for n in COLUMNS if n.startswith("u_") and written[n]} == {
        "u_edge": "0.1", "u_fit": "0.2",
    }  # fmt: skip
