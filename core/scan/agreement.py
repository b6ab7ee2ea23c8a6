"""Whether the headers of one stack agree with one another and with themselves.

No file speaks for the others: what must be the same in all slices is compared in all of them, and
what they tell together is the median over all. Order comes from positions; numbers are witnesses.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from core.findings import Finding
from core.geometry import Array
from core.scan.continuity import out_of_order
from core.scan.files import left_over
from core.scan.frames import STEP_TOLERANCE, STEP_TOLERANCE_MM
from core.scan.header import ImageHeader
from core.scan.numbers import MUST_BE_READ
from core.scan.stacks import TELLS_APART, Picture, tells
from core.words.numbers import Figure

IDENTICAL = 1e-4
"""Direction cosines, relative pixel sizes, and steps in mm: beyond this they are not the same."""
WITNESSES = (
    "InstanceNumber",
    "SliceLocation",
    "SliceThickness",
    "SpacingBetweenSlices",
    "GantryDetectorTilt",
)
"""Numbers that only bear out the places of slices; a position itself is never done without."""
DATES = ("AcquisitionDate", "SeriesDate", "StudyDate", "ContentDate")
LEAST_SPACING_MM, MOST_SPACING_MM = 0.02, 2.0
"""Pixels of a scan of a jaw lie well within (common practice, no source)."""


def images_of(pictures: Sequence[Picture]) -> list[ImageHeader]:
    """Headers of the files that pictures come from, each once."""
    return list({id(picture.image): picture.image for picture in pictures}.values())


def number_refusal(pictures: Sequence[Picture]) -> Finding | None:
    """Numbers without which no grey value is known, written but not to be read."""
    names = _unreadable(pictures) & MUST_BE_READ
    if not names:
        return None
    return Finding("scan_scale_unreadable", "refused", {"names": ", ".join(sorted(names))})


def spacing_refusal(pictures: Sequence[Picture]) -> Finding | None:
    """Pixels that are no scan's."""
    for picture in pictures:
        spacing = picture.geometry.spacing_mm
        if spacing and not LEAST_SPACING_MM <= min(spacing) <= max(spacing) <= MOST_SPACING_MM:
            fields = {
                "found_mm": f"{spacing[1]:g} × {spacing[0]:g}",
                "least_mm": f"{LEAST_SPACING_MM:g}",
                "most_mm": f"{MOST_SPACING_MM:g}",
            }
            return Finding("scan_spacing_out_of_range", "refused", fields)
    return None


def part_refusal(pictures: Sequence[Picture]) -> Finding | None:
    """Parts of a concatenation that are not here (PS3.3 C.7.6.16.2.2.4)."""
    images = [image for image in images_of(pictures) if image.value("ConcatenationUID")]
    parts: dict[int, int] = {}
    totals: set[int] = set()
    offsets: dict[int, int] = {}
    for image in images:
        part = image.number("InConcatenationNumber")
        if part is None:
            continue
        parts[int(part)] = len(image.frames)
        totals |= {int(n) for n in (image.number("InConcatenationTotalNumber"),) if n is not None}
        offset = image.number("ConcatenationFrameOffsetNumber")
        if offset is not None:
            offsets[int(part)] = int(offset)
    total = max((*totals, *parts), default=0)
    whole = set(parts) == set(range(1, total + 1)) and len(totals) <= 1
    start = 0
    for part in sorted(parts):
        whole = whole and offsets.get(part, start) == start
        start += parts[part]
    if whole:
        return None
    return Finding("scan_part_missing", "refused", {"here": len(parts), "total": total})


def header_agreement(pictures: Sequence[Picture]) -> list[Finding]:
    """What the headers of a stack say against each other, whatever their order."""
    found: list[Finding] = []
    images = images_of(pictures)
    names = ", ".join(sorted(_unreadable(pictures) - MUST_BE_READ))
    if names:
        found.append(Finding("scan_number_unreadable", "caution", {"names": names}))
    padded = sum(image.padding is not None for image in images)
    if 0 < padded < len(images):
        found.append(Finding("scan_padding_absent", "caution", {"count": len(images) - padded}))
    partly = _partly_absent(images)
    if partly:
        found.append(Finding("scan_number_absent", "note", {"names": ", ".join(partly)}))
    absent = ", ".join(sorted({name for image in images for name in image.absent}))
    if absent:
        found.append(Finding("scan_layout_absent", "caution", {"names": absent}))
    scaled = sum(picture.geometry.scaled for picture in pictures)
    if 0 < scaled < len(pictures):
        lacking = {"count": len(pictures) - scaled}
        found.append(Finding("scan_scale_absent", "caution", lacking, stops_verdicts=True))
    elif not scaled:
        found.append(Finding("scan_scale_not_stated", "caution"))
    over = {"count": sum(left_over(image) for image in images)}
    if over["count"]:
        found.append(Finding("scan_pixels_left_over", "caution", over, stops_verdicts=True))
    return [*found, *_mixed(pictures), *_spread(pictures)]


def _partly_absent(images: Sequence[ImageHeader]) -> list[str]:
    """Names of numbers that some headers hold and others do not."""
    held = {name: sum(image.value(name) != "" for image in images) for name in WITNESSES}
    return [name for name, count in held.items() if 0 < count < len(images)]


def _unreadable(pictures: Sequence[Picture]) -> set[str]:
    return {name for picture in pictures for name in picture.geometry.unreadable}


def _mixed(pictures: Sequence[Picture]) -> list[Finding]:
    """Acquisitions, reconstructions or dates that differ within one stack."""
    said = [tells(picture) for picture in pictures]
    if len(set(said)) == 1:
        return []
    differ = [
        name
        for name, values in zip(TELLS_APART, zip(*said, strict=True), strict=True)
        # Scanners that step from slice to slice number each of them: that tells nothing apart.
        if len(set(values)) > 1 and not (name == "AcquisitionNumber" and _each_own(values))
    ]
    found: list[Finding] = []
    dates = [name for name in differ if name in DATES]
    if dates:
        at = [TELLS_APART.index(name) for name in dates]
        listed = {values[index][:8] for values in said for index in at}
        fields = {"dates": ", ".join(sorted(filter(None, map(_date, listed))))}
        found.append(Finding("scan_two_dates_in_series", "caution", fields))
    others = [name for name in differ if name not in DATES]
    if others:
        found.append(Finding("scan_mixed", "caution", {"names": ", ".join(others)}))
    return found


def _each_own(values: Sequence[str]) -> bool:
    return len(set(values)) == len(values)


def _date(text: str) -> str:
    return f"{text[:4]}-{text[4:6]}-{text[6:]}" if len(text) == 8 and text.isdecimal() else text


def _spread(pictures: Sequence[Picture]) -> list[Finding]:
    """Directions and pixel sizes that are not the same in all slices."""
    found: list[Finding] = []
    turned = {p.geometry.orientation for p in pictures if p.geometry.orientation is not None}
    if len(turned) > 1:
        spread = float(np.ptp(np.array(list(turned)), axis=0).max())
        if spread > IDENTICAL:
            found.append(
                Finding("scan_directions_differ", "caution", {"most": Figure(f"{spread:.4f}")})
            )
    sizes = {p.geometry.spacing_mm for p in pictures if p.geometry.spacing_mm is not None}
    if len(sizes) > 1:
        values = np.array(list(sizes))
        spread = float((np.ptp(values, axis=0) / values.min(axis=0)).max())
        if spread > IDENTICAL:
            fields = {"percent": Figure(f"{100 * spread:.2f}")}
            found.append(Finding("scan_pixel_sizes_differ", "caution", fields))
    return found


def order_agreement(pictures: Sequence[Picture], along_mm: Array, tilt_cos: float) -> list[Finding]:
    """Numbers, locations and steps of slices against their places.

    Parameters
    ----------
    pictures : sequence of Picture
        In slice order.
    along_mm : (n,)
        Their places along the slice normal.
    tilt_cos : float
        Cosine of the angle between the stack and the normal.
    """
    found: list[Finding] = []
    if out_of_order([picture.geometry.number for picture in pictures]):
        found.append(Finding("scan_order_contradicts", "caution"))
    stated = [(k, p.geometry.location_mm) for k, p in enumerate(pictures)]
    located = [(k, value) for k, value in stated if value is not None]
    known = np.array([value for _, value in located])
    # One location for all slices is a default, not a place.
    told = len(known) > 1 and float(np.ptp(known)) > 0
    if told and not _follows(known, along_mm[[k for k, _ in located]], tilt_cos):
        found.append(Finding("scan_location_contradicts", "caution"))
    return found


def _follows(location_mm: Array, along_mm: Array, tilt_cos: float) -> bool:
    """Whether locations run as the places do, along the normal or along a tilted table."""
    steps = np.diff(along_mm)
    found = np.diff(location_mm)
    way = 1.0 if found.sum() >= 0 else -1.0
    tolerance = np.maximum(STEP_TOLERANCE * steps, STEP_TOLERANCE_MM) + 1e-9
    return any(
        bool((np.abs(way * found - steps / scale) <= tolerance).all())
        and abs(way * found.sum() - steps.sum() / scale) <= 2 * float(tolerance.max())
        for scale in (1.0, tilt_cos)
    )
