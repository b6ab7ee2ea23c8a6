"""Every kind of measurement: name, definition, rounding, code, and what else its rows carry.

A further kind is one more member of `MeasurementKind` and one more row of `ROWS`; sheet, window,
help, files and report read it here. The values of the enumeration are the codes in files and in
ids of rows.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType
from typing import Literal, Self

from core.kinds import Concept
from core.words.catalogue import Words, message
from core.words.values import capitalised


class MeasurementKind(StrEnum):
    """What a row of the ledger measures."""

    CLEARANCE = "clearance"
    RIDGE_WIDTH = "ridge_width"
    RIDGE_HEIGHT = "ridge_height"
    PLATE_THICKNESS = "plate_thickness"
    REMAINING_BONE = "wall"
    UNDERCUT_DEPTH = "undercut_depth"
    UNDERCUT_ANGLE = "undercut_angle"
    ANGLE = "angle"
    RULER = "ruler"
    OFFSET = "offset"
    ROOM = "room"
    ENTRY = "entry"
    DEPTH = "depth"

    @property
    def row(self) -> KindRow:
        """All that depends on the kind."""
        return ROWS[self]


@dataclass(frozen=True, slots=True, kw_only=True)
class Details:
    """What tells a row from others of its kind; empty where the row does not have it.

    Parameters
    ----------
    side : str
        Buccal, lingual, mesial, distal, apical, left or right.
    along : str
        Direction of a width or height (``axis``, ``up``), or ``arch``.
    of : Words
        What of several things is measured: a code of `core.measuring.row_names`, or words.
    """

    side: str = ""
    along: str = ""
    of: Words = ""

    def without_value(self) -> Self:
        """What is still told of a row whose value is withheld: no figure that came of it."""
        return self

    def by_key(self) -> dict[str, object]:
        """What is told, by the keys of the ledger file."""
        values = {f.name: getattr(self, f.name) for f in dataclasses.fields(self)}
        # Not by truth: a depth or a turn of 0 is told.
        return {k: v for k, v in values.items() if not (v is None or v is False or v == "")}


@dataclass(frozen=True, slots=True, kw_only=True)
class ClearanceDetails(Details):
    """Of a clearance.

    Parameters
    ----------
    zone : {'shoulder', 'deep', ''}
    with_tip_mm : float or None
        Height of the drill's tip that is counted.
    label : str
        What a person called the mark.
    expected : bool
        True for what must be marked at the tooth and is not.
    declared : str
        State that a person declared it to be in.
    by_hand_mm : mapping of str to float
        Least clearance as placed by the mean deviations of a series, mm, by its key.
    own_figures : Words
        Whose own films stand in one of them, and how many.
    """

    zone: Literal["shoulder", "deep", ""] = ""
    with_tip_mm: float | None = None
    label: str = ""
    expected: bool = False
    declared: str = ""
    by_hand_mm: Mapping[str, float] = field(default_factory=dict)
    own_figures: Words = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "by_hand_mm", MappingProxyType(dict(self.by_hand_mm)))

    def without_value(self) -> Self:
        """Without what placing by hand would leave of it."""
        return dataclasses.replace(self, by_hand_mm={}, own_figures="")

    def by_key(self) -> dict[str, object]:
        """With a key for each series."""
        # Not `super()`: a dataclass with slots is made anew, and the name would mean the old one.
        values = Details.by_key(self)
        del values["by_hand_mm"]
        return values | dict(self.by_hand_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class RemainingBoneDetails(Details):
    """Of remaining bone: zone, and where its least is (mm below the platform, turn from buccal)."""

    zone: Literal["shoulder", "deep", ""] = ""
    from_platform_mm: float | None = None
    turn_deg: float | None = None

    def without_value(self) -> Self:
        """Without the place of its least."""
        return dataclasses.replace(self, from_platform_mm=None, turn_deg=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class WidthDetails(Details):
    """Of a width: depth below the crest, and the least over a small turn, mm."""

    at_depth_mm: float | None = None
    least_over_turn_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HeightDetails(Details):
    """Of a height: where it is counted from, and the width that is usable there, mm."""

    counted_from: str = ""
    at_width_mm: float | None = None

    def by_key(self) -> dict[str, object]:
        """With the file's word for where it is counted from."""
        return _counted_from(Details.by_key(self))


@dataclass(frozen=True, slots=True, kw_only=True)
class CortexDetails(Details):
    """Of a plate: depth below the crest, mm."""

    at_depth_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class UndercutDetails(Details):
    """Of an undercut: by which definition, its type there, and the widths that tell it, mm."""

    definition: Literal["undercut-level", "undercut-bridge", ""] = ""
    undercut_type: str | None = None
    width_crest_mm: float | None = None
    width_base_mm: float | None = None

    def by_key(self) -> dict[str, object]:
        """With its type also where there is none."""
        return Details.by_key(self) | {"undercut_type": self.undercut_type}


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthDetails(Details):
    """Of a depth: where it is counted from, and the drill's mark above it, mm."""

    counted_from: str = ""
    mark_mm: float | None = None

    def without_value(self) -> Self:
        """Without the mark to drill to."""
        return dataclasses.replace(self, mark_mm=None)

    def by_key(self) -> dict[str, object]:
        """With the file's word for where it is counted from."""
        return _counted_from(Details.by_key(self))


def _counted_from(values: dict[str, object]) -> dict[str, object]:
    return {"from" if key == "counted_from" else key: value for key, value in values.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class KindRow:
    """All that depends on the kind of a measurement.

    Where it is shown and how it is told has no default: each kind says it.

    Parameters
    ----------
    words : Words
        For people, as within a sentence.
    definition : Words
        What it means, shortened from the functions' own definitions.
    concept : Concept
        In the structured report.
    method : {'m-space', 'm-edge', 'm-marks'}
        How it is measured, a code of `core.sheet.concepts.OWN`.
    rounding : {'down', 'up', 'nearest'}
        Towards the safe side, where there is one.
    more_is_safer : bool
        *Could be as little as* is the figure to know.
    within_jaw : bool
        Both ends lie in the scan: a wrong scale stretches what lies between them, no more.
    overlaps : bool
        Below zero two bodies stand in one place, or one outside the bone: told in words.
    drawn : {'fixture', 'ridge', 'not'}
        Its line is drawn over pictures through a fixture, over sections of a ridge that bears
        none, or over none; with a row's picture looked at in the same plane.
    for_entry : bool
        Stands among what is measured in the mouth on the day, on drill card and day sheet.
    for_laboratory : bool
        Stands on the laboratory's page.
    details : type
        What its rows carry.
    """

    words: Words
    definition: Words
    concept: Concept
    method: Literal["m-space", "m-edge", "m-marks"]
    rounding: Literal["down", "up", "nearest"]
    more_is_safer: bool
    within_jaw: bool
    overlaps: bool
    drawn: Literal["fixture", "ridge", "not"]
    for_entry: bool
    for_laboratory: bool
    details: type[Details] = Details

    @property
    def title(self) -> str:
        """The words as they begin a line."""
        return capitalised(self.words)


_DISTANCE = Concept(code="121206", meaning="Distance", scheme="DCM")
_ANGLE = Concept(code="1483009", meaning="Angle", scheme="SCT")
_DEPTH = Concept(code="131197000", meaning="Depth", scheme="SCT")

ROWS: Mapping[MeasurementKind, KindRow] = MappingProxyType(
    {
        MeasurementKind.CLEARANCE: KindRow(
            method="m-space",
            words=message("measuring.kind.clearance"),
            definition=message("sheet.definition.clearance"),
            concept=_DISTANCE,
            details=ClearanceDetails,
            rounding="down", more_is_safer=True, within_jaw=False, overlaps=True,
            drawn="fixture", for_entry=False, for_laboratory=False,
        ),
        MeasurementKind.RIDGE_WIDTH: KindRow(
            method="m-edge",
            words=message("measuring.kind.ridge-width"),
            definition=message("sheet.definition.ridge-width"),
            concept=Concept(code="103355008", meaning="Width", scheme="SCT"),
            details=WidthDetails,
            rounding="down", more_is_safer=True, within_jaw=True, overlaps=False,
            drawn="ridge", for_entry=False, for_laboratory=False,
        ),
        MeasurementKind.RIDGE_HEIGHT: KindRow(
            method="m-edge",
            words=message("measuring.kind.ridge-height"),
            definition=message("sheet.definition.ridge-height"),
            concept=Concept(
                code="ridge-height",
                meaning="Ridge height",
                definition="From the crest to the limiting structure's near border.",
            ),
            details=HeightDetails,
            rounding="down", more_is_safer=True, within_jaw=True, overlaps=False,
            drawn="ridge", for_entry=False, for_laboratory=False,
        ),
        MeasurementKind.PLATE_THICKNESS: KindRow(
            method="m-edge",
            words=message("measuring.kind.cortex"),
            definition=message("sheet.definition.plate-thickness"),
            concept=Concept(
                code="cortex",
                meaning="Thickness of the cortex",
                definition="Along the normal of the outer surface.",
            ),
            details=CortexDetails,
            rounding="down", more_is_safer=True, within_jaw=True, overlaps=False,
            drawn="not", for_entry=False, for_laboratory=False,
        ),
        MeasurementKind.REMAINING_BONE: KindRow(
            method="m-edge",
            words=message("measuring.kind.wall"),
            definition=message("sheet.definition.wall"),
            concept=Concept(
                code="remaining-bone",
                meaning="Remaining bone",
                definition=(
                    "From the fixture's surface, perpendicular to its axis, to the first outer "
                    "edge of bone."
                ),
            ),
            details=RemainingBoneDetails,
            rounding="down", more_is_safer=True, within_jaw=False, overlaps=True,
            drawn="fixture", for_entry=False, for_laboratory=False,
        ),
        MeasurementKind.UNDERCUT_DEPTH: KindRow(
            method="m-edge",
            words=message("measuring.kind.undercut-depth"),
            definition=message("sheet.definition.undercut-depth"),
            concept=_DEPTH,
            details=UndercutDetails,
            rounding="up", more_is_safer=False, within_jaw=True, overlaps=False,
            drawn="not", for_entry=False, for_laboratory=False,
        ),
        MeasurementKind.UNDERCUT_ANGLE: KindRow(
            method="m-edge",
            words=message("measuring.kind.undercut-angle"),
            definition=message("sheet.definition.undercut-angle"),
            concept=_ANGLE,
            details=UndercutDetails,
            rounding="nearest", more_is_safer=False, within_jaw=False, overlaps=False,
            drawn="not", for_entry=False, for_laboratory=False,
        ),
        MeasurementKind.ANGLE: KindRow(
            method="m-marks",
            words=message("measuring.kind.angle"),
            definition=message("sheet.definition.angle"),
            concept=_ANGLE,
            rounding="nearest", more_is_safer=False, within_jaw=False, overlaps=False,
            drawn="not", for_entry=True, for_laboratory=True,
        ),
        MeasurementKind.RULER: KindRow(
            method="m-marks",
            words=message("measuring.kind.ruler"),
            definition=message("sheet.definition.ruler"),
            concept=_DISTANCE,
            rounding="down", more_is_safer=False, within_jaw=False, overlaps=False,
            drawn="not", for_entry=False, for_laboratory=False,
        ),
        MeasurementKind.OFFSET: KindRow(
            method="m-space",
            words=message("measuring.kind.offset"),
            definition=message("sheet.definition.offset"),
            concept=Concept(
                code="axis-offset", meaning="Offset of two axes", definition="At the stated height."
            ),
            rounding="nearest", more_is_safer=False, within_jaw=False, overlaps=False,
            drawn="not", for_entry=True, for_laboratory=True,
        ),
        MeasurementKind.ROOM: KindRow(
            method="m-marks",
            words=message("measuring.kind.room"),
            definition=message("sheet.definition.room"),
            concept=Concept(
                code="room", meaning="Room", definition="Between neighbours, or to the opponent."
            ),
            rounding="down", more_is_safer=True, within_jaw=False, overlaps=False,
            drawn="not", for_entry=False, for_laboratory=True,
        ),
        MeasurementKind.ENTRY: KindRow(
            method="m-marks",
            words=message("measuring.kind.entry"),
            definition=message("sheet.definition.entry"),
            concept=Concept(
                code="entry-point",
                meaning="Distance of the entry point",
                definition="From the neighbours' facing surfaces.",
            ),
            rounding="nearest", more_is_safer=False, within_jaw=False, overlaps=False,
            drawn="not", for_entry=True, for_laboratory=True,
        ),
        MeasurementKind.DEPTH: KindRow(
            method="m-edge",
            words=message("measuring.kind.depth"),
            definition=message("sheet.definition.depth"),
            concept=_DEPTH,
            details=DepthDetails,
            rounding="down", more_is_safer=False, within_jaw=False, overlaps=False,
            drawn="not", for_entry=False, for_laboratory=False,
        ),
    }
)  # fmt: skip

if rowless := [kind for kind in MeasurementKind if kind not in ROWS]:
    raise ValueError(f"kinds of measurement without a row in ROWS: {', '.join(rowless)}")
