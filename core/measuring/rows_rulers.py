"""Rows of rulers and angles: information, each with the doubt of its hand-placed marks."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from core.arch import Arch
from core.image.volume import Volume
from core.measurement import Measurement, Reading
from core.measurement_kinds import Details, MeasurementKind
from core.measuring.basis import RowMaker
from core.measuring.rulers import angle_reading, ruler_reading
from core.plans.plan import Plan
from core.structures import AngleMark, Ruler
from core.trust.uncertainty import (
    DEFAULT_PLACEMENT,
    DEFAULT_SCAN_SCALE,
    Placement,
    Scale,
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
    marks: tuple[Ruler | AngleMark, ...] = (*plan.rulers, *plan.angles)
    for mark in marks:
        fixture, site = _nearest(plan, arch, mark)
        maker = RowMaker(
            plan=plan,
            volume=volume,
            subject=fixture or site,
            is_fixture=bool(fixture),
            tooth=None,
            hindrances=(),
            placement=placement,
            scale=scale,
        )
        yield _ruler_row(maker, mark) if isinstance(mark, Ruler) else _angle_row(maker, mark)


def _ruler_row(maker: RowMaker, ruler: Ruler) -> Measurement:
    return maker.row(
        group="information",
        kind=MeasurementKind.RULER,
        target=ruler.id,
        reading=ruler_reading(ruler),
        details=Details(of=ruler.label or message("measuring.of.two-marks")),
        hand_ends=2,
    )


def _angle_row(maker: RowMaker, angle: AngleMark) -> Measurement:
    arms = np.linalg.norm(angle.points[[0, 2]] - angle.points[1], axis=1)
    base, reading = float(arms.min()), angle_reading(angle)
    return maker.row(
        group="information",
        kind=MeasurementKind.ANGLE,
        target=angle.id,
        reading=reading,
        details=Details(of=angle.label or message("measuring.of.three-marks")),
        base_length_mm=base,
        hand_ends=_across_arms(maker.volume, reading, base),
    )


def _across_arms(volume: Volume, reading: Reading, base_mm: float) -> tuple[float, ...]:
    """Each mark's voxel, across its arm, counts by how far it turns the angle."""
    per_mm = float(np.degrees(1.0 / base_mm))
    return tuple(
        voxel_extent_mm(volume.mm_from_ijk, m.gradient) * float(np.linalg.norm(m.gradient)) / per_mm
        for m in reading.marks
        if float(np.linalg.norm(m.gradient)) > 1e-9
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
