"""Rows of bone at a fixture or site: ridge, height, cortex, undercut, and what lies beside it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from core.arch import FixtureFrame
from core.bone.plates import plate_thickness
from core.bone.remaining_bone import remaining_bone_map
from core.bone.ridge import RidgeResult, RimCrest, ridge_at_fixture, ridge_at_site
from core.bone.ridge_height import needed_width
from core.bone.set_crest import plates_beside_roots
from core.bone.surface import surface_casts
from core.bone.undercut import UndercutResult, undercut
from core.distances.drilling import UNKNOWN_TIP_MM
from core.fixture import Fixture
from core.measurement import Measurement, Note, Reading
from core.measurement_kinds import (
    CortexDetails,
    DepthDetails,
    HeightDetails,
    MeasurementKind,
    UndercutDetails,
    WidthDetails,
)
from core.measuring.basis import Basis, RowMaker
from core.measuring.rows_beside import remaining_bone_rows, surface_rows
from core.measuring.rows_crown import gum_rows
from core.measuring.rows_drilling import drilling_rows
from core.measuring.unseen_ends import UnseenEnds, unseen_end
from core.plans.limits import deep_limit_key, limit_for
from core.plans.plan import Plan, Site
from core.structures import Structure


def fixture_bone_rows(
    plan: Plan, basis: Basis, fixture: Fixture, frame: FixtureFrame, maker: RowMaker
) -> Iterator[Measurement]:
    """Ridge along the axis and along *up*, platform depths, cortex.

    Parameters
    ----------
    plan : Plan
    basis : Basis
    fixture : Fixture
    frame : FixtureFrame
    maker : RowMaker
    """
    ridge = _ridge(plan, basis, fixture, maker)
    yield from _ridge_rows(ridge, plan, basis, maker)
    remaining = remaining_bone_map(
        basis.volume, fixture, frame, basis.levels, basis.finder, plan.structures
    )
    rims = rim_rows(ridge.rims, frame, maker)
    unseen = UnseenEnds(everywhere=unseen_end(ridge, basis), rims=rims)
    beside = tuple(
        remaining_bone_rows(
            remaining, basis, fixture=fixture, frame=frame, unseen=unseen, maker=maker
        )
    )
    yield from beside
    surface = surface_casts(
        fixture,
        frame,
        basis.edges,
        deepest_mm=fixture.size.length_mm + UNKNOWN_TIP_MM,
        radius_mm=float(fixture.size.profile[:, 1].max()),
        shallowest_mm=fixture.size.length_mm,
        upper=basis.jaw == "upper",
    )
    yield from surface_rows(
        surface,
        plan,
        basis,
        fixture=fixture,
        frame=frame,
        remaining=beside,
        unseen=unseen,
        maker=maker,
    )
    yield from rims.values()
    platform_depths: dict[str, Reading] = {r.place: r.platform_depth for r in ridge.rims}
    yield from drilling_rows(plan, fixture, platform_depths, maker)
    yield from gum_rows(plan, basis, fixture, platform_depths["buccal"], maker)


def rim_rows(
    rims: Iterable[RimCrest], frame: FixtureFrame, maker: RowMaker
) -> dict[str, Measurement]:
    """How deep the platform stands below the bone's edge, by the place around it.

    Parameters
    ----------
    rims : iterable of RimCrest
    frame : FixtureFrame
    maker : RowMaker
    """
    return {
        rim.place: maker.row(
            group="information",
            kind=MeasurementKind.DEPTH,
            parts=("platform", _rim_name(rim.place, frame)),
            reading=rim.platform_depth,
            details=DepthDetails(of="platform below bone", side=_rim_name(rim.place, frame)),
        )
        for rim in rims
    }


def _ridge(plan: Plan, basis: Basis, fixture: Fixture, maker: RowMaker) -> RidgeResult:
    """The ridge in the planes of a fixture."""
    wanted = needed_width(
        fixture.size.diameter_mm,
        maker.limit("wall-buccal").value,
        maker.limit("wall-lingual").value,
    )
    return ridge_at_fixture(
        basis.volume,
        basis.arch,
        fixture,
        basis.levels,
        basis.jaw,
        plan.structures,
        lambda structure: _limit_mm(structure, plan),
        basis.finder,
        needed_width_mm=wanted,
    )


def nearer_unseen(plan: Plan, basis: Basis, fixture: Fixture, maker: RowMaker) -> Note | None:
    """Why the bone at a fixture may end nearer than any edge shows; its size does not matter.

    Parameters
    ----------
    plan : Plan
    basis : Basis
    fixture : Fixture
    maker : RowMaker
    """
    return unseen_end(_ridge(plan, basis, fixture, maker), basis)


def _rim_name(place: str, frame: FixtureFrame) -> str:
    """Without a tooth nobody can say mesial or distal: there they are the patient's sides."""
    if frame.named_by_tooth:
        return place
    return {"mesial": "left", "distal": "right"}.get(place, place)


def site_bone_rows(plan: Plan, basis: Basis, site: Site, maker: RowMaker) -> Iterator[Measurement]:
    """Ridge and cortex at a site that has no fixture yet.

    Parameters
    ----------
    plan : Plan
    basis : Basis
    site : Site
    maker : RowMaker
    """
    ridge = ridge_at_site(
        basis.volume,
        basis.arch,
        site.station_mm,
        basis.levels,
        basis.jaw,
        plan.structures,
        basis.finder,
    )
    yield from _ridge_rows(ridge, plan, basis, maker)


def _undercut_rows(found: UndercutResult, maker: RowMaker) -> Iterator[Measurement]:
    """Both published definitions of the lingual undercut."""
    details = UndercutDetails(definition="undercut-level", undercut_type=found.type or None)
    yield maker.row(
        group="bone",
        kind=MeasurementKind.UNDERCUT_DEPTH,
        parts=("level",),
        reading=found.level_depth,
        details=replace(
            details,
            width_crest_mm=found.width_crest.value,
            width_base_mm=found.width_base.value,
        ),
    )
    yield maker.row(
        group="bone",
        kind=MeasurementKind.UNDERCUT_ANGLE,
        parts=("level",),
        reading=found.angle,
        details=details,
        base_length_mm=_base_mm(found),
    )
    yield maker.row(
        group="bone",
        kind=MeasurementKind.UNDERCUT_DEPTH,
        parts=("bridge",),
        reading=found.bridge_depth,
        details=UndercutDetails(
            definition="undercut-bridge", undercut_type=found.bridge_type or None
        ),
    )


def _base_mm(found: UndercutResult) -> float | None:
    """Length between the two points of the concavity angle."""
    if found.angle.witness is None:
        return None
    return float(np.linalg.norm(found.angle.witness[1] - found.angle.witness[0]))


def _ridge_rows(
    ridge: RidgeResult, plan: Plan, basis: Basis, maker: RowMaker
) -> Iterator[Measurement]:
    for height in ridge.heights:
        yield maker.row(
            group="bone",
            kind=MeasurementKind.RIDGE_HEIGHT,
            target=height.target,
            parts=(height.along,),
            reading=_no_height_below_zero(height.reading),
            details=HeightDetails(along=height.along),
            # Both ends of it are a hand's where the crest was set by one.
            hand_ends=2 if ridge.set_by_hand else None,
        )
    for width in ridge.widths:
        yield maker.row(
            group="bone",
            kind=MeasurementKind.RIDGE_WIDTH,
            parts=(width.along, f"{width.depth_mm:g}"),
            reading=width.reading,
            details=WidthDetails(
                at_depth_mm=width.depth_mm,
                along=width.along,
                least_over_turn_mm=width.least.value,
            ),
        )
    if ridge.usable is not None:
        for name, reading in (("usable", ridge.usable.height), ("levelled", ridge.usable.lost)):
            yield maker.row(
                group="bone",
                kind=MeasurementKind.RIDGE_HEIGHT,
                parts=(name,),
                reading=reading,
                details=HeightDetails(along="axis", of=name, at_width_mm=ridge.usable.width_mm),
            )
    up = tuple(w for w in ridge.widths if w.along == "up")
    plates = plate_thickness(basis.edges, ridge.bone, up)
    for plate in plates_beside_roots(plates, ridge.crest_up, plan.structures):
        yield maker.row(
            group="bone",
            kind=MeasurementKind.PLATE_THICKNESS,
            parts=(plate.side, f"{plate.depth_mm:g}"),
            reading=plate.reading,
            details=CortexDetails(side=plate.side, at_depth_mm=plate.depth_mm, along=plate.along),
        )
    if basis.jaw == "lower":
        yield from _undercut_rows(
            undercut(basis.edges, ridge.bone, ridge.crest_up, plan.structures, basis.jaw), maker
        )


def _no_height_below_zero(reading: Reading) -> Reading:
    if reading.value is None or reading.value >= 0:
        return reading
    return Reading(value=None, notes=(*reading.notes, Note("height-negative")))


def _limit_mm(structure: Structure, plan: Plan) -> float:
    """Limit in force to a structure, deep zone; 0 where there is none."""
    key = deep_limit_key(structure)
    return 0.0 if key is None else limit_for(key, plan).value
