"""The measurement sheet: PDF at 1 : 1, table, ledger file and pictures."""

from __future__ import annotations

from core.sheet.writer import section_png, write_sheet

__all__ = ["section_png", "write_sheet"]
