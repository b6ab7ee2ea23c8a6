"""Widths and height of the ridge at many stations of the arch, as a table and as CSV."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass

import numpy as np

from core.bone.ridge import SITE_HALF_MM, bone_and_crest, section_plane
from core.bone.ridge_height import height_in_section
from core.bone.ridge_section import widths
from core.geometry import Array
from core.measurement import Reading
from core.measuring.basis import Basis
from core.plans.outside import within_scan
from core.plans.plan import Plan

PROFILE_DEPTHS_MM = (1.0, 3.0, 5.0, 7.0)
STEP_MM = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProfileRow:
    """The ridge at one station.

    Parameters
    ----------
    station_mm : float
        Arc length from the patient's right end of the arch.
    from_midline_mm : float or None
        + towards the patient's left; None without a midline.
    crest_mm : (3,) or None
    widths : tuple of Reading
        At `PROFILE_DEPTHS_MM` below the crest, along *up*.
    height : Reading
        From the crest to the level of the nearest marked structure.
    beyond : bool
        Beyond the traced arch.
    """

    station_mm: float
    from_midline_mm: float | None
    crest_mm: Array | None
    widths: tuple[Reading, ...]
    height: Reading
    beyond: bool


def ridge_profile(
    plan: Plan, basis: Basis, from_mm: float, to_mm: float, *, step_mm: float = STEP_MM
) -> tuple[ProfileRow, ...]:
    """Measure the ridge from one station to another, ends included.

    Parameters
    ----------
    from_mm, to_mm : float
        Stations, in either order.
    step_mm : float
        Between stations; the last step may be shorter.

    Raises
    ------
    ValueError
        For a step that is not positive.
    """
    if not step_mm > 0:
        raise ValueError("the step between stations must be positive")
    low, high = sorted((float(from_mm), float(to_mm)))
    stations = [*np.arange(low, high - 1e-9, step_mm), high]
    midline = None if plan.midline is None else basis.arch.station(plan.midline)
    return tuple(_row(plan, basis, float(s), midline) for s in stations)


def _row(plan: Plan, basis: Basis, station_mm: float, midline: float | None) -> ProfileRow:
    frame = basis.arch.frame(station_mm)
    plane = section_plane(frame, basis.jaw)
    bone, crest = bone_and_crest(
        basis.edges, plane, plan.structures, basis.jaw, crown_level_mm=0.0, half_mm=SITE_HALF_MM
    )
    height = height_in_section(plane, crest, plan.structures).reading
    by_depth = widths(basis.edges, bone, crest, np.array(PROFILE_DEPTHS_MM))
    return ProfileRow(
        station_mm=station_mm,
        from_midline_mm=None if midline is None else station_mm - midline,
        crest_mm=crest.point_mm,
        widths=tuple(within_scan(width, plan, basis.volume) for width in by_depth),
        height=within_scan(height, plan, basis.volume),
        beyond=frame.beyond,
    )


def profile_csv(rows: tuple[ProfileRow, ...]) -> str:
    """The profile as CSV: millimetres with two decimals; *not assessed* where there is no value."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    depths = [f"width_at_{d:g}_mm" for d in PROFILE_DEPTHS_MM]
    writer.writerow(["station_mm", "from_midline_mm", *depths, "height_mm", "notes"])
    for row in rows:
        readings = (*row.widths, row.height)
        notes = {n.message: None for r in readings for n in r.notes}
        if row.beyond:
            notes["beyond the traced arch"] = None
        writer.writerow(
            [
                f"{row.station_mm:.2f}",
                "" if row.from_midline_mm is None else f"{row.from_midline_mm:.2f}",
                *(_text(r) for r in readings),
                " ".join(notes),
            ]
        )
    return out.getvalue()


def _text(reading: Reading) -> str:
    return "not assessed" if reading.value is None else f"{reading.value:.2f}"
