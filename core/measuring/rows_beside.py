"""Rows of the bone beside a fixture: remaining bone by side, and the ways to the outer surface."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from core.arch import FixtureFrame
from core.bone.field_edge import REMAINING_BONE_REACH_MM, SURFACE_REACH_MM, scan_ends_beside
from core.bone.remaining_bone import RemainingBoneMap, Side
from core.bone.remaining_bone_minima import minima
from core.bone.surface import SIDES, SurfaceCasts, surface_on
from core.distances.clearance import clearance
from core.distances.drilling import UNKNOWN_TIP_MM
from core.fixture import Fixture
from core.identity import inner_side
from core.measurement import Measurement, Note, Reading
from core.measurement_kinds import ClearanceDetails, MeasurementKind, RemainingBoneDetails
from core.measuring.basis import Basis, RowMaker
from core.measuring.bone_contradicted import axis_may_be_out, is_contradicted
from core.measuring.nearness import Nearness
from core.measuring.unseen_ends import UnseenEnds
from core.plans.limits import BUCCAL_MM, SurfaceSide, surface_key
from core.plans.plan import Plan
from core.structures import Floor

_FLOOR_REACHED_MM = 0.3
"""Half a usual blur: what stands in a hollow by less does not show."""


def remaining_bone_rows(
    remaining: RemainingBoneMap,
    basis: Basis,
    *,
    fixture: Fixture,
    frame: FixtureFrame,
    unseen: UnseenEnds,
    maker: RowMaker,
) -> Iterator[Measurement]:
    """Least remaining bone of each side, each zone of the buccal side by itself.

    Parameters
    ----------
    remaining : RemainingBoneMap
    basis : Basis
    fixture : Fixture
    frame : FixtureFrame
    unseen : UnseenEnds
    maker : RowMaker
    """
    floor = _floor_reached(fixture, basis, maker.plan)
    near = remaining.depths_mm <= BUCCAL_MM
    parts: list[tuple[Side, str, tuple[str, ...], NDArray[np.bool_]]] = [
        ("buccal", "wall-buccal", (), near),
        ("lingual", "wall-lingual", (), near | True),
    ]
    if not near.all():
        parts.append(("buccal", "wall-buccal-deep", ("deep",), ~near))
    for side, key, extra, rows in parts:
        least = minima(remaining, rows)[side]
        details = RemainingBoneDetails(
            side=side, from_platform_mm=least.depth_mm, turn_deg=least.turn_deg
        )
        if key.startswith("wall-buccal"):
            details = replace(details, zone="deep" if extra else "shoulder")
        yield maker.row(
            group="bone",
            kind=MeasurementKind.REMAINING_BONE,
            parts=(side, *extra),
            reading=_whole(
                # The shoulder's zone stands clear of a floor that the end reaches.
                unseen.bounded(
                    least.reading,
                    side,
                    at_rim=bool(rows[0]),
                    else_by=floor if rows[-1] else None,
                ),
                side,
                REMAINING_BONE_REACH_MM,
                basis=basis,
                fixture=fixture,
                frame=frame,
            ),
            limit_key=key,
            details=details,
        )


def surface_rows(
    surface: SurfaceCasts,
    plan: Plan,
    basis: Basis,
    *,
    fixture: Fixture,
    frame: FixtureFrame,
    remaining: Sequence[Measurement],
    unseen: UnseenEnds,
    maker: RowMaker,
) -> Iterator[Measurement]:
    """Shortest way to the outside of the bone by side; apical again with the drill's tip.

    Parameters
    ----------
    surface : SurfaceCasts
    plan : Plan
    basis : Basis
    fixture : Fixture
    frame : FixtureFrame
    remaining : sequence of Measurement
        Rows of remaining bone: what they contradict has no value.
    unseen : UnseenEnds
    maker : RowMaker
    """
    # Beyond an upper fixture the bone ends at the sinus or nasal floor. Where that is marked its
    # own limit judges, and the same distance is not held against a second, larger one.
    floor_judges = any(
        not floor.elevation_intended and clearance(fixture, floor).value is not None
        for floor in _floors(plan, basis, fixture)
    )
    radius = float(fixture.size.profile[:, 1].max())
    for tip in (0.0, UNKNOWN_TIP_MM):
        read = surface_on(surface, fixture, tip_mm=tip, sides=("apical",) if tip else SIDES)
        found = {side: unseen.bounded(reading, side) for side, reading in read.items()}
        for side, reading in found.items():
            key = "tip" if tip else _surface_key(side, reading, fixture)
            if side == "apical" and floor_judges:
                key = None
                # A limit that was there before the floor was marked does not go without a word.
                reading = replace(  # noqa: PLW2901 - the same reading, with why no limit holds
                    reading, notes=(*reading.notes, Note("surface_floor_judges"))
                )
            # Buccal bone is judged by the remaining bone; here it is shown without a limit.
            row = partial(
                maker.row,
                group="danger" if key is not None else "bone",
                kind=MeasurementKind.CLEARANCE,
                target="bone surface",
                parts=(side, *(("tip",) if tip else ())),
                limit_key=key,
                details=ClearanceDetails(side=side, with_tip_mm=tip or None),
            )
            made = row(
                reading=_whole(
                    reading, side, SURFACE_REACH_MM, basis=basis, fixture=fixture, frame=frame
                )
            )
            if axis_may_be_out(side, found, radius):
                made = row(reading=_denied("surface-axis-out", side, basis))
            elif is_contradicted(made, remaining):
                made = row(reading=_denied("surface-contradicted", side, basis))
            yield made


def _denied(code: str, side: SurfaceSide, basis: Basis) -> Reading:
    named = inner_side(basis.jaw) if side == "lingual" else side
    return Reading(value=None, notes=(Note(code, {"side": named}),))


def _whole(
    reading: Reading,
    side: SurfaceSide,
    reach_mm: float,
    *,
    basis: Basis,
    fixture: Fixture,
    frame: FixtureFrame,
) -> Reading:
    """The reading, or none where the scan ends so near that its cut may pass for the outside."""
    named = inner_side(basis.jaw) if side == "lingual" else side

    def ends(at: SurfaceSide, within_mm: float) -> bool:
        return scan_ends_beside(basis.volume, fixture, frame, at, within_mm)

    cut = reading.value is not None and ends(side, reach_mm)
    if side == "apical" and reading.value is not None and reading.value > 0.0:
        # What is nearest to the apex may lie beside it: all that near must have been scanned.
        cut = cut or ends("buccal", reading.value) or ends("lingual", reading.value)
    if not cut:
        return replace(reading, notes=tuple(_of_side(note, named) for note in reading.notes))
    fields = {"side": named, "reach": f"{reach_mm:g}"}
    return Reading(value=None, notes=(Note("bone-beside-field-edge", fields),))


def _of_side(note: Note, named: str) -> Note:
    """The note with its side as people call it in this jaw: the bone alone does not know it."""
    return Note(note.code, {**note.fields, "side": named}) if "side" in note.fields else note


def _surface_key(side: SurfaceSide, reading: Reading, fixture: Fixture) -> str | None:
    if side == "buccal":
        return None
    depth = 0.0
    if reading.witness is not None:
        depth = float((reading.witness[0] - fixture.platform) @ fixture.towards_apex)
    return surface_key(side, depth_mm=depth, length_mm=fixture.size.length_mm)


def _floor_reached(fixture: Fixture, basis: Basis, plan: Plan) -> Note | None:
    """Where a fixture reaches a floor, a part of its end may stand in the hollow, unseen."""
    away = (clearance(fixture, floor).value for floor in _floors(plan, basis, fixture))
    reached = any(mm is not None and mm < _FLOOR_REACHED_MM for mm in away)
    return Note("wall-floor-reached") if reached else None


def _floors(plan: Plan, basis: Basis, fixture: Fixture) -> Iterator[Floor]:
    """The marked floors that concern a fixture."""
    near = Nearness(plan=plan, arch=basis.arch, fixture=fixture)
    return (s for s in plan.structures if isinstance(s, Floor) and near.concerns(s))
