"""The ledger as CSV (RFC 4180): one row a measurement, the figures of the ledger file.

UTF-8 with a byte-order mark, since spreadsheets otherwise take "≥" and names for another
encoding; CRLF; decimal point; nothing rounded beyond the ledger file's four decimals. Text that
a spreadsheet would run as a formula gets an apostrophe in front. What each column means stands
in `columns.po`, its type in `core.sheet.schemas`.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping

from core.measuring.ledger import Ledger
from core.measuring.row_names import row_words
from core.sheet.schemas import TABLE_VERSION
from core.words.catalogue import SOURCE, speaking
from core.words.columns import COLUMNS


def ledger_csv(ledger: Ledger, *, signed: bool) -> bytes:
    """The ledger as CSV."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    for row in ledger_rows(ledger, signed=signed):
        writer.writerow({name: safe(value) for name, value in row.items()})
    return out.getvalue().encode("utf-8-sig")


def ledger_rows(ledger: Ledger, *, signed: bool) -> list[dict[str, object]]:
    """Each measurement with every column of the table; None where a cell is empty.

    In one language, whatever is spoken.
    """
    with speaking(SOURCE):
        return _rows(ledger, signed=signed)


def _rows(ledger: Ledger, *, signed: bool) -> list[dict[str, object]]:
    scan = ledger.scan
    head: dict[str, object] = {
        "program": ledger.program,
        "format_version": TABLE_VERSION,
        "patient_id": scan.patient_id,
        "birth_date": scan.birth_date,
        "study_date": scan.study_date,
        "series_uid": scan.series_uid,
        "plan_fingerprint": ledger.plan_fingerprint,
        "plan_revision": ledger.plan.revision,
        "signed": "yes" if signed else "no",
    }
    subjects = {str(subject["id"]): _of_subject(subject) for subject in ledger.subjects()}
    rows = json.loads(ledger.to_json())["measurements"]
    found: list[dict[str, object]] = []
    for measurement, row in zip(ledger.measurements, rows, strict=True):
        cells = head | _cells(row)
        cells |= subjects.get(str(cells["subject"]), {})
        cells |= {"name": row_words(measurement, jaw=ledger.plan.known_jaw)}
        found.append({name: cells.get(name) for name in COLUMNS})
    return found


def _cells(row: Mapping[str, object]) -> dict[str, object]:
    cells = {k: v for k, v in row.items() if k in COLUMNS}
    unit = "deg" if "value_deg" in row else "mm"
    cells["unit"] = unit
    cells["subject"] = row.get("fixture") or row.get("site")
    for name in ("value", "uncertainty", "at_least"):
        cells[name] = row.get(f"{name}_{unit}")
    cells["limit"] = row.get("limit_mm")
    changed = row.get("limit_changed")
    if isinstance(changed, dict):
        cells["limit_default"] = changed["default_mm"]
        cells["limit_changed_by"] = changed["by"]
    cells["lower_line"] = row.get("lower_line_mm")
    parts = row.get("budget")
    for term in parts if isinstance(parts, list) else []:
        cells[f"u_{term['term']}"] = term["u"]
    codes = row.get("notes")
    cells["note_codes"] = " ".join(codes) if isinstance(codes, list) else None
    witness = row.get("witness")
    if isinstance(witness, list):
        for end, point in zip(("from", "to"), witness, strict=True):
            for axis, value in zip("xyz", point, strict=True):
                cells[f"{end}_{axis}_mm"] = value
    return cells


def _of_subject(subject: Mapping[str, object]) -> dict[str, object]:
    return {
        "tooth_fdi": subject["tooth_fdi"],
        "tooth_universal": subject["tooth_universal"],
        "fixture_diameter_mm": subject.get("diameter_mm"),
        "fixture_length_mm": subject.get("length_mm"),
    }


def safe(value: object) -> object:
    """A cell that no spreadsheet runs."""
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return f"'{value}"
    return "" if value is None else value
