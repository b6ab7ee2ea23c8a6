"""The measurement sheet: PDF at 1 : 1, table and pictures; and the record beside it."""

from __future__ import annotations

from core.sheet.folder import write_folder
from core.sheet.writer import section_png

__all__ = ["section_png", "write_folder"]
