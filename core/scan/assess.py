"""Which stacks an export holds, and whether each can be measured on."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from core.errors import ScanError
from core.findings import Finding
from core.geometry import Array
from core.scan import checks
from core.scan.agreement import header_agreement, order_agreement
from core.scan.decode import MAX_LOST
from core.scan.directory import directory_findings
from core.scan.duplicates import without_copies
from core.scan.elements import Damaged
from core.scan.files import cut_short
from core.scan.frames import Arrangement, affine, arrange, directions
from core.scan.header import DIRECTORY_CLASS, ImageHeader, read_header
from core.scan.report import SeriesReport, identity_of, scan_date
from core.scan.sources import Export
from core.scan.stacks import Picture, Stack, group

Progress = Callable[[int, int], None]
Cancelled = Callable[[], bool]
Spacing = tuple[float, float, float]

MIN_SLOPE = 1e-9
"""A grey scale flatter than this, or steeper than its inverse, is no scale."""

AXIAL = (1.0, 0.0, 0.0, 0.0, 1.0, 0.0)
"""Orientation that stands in where none is given and the spacing is stated by hand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessed:
    """A stack with what was found; arrangement and slices only where it can be measured on."""

    report: SeriesReport
    refusal: Finding | None
    arrangement: Arrangement | None
    slices: tuple[Picture | None, ...]


def assess_all(
    export: Export,
    progress: Progress | None,
    cancelled: Cancelled | None,
    spacing_mm: Spacing | None,
) -> list[Assessed]:
    """Read all headers and assess each stack: the usable ones first, the largest first.

    Parameters
    ----------
    export : Export
    progress : Progress or None
    cancelled : callable, optional
        Asked now and then; True ends the work.
    spacing_mm : Spacing or None

    Raises
    ------
    ScanError
        ``scan_nothing_found``, ``scan_only_damaged``, ``scan_cancelled``.
    """
    images, common = _read_headers(export, progress, cancelled)
    stacks = group(images, cancelled)
    if not stacks:
        damaged = next((f for f in common if f.code == "scan_files_damaged"), None)
        if damaged is not None:
            raise ScanError("scan_only_damaged", **damaged.fields)
        raise ScanError("scan_nothing_found", path=str(export.root), count=len(export.sources))
    common += checks.export_findings(stacks)
    entries = []
    for stack in stacks:
        if cancelled is not None and cancelled():
            raise ScanError("scan_cancelled")
        entries.append(_assess(export, stack, common, spacing_mm, cancelled))
    assessed = _with_left_out(entries)
    assessed.sort(key=lambda e: (not e.report.usable, -e.report.shape[0], e.report.key))
    return assessed


def _with_left_out(assessed: list[Assessed]) -> list[Assessed]:
    """Say on each usable stack how many pictures of its series could not be made part of it."""
    left_out: Counter[str] = Counter()
    for entry in assessed:
        if entry.refusal is not None and entry.refusal.code != "scan_localizer":
            left_out[entry.report.uid] += entry.report.shape[0]
    return [
        replace(entry, report=_also(entry.report, left_out[entry.report.uid]))
        if entry.report.usable and left_out[entry.report.uid]
        else entry
        for entry in assessed
    ]


def _also(report: SeriesReport, left_out: int) -> SeriesReport:
    finding = Finding("scan_pictures_left_out", "caution", {"count": left_out})
    return replace(report, findings=(*report.findings, finding))


def _read_headers(
    export: Export, progress: Progress | None, cancelled: Cancelled | None
) -> tuple[list[ImageHeader], list[Finding]]:
    images: list[ImageHeader] = []
    directories: list[ImageHeader] = []
    damaged: list[str] = []
    for count, source in enumerate(export.sources):
        if cancelled is not None and cancelled():
            raise ScanError("scan_cancelled")
        try:
            header = read_header(export, source, cancelled)
        except Damaged:
            damaged.append(source.name)
            header = None
        if header is not None and header.value("SOPClassUID") == DIRECTORY_CLASS:
            directories.append(header)
        elif header is not None and header.rows and header.cols:
            images.append(header)
        elif header is not None and header.pixel_at >= 0:
            damaged.append(source.name)  # a picture that does not say how large it is
        if progress is not None:
            progress(count + 1, len(export.sources))
    found = directory_findings(export, directories)
    if damaged:
        fields = {"count": len(damaged), "names": ", ".join(damaged[:3])}
        found.append(Finding("scan_files_damaged", "caution", fields))
    ignored = len(export.sources) - len(images) - len(directories) - len(damaged)
    if ignored:
        found.append(Finding("scan_files_ignored", "note", {"count": ignored}))
    return images, found


def _assess(
    export: Export,
    stack: Stack,
    common: Sequence[Finding],
    spacing_mm: Spacing | None,
    cancelled: Cancelled | None,
) -> Assessed:
    found = [*common, *checks.header_findings(stack), *header_agreement(stack.pictures)]
    arrangement: Arrangement | None = None
    slices: tuple[Picture | None, ...] = ()
    refusal = checks.refusal(stack)
    if refusal is None:
        try:
            arrangement, slices, more = _arranged(export, stack, spacing_mm, cancelled)
            found += more
        except ScanError as error:
            if error.code == "scan_cancelled":
                raise
            refusal = Finding(error.code, "refused", error.fields)
    if refusal is not None:
        found.insert(0, refusal)
    image = stack.first
    voxel: tuple[float, float, float] | None = None
    if arrangement is not None:
        i, j, k = np.linalg.norm(arrangement.mm_from_ijk[:3, :3], axis=0)
        voxel = float(i), float(j), float(k)
    pictures = [picture for picture in slices if picture is not None] or list(stack.pictures)
    report = SeriesReport(
        uid=stack.series_uid,
        stack=stack.index,
        modality=image.value("Modality"),
        description=image.value("SeriesDescription"),
        date=scan_date(image),
        shape=(len(slices) or len(stack.pictures), image.rows, image.cols),
        voxel_mm=voxel,
        usable=refusal is None,
        findings=tuple(found),
        identity=identity_of(pictures[0].image, slices or stack.pictures),
        middle=pictures[len(pictures) // 2],
    )
    return Assessed(report=report, refusal=refusal, arrangement=arrangement, slices=slices)


def _arranged(
    export: Export, stack: Stack, spacing_mm: Spacing | None, cancelled: Cancelled | None
) -> tuple[Arrangement, tuple[Picture | None, ...], list[Finding]]:
    """Slices in order with their transform and what was found on the way."""
    geometry = stack.pictures[0].geometry
    found: list[Finding] = []
    pictures = stack.pictures
    if geometry.position_mm is None or geometry.orientation is None or geometry.spacing_mm is None:
        arrangement, found = _by_hand(stack, spacing_mm)
    else:
        if len(pictures) < 2:
            raise ScanError("scan_one_slice")
        orientation, spacing = _median_orientation(pictures), _median_spacing(pictures)
        _, _, normal = directions(orientation)
        pictures, dropped = without_copies(export, pictures, normal, cancelled)
        if dropped:
            found.append(Finding("scan_copies_dropped", "note", {"count": dropped}))
        positions = np.array([picture.geometry.position_mm for picture in pictures])
        arrangement = arrange(positions, orientation, spacing)
        found += checks.geometry_findings(stack, arrangement)
        order = [index for index in arrangement.order if index >= 0]
        along = positions[order] @ normal
        tilt_cos = float(np.cos(np.radians(arrangement.tilt_deg)))
        found += order_agreement([pictures[index] for index in order], along, tilt_cos)
    short = sum(cut_short(picture) for picture in pictures)
    if short > MAX_LOST or short * 3 > len(arrangement.order):
        raise ScanError("scan_truncated", count=short, total=len(pictures))
    if short:
        found.append(Finding("scan_slices_truncated", "caution", {"count": short}))
    scales = {(p.geometry.slope, p.geometry.intercept) for p in pictures}
    if not all(MIN_SLOPE < abs(slope) < 1 / MIN_SLOPE for slope, _ in scales):
        raise ScanError("scan_scale_not_linear")
    if len(scales) > 1:
        found.append(Finding("scan_scale_differs", "note"))
    slices = tuple(None if index < 0 else pictures[index] for index in arrangement.order)
    return arrangement, slices, found


def _median_orientation(pictures: Sequence[Picture]) -> Array:
    """Orientation by the median of all slices: no file speaks for the others."""
    return np.asarray(np.median([p.geometry.orientation for p in pictures], axis=0))


def _median_spacing(pictures: Sequence[Picture]) -> tuple[float, float]:
    row, col = np.median(np.array([p.geometry.spacing_mm for p in pictures]), axis=0)
    return float(row), float(col)


def _by_hand(stack: Stack, spacing_mm: Spacing | None) -> tuple[Arrangement, list[Finding]]:
    """Arrangement of a stack without positions, from the spacing that the user states."""
    geometry = stack.pictures[0].geometry
    if spacing_mm is None:
        if geometry.spacing_mm is None:
            raise ScanError("scan_no_spacing")
        code = "scan_no_position" if geometry.position_mm is None else "scan_no_orientation"
        raise ScanError(code)
    if len(stack.pictures) < 2:
        raise ScanError("scan_one_slice")
    if not all(0.01 <= step <= 10 for step in spacing_mm):
        raise ScanError("scan_spacing_not_believable")
    column, row, step = spacing_mm
    if geometry.spacing_mm is not None:
        header = _median_spacing(stack.pictures)
        stated = np.array([row, column]) / np.array(header)
        if np.abs(stated - 1).max() > 0.01:
            raise ScanError(
                "scan_spacing_not_the_headers",
                header=f"{header[1]:g} × {header[0]:g}",
                stated=f"{column:g} × {row:g}",
            )
        row, column = header
    order = _by_number(stack.pictures)
    given = geometry.orientation is not None
    right, down, normal = directions(_median_orientation(stack.pictures) if given else AXIAL)
    transform = affine(
        position_mm=(0.0, 0.0, 0.0),
        row=right,
        col=down,
        step_mm=normal * step,
        spacing_mm=(row, column),
    )
    stated_text = f"{column:g} × {row:g} × {step:g}"
    found = [Finding("scan_spacing_by_hand", "caution", {"spacing_mm": stated_text})]
    if not given:
        found.append(Finding("scan_orientation_assumed", "caution"))
    return Arrangement(order=order, mm_from_ijk=transform, tilt_deg=0.0), found


def _by_number(pictures: Sequence[Picture]) -> tuple[int, ...]:
    """Order by frame, or by InstanceNumber where each picture has its own, without holes."""
    if len({picture.image.source.name for picture in pictures}) == 1:
        return tuple(range(len(pictures)))
    numbers = [picture.image.number("InstanceNumber") for picture in pictures]
    known = [number for number in numbers if number is not None]
    span = max(known, default=0.0) - min(known, default=0.0) + 1
    if len(set(known)) != len(pictures) or span != len(pictures):
        raise ScanError("scan_no_order")
    return tuple(sorted(range(len(pictures)), key=lambda index: known[index]))
