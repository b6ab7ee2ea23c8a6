"""From an export to reports and to a volume."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from core.errors import ScanError
from core.findings import Finding
from core.image.volume import Volume
from core.scan.assess import Assessed, Cancelled, Progress, Spacing, assess_all
from core.scan.field_of_view import padding_findings, round_field
from core.scan.pixel_encoding import unreadable_layout
from core.scan.pixels import Voxels, read_voxels
from core.scan.report import SeriesReport
from core.scan.sources import opened
from core.words.catalogue import Message, message


def inspect(
    path: str | Path,
    *,
    progress: Progress | None = None,
    cancelled: Cancelled | None = None,
    spacing_mm: Spacing | None = None,
) -> tuple[SeriesReport, ...]:
    """Report every stack of an export: the usable ones first, the largest first.

    Parameters
    ----------
    path : str or Path
        Folder, zip, DICOMDIR or single file.
    progress : callable (done, total), optional
        Files read so far.
    cancelled : callable, optional
        True when the user has given up.
    spacing_mm : (column step, row step, slice step), optional
        Stated by the user, for scans without positions.

    Raises
    ------
    ScanError
        When nothing can be read at all.
    """
    try:
        with opened(path) as export:
            assessed = assess_all(export, progress, cancelled, spacing_mm)
            return tuple(entry.report for entry in assessed)
    except MemoryError as error:
        raise ScanError("scan_too_large") from error


def open_scan(
    path: str | Path,
    series: str | None = None,
    *,
    progress: Progress | None = None,
    cancelled: Cancelled | None = None,
    spacing_mm: Spacing | None = None,
) -> Volume:
    """Read the one usable stack of an export, or the one that is named.

    Parameters
    ----------
    path : str or Path
        Folder, zip, DICOMDIR or single file.
    series : str, optional
        ``UID`` or ``UID:STACK``.
    progress : callable (done, total), optional
        First over the headers, then over the slices.
    cancelled : callable, optional
    spacing_mm : (column step, row step, slice step), optional
        Stated by the user, for scans without positions; leaves the finding
        ``scan_spacing_by_hand``.

    Raises
    ------
    ScanError
        With the reason, or ``scan_several_series`` with the field ``series``: a tuple of keys.
    """
    try:
        with opened(path) as export:
            assessed = assess_all(export, progress, cancelled, spacing_mm)
            chosen = _choose(assessed, series)
            voxels = read_voxels(export, chosen.slices, progress=progress, cancelled=cancelled)
        return _volume(chosen, voxels)
    except MemoryError as error:
        raise ScanError("scan_too_large") from error


def preview(path: str | Path, report: SeriesReport, *, size: int = 160) -> NDArray[Any] | None:
    """Middle picture of a stack for a chooser, at most `size` pixels a side.

    Parameters
    ----------
    path : str or Path
    report : SeriesReport
    size : int, optional
        Pixels.

    Returns
    -------
    (rows, cols) float32 grey values, thinned by whole steps; None where it cannot be read.
    """
    if report.middle is None or unreadable_layout(report.middle.image):
        return None
    try:
        with opened(path) as export:
            voxels = read_voxels(export, [report.middle])
    except ScanError:
        return None
    if voxels.lost:
        return None
    step = max(1, -(-max(voxels.array.shape[1:]) // size))
    plane = voxels.array[0, ::step, ::step].astype(np.float32)
    return plane * np.float32(voxels.slope) + np.float32(voxels.intercept)


def _choose(assessed: Sequence[Assessed], series: str | None) -> Assessed:
    pool = list(assessed)
    if series is not None:
        pool = [e for e in assessed if series in (e.report.uid, e.report.key)]
        if not pool:
            listing = _listing([e for e in assessed if e.report.usable] or assessed)
            raise ScanError("scan_series_not_found", wanted=series, listing=listing)
    usable = [entry for entry in pool if entry.report.usable]
    if len(usable) == 1:
        return usable[0]
    if usable:
        raise ScanError(
            "scan_several_series",
            series=tuple(entry.report.key for entry in usable),
            reports=tuple(entry.report for entry in usable),
            listing=_listing(usable),
        )
    # The stack that the user most likely meant: CT before anything else, then the largest.
    meant = min(pool, key=lambda e: (e.report.modality != "CT", -e.report.shape[0]))
    if meant.refusal is None:
        raise ScanError("scan_nothing_found", path="", count=0)
    raise ScanError(meant.refusal.code, **meant.refusal.fields)


def _listing(entries: Sequence[Assessed]) -> Message:
    *first, last = [
        message(
            "scan.listing.series",
            key=e.report.key,
            description=e.report.description or message("scan.listing.no-description"),
            day=e.report.date or message("scan.listing.no-date"),
            slices=e.report.shape[0],
        )
        for e in entries
    ]
    found = last
    for entry in reversed(first):
        found = message("scan.listing.entries", first=entry, rest=found)
    return found


def _volume(chosen: Assessed, voxels: Voxels) -> Volume:
    arrangement = chosen.arrangement
    if arrangement is None:
        raise ScanError("scan_nothing_found", path="", count=0)
    made_up = np.array([picture is None for picture in chosen.slices])
    found = [*chosen.report.findings, *voxels.findings]
    if voxels.lost:
        made_up[list(voxels.lost)] = True
        listed = ", ".join(str(k + 1) for k in voxels.lost)
        found = [f for f in found if f.code != "scan_slices_truncated"]
        found.append(Finding("scan_slices_lost", "caution", {"slices": listed}))
    field = round_field(voxels.array)
    if field is not None:
        share = 100 * float((field == 0).mean())
        found.append(Finding("scan_round_field", "note", {"percent": f"{share:.0f}"}))
    found += padding_findings(voxels.array, voxels.padding, field)
    return Volume(
        voxels=voxels.array,
        mm_from_ijk=arrangement.mm_from_ijk,
        slope=voxels.slope,
        intercept=voxels.intercept,
        padding=voxels.padding,
        field=field,
        made_up=made_up,
        identity=chosen.report.identity,
        findings=tuple(found),
    )
