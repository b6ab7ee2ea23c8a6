"""Teeth beyond a gap at which a row of teeth ends: the arch is led on to them.

Where the crest in a gap lies too deep, or is too faint, to be followed, a row ends at the gap. A
crown that stands on the plane further along the arch's own curve belongs to the row.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import label

from core.geometry import Array, unit
from core.proposing.coarse import EDGE_MM
from core.proposing.heights import Heights
from core.proposing.ridge import CROWN_MM

NEAREST_MM, FURTHEST_MM = 4.0, 24.0
"""From the row's end to the middle of the next crown: two missing molars are some 20 mm."""
LOWEST_MM, HIGHEST_MM = -5.0, 3.0
"""A single tooth beside a gap leans or grows out, and the row itself is curved; a crest without
teeth lies some 8 mm and more below the chewing surfaces (common practice, no source)."""
CROWN_MM2 = (12.0, 320.0)
"""From half a premolar to three molars side by side."""
BESIDE_DEG = 22.0
"""As far may a crown lie beside where the arch's curve leads (common practice, no source)."""
BACK_MM, BEND_MM = 8, 24
MOST_TEETH = 3


@dataclass(frozen=True, eq=False)
class Crown:
    """One crown beyond a gap: its middle, and how far it reaches along the arch, mm."""

    place: Array
    half_mm: float
    way: Array


def crowns_beyond(tops: Heights, places: Array) -> list[Crown]:
    """Crowns beyond the last of a row's places, the nearest first.

    Parameters
    ----------
    tops : Heights
    places : (n, 3) turned mm
        Along the row, towards the end that is asked about.
    """
    pieces = _pieces(tops, places)
    found: list[Crown] = []
    line = places
    while len(found) < MOST_TEETH:
        crown = _next(pieces, line, tops.normal)
        if crown is None:
            break
        found.append(crown)
        line = np.vstack([line, crown.place])
        pieces = [p for p in pieces if float(np.linalg.norm(p.mean(axis=0) - crown.place)) > 0.1]
    return found


def _pieces(tops: Heights, places: Array) -> list[Array]:
    """Places of each piece of tops that is as large as a crown and apart from the row."""
    near = (tops.top >= LOWEST_MM) & (tops.top <= HIGHEST_MM)
    parts, count = label(near, np.ones((3, 3)))
    found = []
    for n in range(1, count + 1):
        rows, columns = np.nonzero(parts == n)
        height = tops.top[rows, columns]
        on = height > height.max() - CROWN_MM
        area = float(on.sum()) * EDGE_MM**2
        if not CROWN_MM2[0] <= area <= CROWN_MM2[1]:
            continue
        at = tops.places(np.stack([columns[on], rows[on]], axis=1).astype(np.float64))
        apart = np.linalg.norm(places - at.mean(axis=0), axis=1).min()
        if apart >= NEAREST_MM:
            found.append(at)
    return found


def _next(pieces: list[Array], line: Array, normal: Array) -> Crown | None:
    """The nearest crown where the curve of the row leads."""
    end, way, bend = _led(line, normal)
    best: Crown | None = None
    for piece in pieces:
        middle = piece.mean(axis=0)
        step = middle - end
        step = step - (step @ normal) * normal
        length = float(np.linalg.norm(step))
        if not NEAREST_MM <= length <= FURTHEST_MM:
            continue
        expected = _turned(way, normal, 0.5 * bend * length)
        if float(step @ expected) < length * np.cos(np.radians(BESIDE_DEG)):
            continue
        if best is None or length < float(np.linalg.norm(best.place - end)):
            on = _turned(way, normal, bend * length)
            half = 0.5 * float(np.ptp(piece @ on))
            best = Crown(place=np.asarray(middle), half_mm=half, way=on)
    return best


def _led(line: Array, normal: Array) -> tuple[Array, Array, float]:
    """End of a line, its direction there, and by how much it turns, radians a mm."""
    end = line[-1]
    before_end = line[:-1]
    off = np.linalg.norm(before_end - end, axis=1)
    near = before_end[int(np.argmin(np.abs(off - BACK_MM)))]
    # A gap makes the nearest place before its far side a distant one.
    reach = float(np.linalg.norm(end - near)) + BEND_MM - BACK_MM
    far = before_end[int(np.argmin(np.abs(off - reach)))]
    way = unit(end - near)
    before = near - far
    if float(np.linalg.norm(before)) < BACK_MM:
        return end, way, 0.0
    turn = float(np.arctan2(np.cross(before, way) @ normal, before @ way))
    middle = 0.5 * (np.linalg.norm(end - near) + np.linalg.norm(before))
    bend = turn / float(middle)
    # Where the chord ends the line has turned on by half of it.
    return end, _turned(way, normal, 0.5 * bend * float(np.linalg.norm(end - near))), bend


def _turned(way: Array, normal: Array, angle: float) -> Array:
    return np.asarray(np.cos(angle) * way + np.sin(angle) * np.cross(normal, way))
