"""Sentences about: the record - archive objects, drill card, check film, patient's page."""

from __future__ import annotations

PARTS: dict[str, str] = {
    "sheet": "Measurement sheet",
    "basis": "Basis of the sheet",
    "card": "Drill card (A5)",
    "film": "Expected check radiograph",
    "checklist": "Checklist for the day",
    "patient": "Page for the patient",
    "report": "Measurements for the archive",
    "pdf object": "Sheet for the archive",
    "key pictures": "Key pictures for the archive",
    "bodies": "Fixtures and canals for the archive",
    "laboratory": "Page for the laboratory",
    "meshes": "Meshes for the laboratory",
}
"""What people call the parts of sheet and record."""

PART_KINDS: dict[str, str] = {
    "sheet": "PDF, table, ledger, pictures",
    "basis": "PDF: definitions, scan, uncertainty, log",
    "card": "PDF",
    "film": "PDF",
    "checklist": "PDF",
    "patient": "PDF",
    "report": "DICOM structured report",
    "pdf object": "DICOM encapsulated PDF",
    "key pictures": "DICOM secondary capture, key objects",
    "bodies": "DICOM encapsulated STL",
    "laboratory": "PDF",
    "meshes": "3MF and STL, mm, LPS",
}
"""What kind of files each of them is."""
