"""What a ledger row is called, for people; the bench, the sheet and the command line use it."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

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
from core.trust.verdict import from_words, of_words, round_down, target_words
from core.words.catalogue import Message, Words, message, say
from core.words.values import capitalised, row_of, side_words

_UNDERCUTS: Mapping[str, Message] = MappingProxyType(
    {
        "U": message("measuring.undercut.U"),
        "P": message("measuring.undercut.P"),
        "C": message("measuring.undercut.C"),
        "I": message("measuring.undercut.I"),
        "II": message("measuring.undercut.II"),
        "III": message("measuring.undercut.III"),
    }
)
"""Types U, P, C of Chan et al. 2011; I, II, III of Parnia et al. 2010."""

_ZONES: Mapping[str, Message] = MappingProxyType(
    {
        "shoulder": message("measuring.row.at-the-shoulder"),
        "deep": message("measuring.row.deeper"),
    }
)
_ALONG: Mapping[str, Message] = MappingProxyType(
    {
        "axis": message("measuring.row.along-axis"),
        "up": message("measuring.row.along-up"),
        "arch": message("measuring.row.along-arch"),
    }
)
_BY: Mapping[str, Message] = MappingProxyType(
    {
        "undercut-level": message("measuring.row.by-level"),
        "undercut-bridge": message("measuring.row.by-bridge"),
    }
)
_NAMED_BY_OF = (
    "usable",
    "levelled",
    "platform below bone",
    "drill to the apex",
    "gum over the buccal rim",
)
"""What of a kind stands in place of its name."""


def row_words(measurement: Measurement, *, jaw: str | None) -> str:
    """Name of a row: ``Canal left, with the drill's tip``, ``Ridge width, 3 mm below the crest``.

    No two rows of one fixture or site have the same name. In the upper jaw *lingual* reads
    *palatal*.
    """
    m = measurement
    details = m.details
    if m.kind is MeasurementKind.CLEARANCE:
        parts: list[Words] = [target_words(m, jaw=jaw)]
    else:
        parts = _start(m)
        if m.target:
            parts.append(target_words(m, jaw=jaw))
        elif details.side:
            parts.append(_side(details.side, jaw))
    parts += _places(details)
    if details.along:
        parts.append(_ALONG[details.along])
    if isinstance(details, UndercutDetails) and details.definition:
        parts.append(_BY[details.definition])
    if isinstance(details, ClearanceDetails | RemainingBoneDetails) and details.zone:
        parts.append(_ZONES[details.zone])
    if isinstance(details, ClearanceDetails) and details.with_tip_mm:
        parts.append(message("measuring.row.with-tip"))
    return capitalised(row_of(parts))


def undercut_words(m: Measurement) -> str:
    """Type of an undercut by its own definition, with the widths that tell it; else empty."""
    details = m.details
    if not isinstance(details, UndercutDetails) or not details.undercut_type:
        return ""
    if m.kind is not MeasurementKind.UNDERCUT_DEPTH:
        return ""
    kind = details.undercut_type
    meaning = _UNDERCUTS[kind]
    crest, base = details.width_crest_mm, details.width_base_mm
    if crest is None or base is None:
        return say("measuring.undercut.type", type=kind, meaning=meaning)
    return say(
        "measuring.undercut.type-and-widths",
        type=kind,
        meaning=meaning,
        crest=round_down(crest, 0.01),
        base=round_down(base, 0.01),
    )


def _side(side: str, jaw: str | None) -> Words:
    return side_words(inner_side(jaw) if side == "lingual" else side)


def _places(details: Details) -> list[Words]:
    """Where it is counted from, how deep, and how wide."""
    match details:
        case DepthDetails(counted_from=start) if start:
            return [from_words(start)]
        case HeightDetails():
            start, wide = details.counted_from, details.at_width_mm
            return [
                *([from_words(start)] if start else ()),
                *([] if wide is None else [message("measuring.row.wide", mm=wide)]),
            ]
        case WidthDetails(at_depth_mm=depth) if depth is not None:
            return [message("measuring.row.below-crest", mm=depth)]
        case CortexDetails(at_depth_mm=depth) if depth is not None:
            return [message("measuring.row.deep", mm=depth)]
        case _:
            return []


def _start(m: Measurement) -> list[Words]:
    """The kind and what of it, or the latter alone where it says both."""
    of, kind = m.details.of, m.kind.row.words
    if of in _NAMED_BY_OF:
        return [of_words(of)]
    return [kind, of_words(of)] if of else [kind]
