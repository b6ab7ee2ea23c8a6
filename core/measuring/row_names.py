"""What a ledger row is called, for people; the bench, the sheet and the command line use it."""

from __future__ import annotations

from core.identity import inner_side
from core.measurement import Measurement
from core.trust.figures import down
from core.trust.verdict import target_words

_KINDS = {
    "ridge_width": "Ridge width",
    "ridge_height": "Ridge height",
    "plate_thickness": "Cortex",
    "wall": "Remaining bone",
    "hollow_depth": "Undercut depth",
    "hollow_angle": "Undercut angle",
    "angle": "Angle",
    "offset": "Offset",
    "room": "Room",
    "entry": "Entry point",
    "depth": "Depth",
    "ruler": "Ruler",
}
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
    ("ridge_height", "usable"): "Usable height",
    ("ridge_height", "levelled"): "Height lost by levelling",
    ("depth", "platform below bone"): "Platform below bone",
    ("depth", "drill to the apex"): "Drill to the apex",
    ("depth", "gum over the buccal rim"): "Gum over the buccal rim",
}


def row_words(measurement: Measurement, *, jaw: str | None) -> str:
    """Name of a row: ``Canal left, with the drill's tip``, ``Ridge width, 3 mm below the crest``.

    No two rows of one fixture or site have the same name. In the upper jaw *lingual* reads
    *palatal*.
    """
    m = measurement
    details = m.details
    if m.kind == "clearance":
        words = target_words(m, jaw=jaw)
        parts = [words[:1].upper() + words[1:]]
    else:
        parts = [_start(m)]
        if m.target:
            parts.append(target_words(m, jaw=jaw))
        elif details.get("side"):
            parts.append(str(details["side"]).replace("lingual", inner_side(jaw)))
    parts += _places(m)
    if details.get("along"):
        parts.append(_ALONG.get(str(details["along"]), f"along {details['along']}"))
    if details.get("definition") in ("hollow-level", "hollow-bridge"):
        parts.append("by " + str(details["definition"]).removeprefix("hollow-"))
    if details.get("zone"):
        parts.append(_ZONES.get(str(details["zone"]), str(details["zone"])))
    if details.get("with_tip_mm"):
        parts.append("with the drill’s tip")
    return ", ".join(parts)


def undercut_words(m: Measurement) -> str:
    """Type of an undercut by its own definition, with the widths that tell it; else empty."""
    kind = m.details.get("hollow_type")
    if m.kind != "hollow_depth" or not kind:
        return ""
    words = f"Type {kind}: {_UNDERCUTS[str(kind)]}"
    widths = [m.details.get(f"width_{name}_mm") for name in ("crest", "base")]
    crest, base = widths
    if isinstance(crest, int | float) and isinstance(base, int | float):
        words += f"; ridge {down(crest, 2)} mm wide 2 mm below the crest"
        words += f", {down(base, 2)} mm on the level"
    return f"{words}."


def _places(m: Measurement) -> list[str]:
    """Where it is counted from, how deep, and how wide."""
    details, places = m.details, []
    if details.get("from"):
        places.append(f"from the {details['from']}")
    if isinstance(details.get("at_depth_mm"), int | float):
        where = "below the crest" if m.kind == "ridge_width" else "deep"
        places.append(f"{details['at_depth_mm']:g} mm {where}")
    if isinstance(details.get("at_width_mm"), int | float):
        places.append(f"{details['at_width_mm']:g} mm wide")
    return places


def _start(m: Measurement) -> str:
    of = str(m.details.get("of", ""))
    start = _KINDS.get(m.kind, m.kind.replace("_", " ").capitalize())
    if not of:
        return start
    return _OF.get((m.kind, of), f"{start}, {of}")
