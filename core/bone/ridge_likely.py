"""Widths that cannot be a ridge's: one plate, a knob, what stands beside the bone, mere doubt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from core.geometry import Array
from core.measurement import Note, Reading

_ONE_PLATE_FROM_MM, _ONE_PLATE_MM = 3.0, 2.0
"""What is thinner than this from this depth on may be one cortical plate of a ridge whose other
plate does not show: a knife edge grows wider further down (common practice, no source; among
1,353 drawn ridges none was as thin)."""

_NARROW_MM, _OVER_MM, _GROWS = 3.5, 2.0, 0.25
"""What stays narrower than this over so many mm and hardly widens, in mm a mm, is a plate as well:
2 to 3 mm were read so in four of 4,000 drawn scans, all for 5 to 15 mm, where the other plate did
not show. Ridges that were as narrow grew by 0.5 (common practice, no source)."""

_SUDDEN_FROM_MM, _ABOVE_FROM_MM, _WIDENS = 7.0, 3.0, 1.4
"""What grows wider than so many mm a mm from a width measured above it holds something beside the
ridge that is as bright as bone, as where shading lightens gum (in 1,600 drawn and real sections the
steepest growth from 5 mm below the crest on was 1.1; common practice, no source)."""

_UNSEEN_WIDENS, _UNSEEN_NEAR_CREST_MM, _UNSEEN_WIDENS_NEAR = 1.0, 5.0, 2.5
"""The same over depths between that could not be read, where what stands beside may have joined
the ridge unseen, and down to so far below the crest, where it widens faster (of 91 such pairs that
were right one grew by more; the four that did and were wrong read 15 to 21 mm for 7 to 10)."""

_NARROWS = 0.9
"""What loses more mm a mm has lost one of its plates: what is left is the other one (in 8,900 drawn
and real sections none lost more than 0.64; all seven that read so were wrong, by 2 to 10 mm; common
practice, no source)."""

_KNOB_WIDENS = 3.2
"""What grows faster from the first width to the next stands on the crest as a knob: whether its own
width or the ridge's is met turns on a tenth of a millimetre of the crest's height (of 30 drawn and
real sections that grew so 11 were wrong, by 4 to 7 mm, within a stated doubt of 0.2)."""

_KNOB_MM = 1.2
"""A first width under this is a knob's, or a speck's: nine were read in 8,000 drawn sections, all
for 1.7 to 7.9 mm; the least that was right was 1.5."""

_LARGEST_SD_MM = 0.4
"""Standard error from which on a width decides nothing: twice that is more than a step between two
diameters (common practice, no source)."""

_BONE_SEEN = {"ridge_two_intervals", "ridge_open_side"}


def those_of_a_ridge(depths_mm: Array, found: Sequence[Reading]) -> list[Reading]:
    """Widths of one section without those that cannot be a ridge's, each with its reason.

    Parameters
    ----------
    depths_mm : (n,)
        Below the crest, rising.
    found : (n,) sequence of Reading
        Widths there.
    """
    plates = without_single_plates(depths_mm, found)
    return _without_lone_one(_without_knob(depths_mm, _without_sudden_changes(depths_mm, plates)))


def without_single_plates(depths_mm: Array, found: Sequence[Reading]) -> list[Reading]:
    """Widths without those that are as thin as one plate, and without all above them.

    Where the other plate does not show, what is met from outside is one plate; from its top down
    to where it is seen to be one, all that was read is that plate.

    Parameters
    ----------
    depths_mm : (n,)
        Below the crest, rising.
    found : (n,) sequence of Reading
        Widths there.
    """
    narrow = [
        (float(depth), r.value)
        for depth, r in zip(depths_mm, found, strict=True)
        if depth >= _ONE_PLATE_FROM_MM and r.value is not None and r.value < _NARROW_MM
    ]
    even = bool(narrow) and _hardly_widens(narrow[0], narrow[-1])
    thin = [depth for depth, width in narrow if even or width < _ONE_PLATE_MM]
    deepest = max(thin, default=-np.inf)
    one_plate = Reading(value=None, notes=(Note("ridge_one_plate"),))
    return [one_plate if depth <= deepest else r for depth, r in zip(depths_mm, found, strict=True)]


def _hardly_widens(first: tuple[float, float], last: tuple[float, float]) -> bool:
    down = last[0] - first[0]
    return down >= _OVER_MM and last[1] - first[1] < _GROWS * down


def _without_sudden_changes(depths_mm: Array, found: Sequence[Reading]) -> list[Reading]:
    """Widths without those from where on the ridge widens, or narrows, as no ridge does."""
    out: list[Reading] = []
    above: tuple[float, float] | None = None
    sudden: Note | None = None
    unseen = False
    for depth, reading in zip(depths_mm, found, strict=True):
        if reading.value is None:
            out.append(reading)
            unseen = True
            continue
        if above is not None:
            sudden = sudden or _sudden(above, (float(depth), reading.value), unseen=unseen)
        above, unseen = (float(depth), reading.value), False
        out.append(reading if sudden is None else Reading(value=None, notes=(sudden,)))
    return out


def _sudden(above: tuple[float, float], here: tuple[float, float], *, unseen: bool) -> Note | None:
    """What is not a ridge's between two (depth, width), mm; None where all may be."""
    down, wider = here[0] - above[0], here[1] - above[1]
    if -wider > _NARROWS * down:
        return Note("ridge_narrows_suddenly")
    most = np.inf
    if here[0] >= _SUDDEN_FROM_MM and above[0] >= _ABOVE_FROM_MM:
        most = _WIDENS
    if unseen:
        near = here[0] <= _UNSEEN_NEAR_CREST_MM
        most = min(most, _UNSEEN_WIDENS_NEAR if near else _UNSEEN_WIDENS)
    return Note("ridge_widens_suddenly") if wider > most * down else None


def _without_knob(depths_mm: Array, found: Sequence[Reading]) -> list[Reading]:
    """Widths without the first where it is that of a knob on the crest."""
    if not found or found[0].value is None:
        return list(found)
    first, rest = found[0], found[1:]
    steep = 0.0
    if rest and rest[0].value is not None:
        steep = (rest[0].value - found[0].value) / float(depths_mm[1] - depths_mm[0])
    if found[0].value >= _KNOB_MM and steep <= _KNOB_WIDENS:
        return list(found)
    return [replace(first, value=None, witness=None, notes=(Note("ridge_knob"),)), *rest]


def _without_lone_one(found: Sequence[Reading]) -> list[Reading]:
    """Widths, or none where the edges of only one of them could be read.

    What is unreadable above and below is seldom a ridge between: of ten drawn widths that stood
    alone so four were wrong, by 5 to 13 mm; of 8,400 others one in 170. Where bone is seen, and
    only its one width is not (a socket, a ridge that runs on to the side), one may stand alone.
    """
    seen = any(note.code in _BONE_SEEN for r in found for note in r.notes)
    if seen or sum(r.value is not None for r in found) != 1:
        return list(found)
    alone = Reading(value=None, notes=(Note("ridge_lone_width"),))
    return [alone if r.value is not None else r for r in found]


def sure_enough(width: Reading) -> Reading:
    """A width, or why there is none where its doubt leaves nothing to decide by.

    Parameters
    ----------
    width : Reading
        With the standard errors of its edges and of the crest that it counts from.
    """
    sd = float(np.hypot.reduce(width.edge_sd_mm, initial=0.0))
    if width.value is None or sd <= _LARGEST_SD_MM:
        return width
    note = Note("ridge_width_unsure", {"doubt": round(2.0 * sd, 1)})
    # Its edges stay: a plate that is asked for at one of them may be surer.
    return replace(width, value=None, notes=(note,))
