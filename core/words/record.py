"""What people call the parts of sheet and record, and what kind of files each of them is."""

from __future__ import annotations

from collections.abc import Mapping

from core.words.catalogue import Message, message

_PDF = message("record.kind.pdf")

PARTS: Mapping[str, Message] = {
    "sheet": message("record.part.sheet"),
    "basis": message("record.part.basis"),
    "card": message("record.part.card"),
    "film": message("record.part.film"),
    "checklist": message("record.part.checklist"),
    "patient": message("record.part.patient"),
    "report": message("record.part.report"),
    "pdf object": message("record.part.pdf-object"),
    "key pictures": message("record.part.key-pictures"),
    "bodies": message("record.part.bodies"),
    "laboratory": message("record.part.laboratory"),
    "meshes": message("record.part.meshes"),
}

PART_KINDS: Mapping[str, Message] = {
    "sheet": message("record.kind.sheet"),
    "basis": message("record.kind.basis"),
    "card": _PDF,
    "film": _PDF,
    "checklist": _PDF,
    "patient": _PDF,
    "report": message("record.kind.report"),
    "pdf object": message("record.kind.pdf-object"),
    "key pictures": message("record.kind.key-pictures"),
    "bodies": message("record.kind.bodies"),
    "laboratory": _PDF,
    "meshes": message("record.kind.meshes"),
}
