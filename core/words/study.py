"""Sentences about: many cases in one table."""

from __future__ import annotations

SENTENCES: dict[str, str] = {
    "study-list": (
        "The list of cases {path} cannot be used: {reason} - a wrong pair of plan and scan would "
        "be measured - give it the columns plan and scan, UTF-8, one case a row."
    ),
    "study-empty": (
        "{path} names no case - the table would be empty - give a list of plans and scans, or a "
        "folder with plan files (*.plan.json)."
    ),
    "study-no-scan": (
        "Beside the plan {plan} lies neither a folder nor a zip named {stem} - its scan is not "
        "known - name the scan so, or give a list with the columns plan and scan."
    ),
    "study-ending": (
        "{path} ends neither in .parquet nor in .csv - the form of the table is not known - name "
        "the file so."
    ),
    "study-not-installed": (
        "The part for {what} is not installed - no table was written - install the program with "
        "'[study]', or write a .csv on this machine."
    ),
    "study-worker-died": (
        "The process that measured this case ended without a word - no number comes from it - "
        "measure the case by itself to see why."
    ),
    "study-fault": (
        "A fault in the program stopped this case ({kind}) - no number comes from it - measure the "
        "case by itself and send the log to whoever maintains this installation."
    ),
    "study-no-cluster": (
        "No Dask cluster answers at {address} ({reason}) - nothing was measured - check the "
        "address, or leave --scheduler out to measure on this machine."
    ),
}
"""Code → sentence."""

COLUMNS: dict[str, str] = {
    "case": "Name of the case, unique in the table.",
    "plan_file": "Plan file, as the list names it.",
    "scan_path": "Scan, as the list names it.",
    "fault_code": "Why nothing was measured; empty for a row with a measurement.",
    "fault": "The same in a sentence.",
}
"""Columns before those of the table of measurements; patient ID and birth date are left out."""
