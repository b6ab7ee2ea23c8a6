"""Columns of the table of measurements, in its order; what each means stands in `columns.po`."""

from __future__ import annotations

from collections.abc import Mapping

from core.words.catalogue import table

COLUMNS: tuple[str, ...] = (
    "program",
    "format_version",
    "patient_id",
    "birth_date",
    "study_date",
    "series_uid",
    "plan_fingerprint",
    "plan_revision",
    "signed",
    "id",
    "subject",
    "tooth_fdi",
    "tooth_universal",
    "fixture_diameter_mm",
    "fixture_length_mm",
    "group",
    "kind",
    "target",
    "side",
    "at_depth_mm",
    "along",
    "name",
    "unit",
    "value",
    "value_kind",
    "uncertainty",
    "coverage",
    "at_least",
    "limit",
    "limit_key",
    "limit_default",
    "limit_changed_by",
    "lower_line",
    "limit_source",
    "verdict",
    "from_x_mm",
    "from_y_mm",
    "from_z_mm",
    "to_x_mm",
    "to_y_mm",
    "to_z_mm",
    "u_placement",
    "u_course",
    "u_edge",
    "u_voxel",
    "u_scale",
    "u_size",
    "u_fit",
    "note_codes",
    "note",
)


def meanings(language: str) -> Mapping[str, str]:
    """What each column means, for the table's schema, its reader and the help."""
    found = table("columns", language)
    return {name: found[name] for name in COLUMNS}
