"""Rows of rulers and angles: information, each with the doubt of its hand-placed marks."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from core.arch import Arch
from core.image.volume import Volume
from core.measurement import Budget, Measurement, Reading
from core.measurement_kinds import Details, MeasurementKind
from core.measuring.rulers import angle_reading, ruler_reading
from core.plans.plan import Plan
from core.structures import AngleMark, Ruler
from core.trust.uncertainty import (
    DEFAULT_PLACEMENT,
    DEFAULT_SCAN_SCALE,
    Placement,
    Scale,
    budget,
    voxel_extent_mm,
)
from core.words.catalogue import message

NOWHERE = "rulers"
"""What rulers belong to in a plan without any fixture or site."""


def ruler_rows(
    plan: Plan,
    volume: Volume,
    arch: Arch,
    *,
    placement: Placement = DEFAULT_PLACEMENT,
    scale: Scale = DEFAULT_SCAN_SCALE,
) -> Iterator[Measurement]:
    """One row a ruler and angle, each with the fixture or site that it lies nearest to.

    Parameters
    ----------
    plan : Plan
    volume : Volume
    arch : Arch
    placement : Placement, optional
    scale : Scale, optional
    """
    for ruler in plan.rulers:
        reading = ruler_reading(ruler)
        doubt = _of_ruler(volume, reading, placement, scale)
        yield _row(ruler, _nearest(plan, arch, ruler), reading, doubt)
    for angle in plan.angles:
        reading = angle_reading(angle)
        doubt = _of_angle(volume, angle, reading, placement)
        yield _row(angle, _nearest(plan, arch, angle), reading, doubt)


def _of_ruler(
    volume: Volume, reading: Reading, placement: Placement, scale: Scale
) -> Budget | None:
    if reading.witness is None:
        return None
    way = reading.witness[1] - reading.witness[0]
    extent = voxel_extent_mm(volume.mm_from_ijk, way)
    return budget(reading, voxel_extents_mm=(extent, extent), placement=placement, scale=scale)


def _of_angle(
    volume: Volume, angle: AngleMark, reading: Reading, placement: Placement
) -> Budget | None:
    """Each mark's voxel, across its arm, counts by how far it turns the angle."""
    arms = np.linalg.norm(angle.points[[0, 2]] - angle.points[1], axis=1)
    base = float(arms.min())
    per_mm = float(np.degrees(1.0 / base))
    extents = tuple(
        voxel_extent_mm(volume.mm_from_ijk, m.gradient) * float(np.linalg.norm(m.gradient)) / per_mm
        for m in reading.marks
        if float(np.linalg.norm(m.gradient)) > 1e-9
    )
    return budget(reading, voxel_extents_mm=extents, base_length_mm=base, placement=placement)


def _row(
    mark: Ruler | AngleMark, subject: tuple[str, str], reading: Reading, doubt: Budget | None
) -> Measurement:
    kind, of = MeasurementKind.ANGLE, message("measuring.of.three-marks")
    if isinstance(mark, Ruler):
        kind, of = MeasurementKind.RULER, message("measuring.of.two-marks")
    fixture, site = subject
    return Measurement(
        id=f"{fixture or site}/{kind}/{mark.id}",
        group="information",
        kind=kind,
        target=mark.id,
        fixture=fixture,
        site=site,
        reading=reading,
        budget=doubt,
        verdict="not assessed" if reading.value is None else None,
        details=Details(of=mark.label or of),
    )


def _nearest(plan: Plan, arch: Arch, mark: Ruler | AngleMark) -> tuple[str, str]:
    """(fixture, site): the one of either whose station is nearest; the other is empty."""
    here = arch.station(mark.points.mean(axis=0))
    named = {f.id for f in plan.fixtures}
    found = [(abs(arch.station(f.platform) - here), f.id, "") for f in plan.fixtures]
    found += [(abs(s.station_mm - here), "", s.id) for s in plan.sites if s.id not in named]
    if not found:
        return "", NOWHERE
    _, fixture, site = min(found)
    return fixture, site
