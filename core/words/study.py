"""Sentences about: many cases in one table."""

from __future__ import annotations

"""Code → sentence."""

COLUMNS: dict[str, str] = {
    "case": "Name of the case, unique in the table.",
    "plan_file": "Plan file, as the list names it.",
    "scan_path": "Scan, as the list names it.",
    "fault_code": "Why nothing was measured; empty for a row with a measurement.",
    "fault": "The same in a sentence.",
}
"""Columns before those of the table of measurements; patient ID and birth date are left out."""
