"""Reading a DICOM export: folder → series → findings → volume."""

from __future__ import annotations

from core.scan.open import inspect, open_scan, preview
from core.scan.report import SeriesReport

__all__ = ["SeriesReport", "inspect", "open_scan", "preview"]
