"""Columns that stand before those of the measurements where many cases make one table."""

from __future__ import annotations

COLUMNS = ("case", "plan_file", "scan_path", "fault_code", "fault")
"""Name of the case, unique in the table; plan file and scan as the list names them; why nothing
was measured, as a code and as a sentence, empty for a row with a measurement. Patient ID and
birth date are left out."""
