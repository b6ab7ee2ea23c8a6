"""What a ledger row is called, for people; the bench, the sheet and the command line use it."""

from __future__ import annotations

from core.identity import inner_side
from core.measurement import Measurement
from core.measurement_kinds import (
    ClearanceDetails,
    CortexDetails,
    DepthDetails,
    Details,
    HeightDetails,
    MeasurementKind,
    RemainingBoneDetails,
    UndercutDetails,
    WidthDetails,
)
from core.trust.figures import down
from core.trust.verdict import target_words

_UNDERCUTS = {
    "U": "undercut",
    "P": "parallel",
    "C": "convex, wider at the base",
    "I": "under 2 mm",
    "II": "2 to 3 mm",
    "III": "over 3 mm",
}
"""Types U, P, C of Chan et al. 2011; I, II, III of Parnia et al. 2010."""

_ZONES = {"shoulder": "at the shoulder", "deep": "deeper"}
_ALONG = {"axis": "along the axis", "up": "by the jaw plane"}
_OF = {
    (MeasurementKind.RIDGE_HEIGHT, "usable"): "Usable height",
    (MeasurementKind.RIDGE_HEIGHT, "levelled"): "Height lost by levelling",
    (MeasurementKind.DEPTH, "platform below bone"): "Platform below bone",
    (MeasurementKind.DEPTH, "drill to the apex"): "Drill to the apex",
    (MeasurementKind.DEPTH, "gum over the buccal rim"): "Gum over the buccal rim",
}


def row_words(measurement: Measurement, *, jaw: str | None) -> str:
    """Name of a row: ``Canal left, with the drill's tip``, ``Ridge width, 3 mm below the crest``.

    No two rows of one fixture or site have the same name. In the upper jaw *lingual* reads
    *palatal*.
    """
    m = measurement
    details = m.details
    if m.kind is MeasurementKind.CLEARANCE:
        words = target_words(m, jaw=jaw)
        parts = [words[:1].upper() + words[1:]]
    else:
        parts = [_start(m)]
        if m.target:
            parts.append(target_words(m, jaw=jaw))
        elif details.side:
            parts.append(details.side.replace("lingual", inner_side(jaw)))
    parts += _places(details)
    if details.along:
        parts.append(_ALONG.get(details.along, f"along {details.along}"))
    if isinstance(details, UndercutDetails) and details.definition:
        parts.append("by " + details.definition.removeprefix("undercut-"))
    if isinstance(details, ClearanceDetails | RemainingBoneDetails) and details.zone:
        parts.append(_ZONES[details.zone])
    if isinstance(details, ClearanceDetails) and details.with_tip_mm:
        parts.append("with the drill’s tip")
    return ", ".join(parts)


def undercut_words(m: Measurement) -> str:
    """Type of an undercut by its own definition, with the widths that tell it; else empty."""
    details = m.details
    if not isinstance(details, UndercutDetails) or not details.undercut_type:
        return ""
    if m.kind is not MeasurementKind.UNDERCUT_DEPTH:
        return ""
    words = f"Type {details.undercut_type}: {_UNDERCUTS[details.undercut_type]}"
    crest, base = details.width_crest_mm, details.width_base_mm
    if crest is not None and base is not None:
        words += f"; ridge {down(crest, 2)} mm wide 2 mm below the crest"
        words += f", {down(base, 2)} mm on the level"
    return f"{words}."


def _places(details: Details) -> list[str]:
    """Where it is counted from, how deep, and how wide."""
    match details:
        case DepthDetails(counted_from=start) if start:
            return [f"from the {start}"]
        case HeightDetails():
            start, wide = details.counted_from, details.at_width_mm
            return [
                *([f"from the {start}"] if start else ()),
                *([] if wide is None else [f"{wide:g} mm wide"]),
            ]
        case WidthDetails(at_depth_mm=depth) if depth is not None:
            return [f"{depth:g} mm below the crest"]
        case CortexDetails(at_depth_mm=depth) if depth is not None:
            return [f"{depth:g} mm deep"]
        case _:
            return []


def _start(m: Measurement) -> str:
    of, start = m.details.of, m.kind.row.words
    return _OF.get((m.kind, of), f"{start}, {of}") if of else start
