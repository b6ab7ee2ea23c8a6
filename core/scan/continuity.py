"""Whether neighbouring slices go on into one another where their headers change.

A scale, sign or acquisition that changes from slice to slice is believed only where the pictures
bear it out: neighbours of one volume look alike. Thumbnails of the raw words suffice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from core.findings import Finding
from core.scan.pixel_encoding import layout_of, padding_words, stored_values
from core.scan.sequence import Grey, apart, exchanged
from core.scan.stacks import Picture, tells

THUMB = 48
"""Pixels a side of a thumbnail, at most about twice as many."""
BORNE_OUT = 0.8
"""Slices that go on into one another less well than this share of the other reading, prove it."""
SEAM = 1.5
"""Slices of two acquisitions that differ by more than this many usual steps are no one volume."""

STRANGE = 4.0
"""A slice that differs from both neighbours so many times more than they from one another."""
LEAST_SHARE = 0.02
"""... and by this share of the volume's whole range at least, belongs to another picture."""


def thumb(raw: NDArray[Any]) -> NDArray[Any]:
    """A thinned copy of the words of a slice."""
    rows, cols = raw.shape
    return raw[:: max(1, rows // THUMB), :: max(1, cols // THUMB)].copy()


def continuity_findings(
    thumbs: Mapping[int, NDArray[Any]], pictures: Mapping[int, Picture]
) -> list[Finding]:
    """What the pictures say against their headers, across slices.

    Parameters
    ----------
    thumbs : mapping of slice to raw words
        Of the slices that were read.
    pictures : mapping of slice to Picture
    """
    order = sorted(thumbs)
    found: list[Finding] = []
    if len(order) < 2:
        return found
    grey = {k: _grey(thumbs[k], pictures[k], pictures[k]) for k in order}
    strange = _strange(order, grey)
    if strange:
        fields = {"slices": ", ".join(str(k + 1) for k in strange[:5])}
        found.append(Finding("scan_slice_strange", "caution", fields, stops_verdicts=True))
    settings = {k: _settings(pictures[k]) for k in order}
    if len(set(settings.values())) > 1 and not _scale_borne_out(order, thumbs, pictures):
        found.append(Finding("scan_scale_unproven", "caution", stops_verdicts=True))
    labels = {k: tells(pictures[k]) for k in order}
    many = len(set(labels.values())) > 1
    numbers = [pictures[k].geometry.number for k in order]
    disorder = out_of_order(numbers)
    if not disorder and not _numbered(numbers):
        found += exchanged([grey[k] for k in order], order)
    if many and _has_seam(order, grey, [labels[k] for k in order]):
        found.append(Finding("scan_seam", "caution", stops_verdicts=True))
    if disorder:
        by_number = _by_number(order, numbers)
        if _length(by_number, grey) <= _length(order, grey):
            found.append(Finding("scan_order_unproven", "caution", stops_verdicts=True))
    return found


def out_of_order(numbers: Sequence[int | None]) -> bool:
    """Whether slices in the order of their places bear numbers that neither rise nor fall.

    Slices without a number say nothing, and do not silence the others.
    """
    known = [number for number in numbers if number is not None]
    if len(set(known)) < len(known):
        return False  # numbers that do not tell slices apart say nothing about their order
    return known not in (sorted(known), sorted(known, reverse=True))


def _numbered(numbers: Sequence[int | None]) -> bool:
    """Whether every slice has a number of its own."""
    return None not in numbers and len(set(numbers)) == len(numbers)


def _by_number(order: Sequence[int], numbers: Sequence[int | None]) -> list[int]:
    """The numbered slices in the order of their numbers, the others where they are."""
    ranked = iter(k for _, k in sorted((n, k) for n, k in zip(numbers, order, strict=True)
                                       if n is not None))  # fmt: skip
    return [k if n is None else next(ranked) for n, k in zip(numbers, order, strict=True)]


def _settings(picture: Picture) -> tuple[object, ...]:
    layout, geometry = layout_of(picture.image), picture.geometry
    return (
        layout.bits_allocated,
        layout.bits_stored,
        layout.high_bit,
        layout.signed,
        geometry.slope,
        geometry.intercept,
    )


def _scale_borne_out(
    order: Sequence[int], thumbs: Mapping[int, NDArray[Any]], pictures: Mapping[int, Picture]
) -> bool:
    """Whether slices go on into one another better as stated than with their neighbours' scale."""
    stated: list[float] = []
    other: list[float] = []
    pairs = list(pairwise(order))
    for a, b in pairs:
        if _settings(pictures[a]) == _settings(pictures[b]):
            continue
        first, second = pictures[a], pictures[b]
        if first.image.bits_allocated != second.image.bits_allocated:
            continue  # the neighbour's words are read another way altogether: nothing to weigh
        left, right = _grey(thumbs[a], first, first), _grey(thumbs[b], second, second)
        swapped = _grey(thumbs[a], first, second), _grey(thumbs[b], second, first)
        readings = [
            apart(*pair)
            for pair, own, new in (
                ((swapped[0], right), left, swapped[0]),
                ((left, swapped[1]), right, swapped[1]),
            )
            if not np.array_equal(own, new, equal_nan=True)
        ]
        if readings:
            stated.append(apart(left, right))
            other.append(min(readings))
    if not stated:
        return True
    if 2 * len(stated) > len(pairs):
        return sum(stated) < sum(other)
    return all(s < BORNE_OUT * o for s, o in zip(stated, other, strict=True))


def _grey(words: NDArray[Any], picture: Picture, read_as: Picture) -> Grey:
    """Grey values of words, NaN for padding, read as another picture states."""
    layout, geometry = layout_of(read_as.image), read_as.geometry
    values = stored_values(words.copy(), layout)
    grey = values * np.float64(geometry.slope) + geometry.intercept
    padding = padding_words(layout_of(picture.image))
    if padding is not None:
        grey[(words >= padding[0]) & (words <= padding[1])] = np.nan
    return np.asarray(grey)


def _strange(order: Sequence[int], grey: Mapping[int, Grey]) -> list[int]:
    """Slices unlike their neighbours, where these are alike: damaged, or of another scan."""
    steps = [apart(grey[a], grey[b]) for a, b in pairwise(order)]
    usual = float(np.median(steps))
    known = [plane[np.isfinite(plane)] for plane in grey.values()]
    spans = [float(np.ptp(plane)) for plane in known if plane.size]
    span = float(np.median(spans)) if spans else 0.0
    found = []
    for at in range(1, len(order) - 1):
        least = min(steps[at - 1], steps[at])
        if least > STRANGE * usual and least > LEAST_SHARE * span:
            beside = apart(grey[order[at - 1]], grey[order[at + 1]])
            if least > STRANGE * beside:
                found.append(order[at])
    # The first and the last slice have one neighbour: only what is beyond all measure tells.
    found += [order[at] for at, step in ((0, steps[0]), (-1, steps[-1])) if step > span > 0]
    return sorted(set(found)) if len(order) > 2 else []


def _length(order: Sequence[int], grey: Mapping[int, Grey]) -> float:
    return sum(apart(grey[a], grey[b]) for a, b in pairwise(order))


def _has_seam(order: Sequence[int], grey: Mapping[int, Grey], labels: Sequence[object]) -> bool:
    """Whether slices of two acquisitions differ more than those of one, or none can be compared."""
    within = [
        apart(grey[order[at]], grey[order[at + lag]])
        for lag in (1, 2)
        for at in range(len(order) - lag)
        if labels[at] == labels[at + lag]
    ]
    across = [
        apart(grey[order[at]], grey[order[at + 1]])
        for at in range(len(order) - 1)
        if labels[at] != labels[at + 1]
    ]
    if not within:
        return True
    return max(across) > SEAM * float(np.median(within))
