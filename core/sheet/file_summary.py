"""What a file without pages holds, as plain lines: a look at archive objects, meshes, pictures.

Everything is read back from the file's own bytes, so that the lines show what would leave.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import PurePath
from typing import Any

from core.sheet.concepts import NOT_ASSESSED, UPPER_BOUND
from core.trust.figures import nearest
from core.words.catalogue import say

_SAID = (NOT_ASSESSED.meaning, UPPER_BOUND.meaning, "Finding", "Procedure reported")


def file_summary(name: str, data: bytes) -> list[str]:
    """Lines about one file, its name first.

    Parameters
    ----------
    name : str
        As in the folder; its ending tells how it is read.
    data : bytes
    """
    kind = PurePath(name).suffix
    if kind == ".dcm":
        return [f"{name}, {_size(data)}", *_object_lines(data)]
    if kind == ".stl":
        return [f"{name}, {_size(data)}: {_mesh_words(data)}"]
    return [f"{name}, {_size(data)}"]


def _size(data: bytes) -> str:
    return f"{max(1, round(len(data) / 1000))} kB"


def _mesh_words(data: bytes) -> str:
    import trimesh

    mesh: Any = trimesh.load(io.BytesIO(data), file_type="stl")
    low, high = mesh.bounds
    spans = ", ".join(
        say("sheet.summary.span", axis=axis, low=nearest(float(a), 1), high=nearest(float(b), 1))
        for axis, a, b in zip("xyz", low, high, strict=True)
    )
    closed = say("sheet.summary.closed" if mesh.is_watertight else "sheet.summary.not-closed")
    return say(
        "sheet.summary.mesh",
        triangles=len(mesh.faces),
        closed=closed,
        volume=nearest(float(mesh.volume), 1),
        spans=spans,
    )


def _object_lines(data: bytes) -> Iterator[str]:
    import pydicom

    d = pydicom.dcmread(io.BytesIO(data))
    yield f"{d.SOPClassUID.name}, {d.SeriesDescription}"
    state = [str(d.get("CompletionFlag", "")), str(d.get("VerificationFlag", ""))]
    yield ", ".join(word for word in state if word)
    empty = say("sheet.summary.empty-field")
    yield say("sheet.summary.patient", name=d.PatientName or empty, id=d.PatientID or empty)
    yield say("sheet.summary.study", uid=d.StudyInstanceUID)
    missing = [e.keyword for e in d if e.VM == 0 and e.VR != "SQ" and not e.is_private]
    if missing:
        yield say("sheet.summary.empty", fields=", ".join(missing))
    if "MIMETypeOfEncapsulatedDocument" in d:
        yield say(
            "sheet.summary.holds",
            kind=d.MIMETypeOfEncapsulatedDocument,
            bytes=d.EncapsulatedDocumentLength,
        )
    if "ContentSequence" in d:
        yield from _content_lines(d.ContentSequence, 0)


def _content_lines(items: Any, depth: int) -> Iterator[str]:
    """Numbers and findings of a report's tree, indented by their group."""
    for item in items:
        kind = item.ValueType
        named = item.get("ConceptNameCodeSequence")
        name = named[0].CodeMeaning if named else ""
        below = item.get("ContentSequence", ())
        if kind == "NUM" and item.get("MeasuredValueSequence"):
            value = item.MeasuredValueSequence[0]
            unit = value.MeasurementUnitsCodeSequence[0].CodeValue
            words = _text(below, "Comment") or name
            yield f"{'  ' * depth}{words}: {value.NumericValue} {unit}"
            continue
        if kind == "CODE" and name in _SAID:
            words = _text(item.get("ContentSequence", ()), "Comment")
            yield f"{'  ' * depth}{name}: {words or item.ConceptCodeSequence[0].CodeMeaning}"
        if kind == "CONTAINER" and name == "Measurement Group":
            yield f"{'  ' * depth}{name} {_text(below, 'Tracking Identifier')}"
            yield from _content_lines(below, depth + 1)
        elif kind == "CONTAINER":
            yield from _content_lines(below, depth)


def _text(items: Any, name: str) -> str:
    for item in items:
        if item.ConceptNameCodeSequence[0].CodeMeaning == name and item.ValueType == "TEXT":
            return str(item.TextValue)
    return ""
