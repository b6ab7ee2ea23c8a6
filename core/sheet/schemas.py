"""JSON Schemas of what leaves for other programs: a row of the table, and the ledger file.

Draft 2020-12 of JSON Schema (https://json-schema.org/draft/2020-12). The table's schema describes
a row as an object whose empty cells are null.
"""

from __future__ import annotations

import json
from typing import Any, get_args

from core.measurement import Group, TermName, ValueKind, VerdictCode
from core.measurement_kinds import MeasurementKind
from core.measuring.ledger import LEDGER_VERSION
from core.words.catalogue import SOURCE
from core.words.columns import COLUMNS, meanings

Schema = dict[str, Any]

TABLE_VERSION = 3
"""Raised when a column changes its meaning or goes; a further column leaves it."""

TERMS: tuple[str, ...] = get_args(TermName)

_DIALECT = "https://json-schema.org/draft/2020-12/schema"
_INTEGERS = ("format_version", "plan_revision", "tooth_fdi", "tooth_universal", "coverage")
_NUMBERS = (
    "fixture_diameter_mm", "fixture_length_mm", "at_depth_mm", "value", "uncertainty", "at_least",
    "limit", "limit_default", "lower_line", "from_x_mm", "from_y_mm", "from_z_mm", "to_x_mm",
    "to_y_mm", "to_z_mm", *(f"u_{term}" for term in TERMS),
)  # fmt: skip
_WORDS: dict[str, tuple[str, ...]] = {
    "signed": ("yes", "no"),
    "group": get_args(Group),
    "kind": tuple(MeasurementKind),
    "unit": ("mm", "deg"),
    "value_kind": get_args(ValueKind),
    "verdict": get_args(VerdictCode),
}
_ALWAYS = frozenset(
    {"program", "format_version", "signed", "id", "group", "kind", "name", "unit", "value_kind"}
)
"""Columns that are empty in no row."""


def table_schema() -> Schema:
    """Schema of the table of measurements: an array of rows, empty cells null."""
    return {
        "$schema": _DIALECT,
        "title": "Table of measurements",
        "description": (
            "UTF-8 with byte order mark, comma, decimal point, one row a measurement. Points are "
            "in patient space (DICOM LPS), mm. Text that a spreadsheet would run as a formula has "
            "an apostrophe in front."
        ),
        "type": "array",
        "items": {
            "type": "object",
            "properties": {name: _cell(name, means) for name, means in meanings(SOURCE).items()},
            "required": list(COLUMNS),
            "additionalProperties": False,
        },
    }


def column_type(name: str) -> str:
    """``integer``, ``number`` or ``string``, as in the schema."""
    if name in _INTEGERS:
        return "integer"
    return "number" if name in _NUMBERS else "string"


def ledger_schema() -> Schema:
    """Schema of the ledger file; further keys may come with any version of the program."""
    text, whole = {"type": "string"}, {"type": "integer"}
    finding = _object(code=text, severity=_one_of("note", "caution", "refused"), message=text)
    tooth = {"type": ["integer", "null"], "minimum": 1, "maximum": 48}
    subject = _object(
        id=text, **{"is": _one_of("fixture", "site")}, tooth_fdi=tooth, tooth_universal=tooth
    )
    subject["properties"] |= {"diameter_mm": _positive(), "length_mm": _positive()}
    return {
        "$schema": _DIALECT,
        "title": "Ledger file",
        **_object(
            format={"const": "sounding-ledger"},
            version={"const": LEDGER_VERSION},
            program=text,
            made_at={"type": "string", "format": "date-time"},
            scan=_object(
                series_uid=text, fingerprint=text, voxel_mm=_three(), findings=_list(finding)
            ),
            plan=_object(fingerprint=text, revision=whole, signed={"type": "boolean"}),
            subjects=_list(subject),
            summary=text,
            measurements=_list(_ledger_row()),
        ),
    }


def codes_of_report() -> Schema:
    """The private coding scheme of the structured report: each code with meaning and definition."""
    from core.sheet.concepts import PRIVATE, VERSION, scheme

    return {
        "designator": PRIVATE,
        "version": VERSION,
        "codes": [
            {"code": code, "meaning": meaning, "definition": definition}
            for code, (meaning, definition) in sorted(scheme().items())
        ],
    }


def schema_files() -> list[tuple[str, bytes]]:
    """Name and content of a file for each schema, as they lie beside table and ledger."""
    return [
        (name, json.dumps(schema, indent=1, ensure_ascii=False).encode("utf-8"))
        for name, schema in (
            ("sheet.csv.schema.json", table_schema()),
            ("sheet.ledger.schema.json", ledger_schema()),
        )
    ]


def _cell(name: str, means: str) -> Schema:
    kind = column_type(name)
    cell: Schema = {"description": means}
    cell["type"] = kind if name in _ALWAYS else [kind, "null"]
    if name == "format_version":
        cell["const"] = TABLE_VERSION
    if name in _WORDS:
        cell["enum"] = [*_WORDS[name], *(() if name in _ALWAYS else (None,))]
    return cell


def _ledger_row() -> Schema:
    text, number = {"type": "string"}, {"type": ["number", "null"]}
    row = _object(
        id=text,
        group=_one_of(*get_args(Group)),
        kind=_one_of(*MeasurementKind),
        target=text,
        value_kind=_one_of(*get_args(ValueKind)),
        coverage={"const": 2},
        limit_mm=number,
        limit_source={"type": ["string", "null"]},
        verdict={"enum": [*get_args(VerdictCode), None]},
        witness={"anyOf": [{"type": "null"}, {**_list(_three()), "minItems": 2, "maxItems": 2}]},
        budget={
            "anyOf": [
                {"type": "null"},
                _list(_object(term=_one_of(*TERMS), u={"type": "number"}, source=text)),
            ]
        },
        notes=_list(text),
        note=text,
    )
    figures = [
        {"required": [f"{name}_{unit}" for name in ("value", "uncertainty", "at_least")]}
        for unit in ("mm", "deg")
    ]
    for unit in ("mm", "deg"):
        for name in ("value", "uncertainty", "at_least"):
            row["properties"][f"{name}_{unit}"] = number
    owner = [{"required": ["fixture"]}, {"required": ["site"]}]
    row["properties"] |= {"fixture": text, "site": text}
    return {**row, "allOf": [{"oneOf": figures}, {"oneOf": owner}]}


def _object(**properties: Schema) -> Schema:
    return {"type": "object", "properties": properties, "required": list(properties)}


def _list(items: Schema) -> Schema:
    return {"type": "array", "items": items}


def _one_of(*words: str) -> Schema:
    return {"enum": list(words)}


def _three() -> Schema:
    return {**_list({"type": "number"}), "minItems": 3, "maxItems": 3}


def _positive() -> Schema:
    return {"type": "number", "exclusiveMinimum": 0}
