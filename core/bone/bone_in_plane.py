"""Which part of a plane is the jaw's bone: coarse, to tell where edges must be looked for.

Edges alone cannot know that a stent's filling, an opposing tooth or the hollow of a canal is
not the outside of the ridge. A filled region of the section can; the sub-voxel edge is then
looked for only near its border, always from outside.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_erosion, gaussian_filter, label, maximum_filter1d

from core.bone.bone_levels import BoneLevels
from core.geometry import Array, vector
from core.image import sampling
from core.image.flags import bridged, reached, widened
from core.image.volume import Volume

PIXEL_MM = 0.25
REACH_MM = 15.0
"""How far to both sides of the plane's origin bone is looked for."""

_BLUR_MM = 0.25
_BRIGHTER = 0.35
"""What is brighter than cortex stands above it by this share of its contrast to soft tissue:
enamel by about 0.6, cortex at its thickest by 0.1 (common practice, no source)."""

_LEAD_MM = 2.5
_LARGEST_UPPER_HOLE_MM2 = 160.0
"""A larger hollow in the upper jaw is a sinus or the nose, not marrow: the marrow of a ridge is no
more than about 10 mm wide and 16 mm high (common practice, no source)."""

_FURTHEST_TOP_MM = 6.0
"""Bone this far from a height at one place is another bone."""

_TOLD_APART, _MOSTLY = 0.15, 0.7
"""Spongy bone that stands this share of the contrast above soft tissue is told from it; a part of a
section of which so much looks like it is spongy bone."""

_PAD = 4
_BRIDGE = 3
"""Breaks of a plate up to 1.5 mm are bridged."""

_MOST_PARTS = 6
_LEAST_PART_MM2, _LEAST_INSIDE_MM2 = 0.5, 3.0
"""Bright parts beside the largest one that are tried, their least size, and how much they must
enclose with it."""

_FAINT, _NOISE = 0.15, 2.5
"""A faint plate stands this share of the contrast above soft tissue, and so many times the noise
of one profile."""

_CLEARLY_ABOVE_MM = 0.75
"""Blur alone lets what is fainter than bone reach up to this far above it."""

_MOST_OPEN = 0.4
"""A hollow of which more ends where nothing was scanned is not known to be one."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plane:
    """A plane of measurement: a point is ``origin + w across + h coronal``, in mm.

    Parameters
    ----------
    origin : (3,) patient LPS mm
    across : (3,)
        Unit, towards the cheek where the plane crosses the arch.
    coronal : (3,)
        Unit, the direction used, towards the crowns; perpendicular to `across`.
    """

    origin: Array
    across: Array
    coronal: Array

    def __post_init__(self) -> None:
        for name in ("origin", "across", "coronal"):
            object.__setattr__(self, name, vector(getattr(self, name)))

    @property
    def normal(self) -> Array:
        """Unit normal: across x coronal."""
        return vector(np.cross(self.across, self.coronal))

    def points(self, w: Array | float, h: Array | float) -> Array:
        """Patient points of places in the plane, shape (n, 3)."""
        w, h = np.broadcast_arrays(np.atleast_1d(np.asarray(w, float)), np.asarray(h, float))
        return np.asarray(self.origin + w[:, None] * self.across + h[:, None] * self.coronal)

    def w(self, point_mm: Array) -> float:
        """Place across of a patient point."""
        return float((point_mm - self.origin) @ self.across)

    def h(self, point_mm: Array) -> float:
        """Height of a patient point along the direction used."""
        return float((point_mm - self.origin) @ self.coronal)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoneInPlane:
    """The jaw's bone in a plane, hollows filled.

    Parameters
    ----------
    plane : Plane
    w, h : (cols,), (rows,) mm
        Places of the pixels, both ascending.
    mask : (rows, cols) bool
        The jaw's bone, filled.
    other : (rows, cols) bool
        Bright like bone, but apart from it: teeth of the other jaw, a stent's filling.
    brighter : (rows, cols) bool
        Clearly brighter than cortex: enamel, a filling, metal.
    socket : (rows, cols) bool
        Where roots stand that are to be removed.
    joined : (rows, cols) bool
        The bone and what is fainter than it, or apart from it in this plane, yet runs on from it
        without a break: the top of a thin ridge under air may be no brighter.
    """

    plane: Plane
    w: Array
    h: Array
    mask: NDArray[np.bool_]
    other: NDArray[np.bool_]
    brighter: NDArray[np.bool_]
    socket: NDArray[np.bool_]
    joined: NDArray[np.bool_]

    @property
    def empty(self) -> bool:
        """True where no bone was found."""
        return not bool(self.mask.any())

    @property
    def cut_off(self) -> bool:
        """True where the bone reaches the upper end of the region that was looked at."""
        return bool(self.mask[-1].any())

    def top(self, w_mm: Array) -> Array:
        """(n,) places across → (n,) height of the bone's coronal border; NaN without bone."""
        return self._top_of(self.mask, w_mm)

    def top_joined(self, w_mm: Array) -> Array:
        """As `top`, or where what is joined to the bone ends, if that is clearly further up."""
        bone, joined = self.top(w_mm), self._top_of(self.joined, w_mm)
        return np.where(joined - bone < _CLEARLY_ABOVE_MM, bone, joined)

    def _top_of(self, flags: NDArray[np.bool_], w_mm: Array) -> Array:
        cols = np.clip(np.rint((np.asarray(w_mm) - self.w[0]) / PIXEL_MM), 0, len(self.w) - 1)
        columns = flags[:, cols.astype(np.intp)]
        last = len(self.h) - 1 - np.argmax(columns[::-1], axis=0)
        return np.where(columns.any(axis=0), self.h[last] + PIXEL_MM / 2, np.nan)

    def top_near(self, w_mm: float, h_mm: float) -> float:
        """Coronal border of the bone nearest to a height at a place across; NaN without bone.

        Of one place alone: a plane along the jaw need not show its bone in one piece. What is
        brighter than bone (a crown that overhangs) does not count.
        """
        col = int(np.clip(np.rint((w_mm - self.w[0]) / PIXEL_MM), 0, len(self.w) - 1))
        bone = (self.mask | self.other)[:, col]
        change = np.diff(np.concatenate([[False], bone, [False]]).astype(np.int8))
        best, nearest = float("nan"), _FURTHEST_TOP_MM
        for first, after in zip(
            np.flatnonzero(change == 1), np.flatnonzero(change == -1), strict=True
        ):
            bottom, top = self.h[first] - PIXEL_MM / 2, self.h[after - 1] + PIXEL_MM / 2
            away = max(bottom - h_mm, h_mm - top, 0.0)
            if away < nearest and not self.brighter[first:after, col].any():
                best, nearest = float(top), away
        return best

    def lead_above(self, w_mm: Array, top_mm: Array) -> Array:
        """(n,) free height over the border up to other bright things, at most 2.5 mm."""
        cols = np.clip(np.rint((np.asarray(w_mm) - self.w[0]) / PIXEL_MM), 0, len(self.w) - 1)
        over = self.h[:, None] > np.nan_to_num(top_mm)[None, :]
        blocked = (self.other | self.mask)[:, cols.astype(np.intp)] & over
        first = np.argmax(blocked, axis=0)
        free = np.where(blocked.any(axis=0), self.h[first] - top_mm - PIXEL_MM, np.inf)
        return np.clip(free, 0.9, _LEAD_MM)

    def intervals(self, h_mm: float) -> list[tuple[float, float]]:
        """Bone intervals (from, to) across at a height, mm; ends of pixels.

        Bone on both sides of a socket is one: its width is that of the ridge around the tooth.
        """
        row = int(np.rint((h_mm - self.h[0]) / PIXEL_MM))
        if not 0 <= row < len(self.h):
            return []
        bone = self.mask[row] | self._between(row)
        change = np.diff(np.concatenate([[False], bone, [False]]).astype(np.int8))
        half = PIXEL_MM / 2
        return [
            (float(self.w[a]) - half, float(self.w[b - 1]) + half)
            for a, b in zip(np.flatnonzero(change == 1), np.flatnonzero(change == -1), strict=True)
        ]

    def over_socket(self, h_mm: float) -> bool:
        """True where the bone at a height stands on both sides of a socket."""
        row = int(np.rint((h_mm - self.h[0]) / PIXEL_MM))
        return 0 <= row < len(self.h) and bool(self._between(row).any())

    def _between(self, row: int) -> NDArray[np.bool_]:
        """(cols,) gaps between bone that are socket from end to end."""
        out = np.zeros(len(self.w), dtype=bool)
        bone = np.flatnonzero(self.mask[row])
        for one, two in pairwise(bone):
            if two - one > 1 and self.socket[row, one + 1 : two].all():
                out[one + 1 : two] = True
        return out

    def lead_beside(self, h_mm: float, w_mm: float, sign: float) -> float:
        """Free width outside a border up to other bright things, at most 2.5 mm.

        Parameters
        ----------
        h_mm : float
            Height in the plane, mm.
        w_mm : float
            Place across, mm.
        sign : float
            +1 or -1: the side of the border that is outside.
        """
        row = int(np.clip(np.rint((h_mm - self.h[0]) / PIXEL_MM), 0, len(self.h) - 1))
        blocked = self.other[row] & (sign * (self.w - w_mm) > 0)
        if not blocked.any():
            return _LEAD_MM
        free = float(np.abs(self.w[blocked] - w_mm).min()) - PIXEL_MM
        return float(np.clip(free, 0.9, _LEAD_MM))


def bone_in_plane(
    volume: Volume,
    levels: BoneLevels,
    plane: Plane,
    *,
    crown_level_mm: float,
    upper: bool,
) -> BoneInPlane:
    """Find the jaw's bone in a plane.

    The jaw is the connected bright region with the largest area apical of the jaw plane. Its
    hollows (canal, marrow) are filled; in the upper jaw a hollow that holds air, or a large
    one, stays open: that is a sinus or the nose.

    Parameters
    ----------
    volume : Volume
    levels : BoneLevels
    plane : Plane
    crown_level_mm : float
        Height, along the plane's direction, at which the jaw plane lies.
    upper : bool
        True in the upper jaw.
    """
    w = np.arange(-REACH_MM, REACH_MM + PIXEL_MM / 2, PIXEL_MM)
    h = np.arange(crown_level_mm - 45.0, crown_level_mm + 15.0, PIXEL_MM)
    starts = plane.points(float(w[0]), h)
    steps = np.broadcast_to(PIXEL_MM * plane.across, starts.shape)
    grey = sampling.lines(volume, starts, steps, len(w)).astype(np.float64)
    scanned = np.isfinite(grey)
    dark = levels.soft - 0.5 * (levels.cortical - levels.soft)
    # A softened picture, in which places that were not scanned have no weight.
    sigma = _BLUR_MM / PIXEL_MM
    weight = gaussian_filter(scanned.astype(np.float64), sigma)
    smooth = gaussian_filter(np.where(scanned, grey, 0.0), sigma) / np.maximum(weight, 1e-9)
    bright = scanned & (smooth >= levels.bone_threshold)
    free = _Free(scanned=scanned, marrow=_as_spongy(smooth, levels))
    mask = np.zeros_like(bright)
    labels, count = label(bright)
    if count and levels.trouble is None:
        apical = labels[h < crown_level_mm + 2.0]
        sizes = np.bincount(apical.ravel(), minlength=count + 1)
        sizes[0] = 0
        if sizes.max() * PIXEL_MM**2 >= 4.0:
            mask = _with_its_plates(labels, sizes, free)
    # A plate beside air, or thinner than the blur, does not come up to bone's level; it still
    # parts what is inside from the outside.
    faint = smooth >= levels.soft + max(
        _FAINT * (levels.cortical - levels.soft), _NOISE * levels.noise_sd
    )
    mask = _with_faint_plates(mask, scanned & faint, free)
    filled = _filled(mask, smooth, free, dark, upper=upper)
    # Where cortex is thin over sclerotic bone its level reads too low: by as much as its doubt.
    cortex = levels.cortical + levels.cortical_sd
    brighter = smooth >= cortex + _BRIGHTER * (levels.cortical - levels.soft)
    return BoneInPlane(
        plane=plane,
        w=w,
        h=h,
        mask=filled,
        other=bright & ~filled,
        brighter=bright & brighter,
        socket=np.zeros_like(bright),
        joined=reached(filled, filled | (scanned & faint)),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Free:
    """What of a section was scanned, and what of it looks like spongy bone; (rows, cols) bool."""

    scanned: NDArray[np.bool_]
    marrow: NDArray[np.bool_]


def _as_spongy(smooth: Array, levels: BoneLevels) -> NDArray[np.bool_]:
    """Nearer to spongy bone than to soft tissue, where the scan tells them apart."""
    apart = levels.spongy - levels.soft
    if apart < _TOLD_APART * (levels.cortical - levels.soft):
        return np.zeros(smooth.shape, dtype=bool)
    return np.asarray(smooth > levels.soft + 0.5 * apart)


def _with_its_plates(
    labels: NDArray[np.signedinteger], sizes: NDArray[np.intp], free: _Free
) -> NDArray[np.bool_]:
    """The largest bright part, and those that enclose the inside of a bone together with it.

    A thin plate shows with breaks in it. Bridged, it tells the inside from the outside; what
    only lies near (a stent's filling, a tooth of the other jaw) encloses nothing.
    """
    order = np.argsort(sizes)[::-1]
    mask = _bridged(labels == int(order[0]), free.scanned)
    inside = int(_inside(mask, free).sum())
    for number in order[1 : 1 + _MOST_PARTS]:
        if sizes[number] * PIXEL_MM**2 < _LEAST_PART_MM2:
            break
        more = _bridged(mask | (labels == int(number)), free.scanned)
        encloses = int(_inside(more, free).sum())
        if (encloses - inside) * PIXEL_MM**2 >= _LEAST_INSIDE_MM2:
            mask, inside = more, encloses
    return mask


def _with_faint_plates(
    mask: NDArray[np.bool_], faint: NDArray[np.bool_], free: _Free
) -> NDArray[np.bool_]:
    """With fainter parts joined to the bone, if much is enclosed by them that was open before."""
    if not mask.any():
        return mask
    joined = reached(mask, mask | _bridged(faint, free.scanned))
    gained = _inside(joined, free) & ~_inside(mask, free)
    parts, count = label(gained)
    sizes = np.bincount(parts.ravel(), minlength=count + 1)
    sizes[0] = 0
    large = sizes * PIXEL_MM**2 >= _LEAST_INSIDE_MM2
    if not large.any():
        return mask
    rim = widened(large[parts], _PAD)
    return np.asarray(mask | (joined & rim))


def _bridged(mask: NDArray[np.bool_], scanned: NDArray[np.bool_]) -> NDArray[np.bool_]:
    closed = bridged(_padded(mask), _BRIDGE)[_PAD:-_PAD, _PAD:-_PAD]
    return np.asarray(mask | (closed & scanned))


def _filled(
    mask: NDArray[np.bool_], smooth: Array, free: _Free, dark: float, *, upper: bool
) -> NDArray[np.bool_]:
    holes, count = label(_inside(mask, free))
    keep = np.ones(count + 1, dtype=bool)
    for number in range(1, count + 1):
        hole = holes == number
        rim = widened(_padded(hole))[_PAD:-_PAD, _PAD:-_PAD] & ~hole
        open_ = float((rim & ~free.scanned).sum()) + float(hole[0].sum())
        air = float(np.median(smooth[hole])) < dark
        large = hole.sum() * PIXEL_MM**2 > _LARGEST_UPPER_HOLE_MM2
        large &= free.marrow[hole].mean() < _MOSTLY
        shut = open_ <= _MOST_OPEN * (float(rim.sum()) + float(hole[0].sum()))
        keep[number] = shut and not (upper and (air or large))
    keep[0] = False
    return np.asarray(mask | keep[holes])


def _inside(mask: NDArray[np.bool_], free: _Free) -> NDArray[np.bool_]:
    """What is not bright and is not reached from the crowns' side, from cheek or from tongue.

    The scan may end in the jaw: where nothing was scanned there is no way in, and none where what
    reaches the end is spongy bone.
    """
    dark = free.scanned & ~mask
    edge = np.zeros_like(dark)
    edge[-1], edge[:, 0], edge[:, -1] = True, True, True
    # The end of the field on either side, and above: the first and the last that was scanned.
    across = np.arange(dark.shape[1])
    top = dark.shape[0] - 1 - np.argmax(free.scanned[::-1], axis=0)
    edge[top, across] = True
    parts, count = label(dark)
    at_edge = np.zeros(count + 1, dtype=bool)
    at_edge[np.unique(parts[edge & dark])] = True
    sizes = np.bincount(parts.ravel(), minlength=count + 1)
    spongy = np.bincount(parts.ravel(), free.marrow.ravel(), minlength=count + 1)
    outside = at_edge & (spongy < _MOSTLY * np.maximum(sizes, 1))
    outside[0] = True
    return np.asarray(~outside[parts])


def _padded(flags: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return np.pad(flags, _PAD, mode="edge")


def outline(
    volume: Volume,
    levels: BoneLevels,
    plane: Plane,
    *,
    crown_level_mm: float,
    upper: bool,
) -> list[Array]:
    """Outlines of the jaw's bone and of its cortex in a plane, for drawing.

    Half-way lines between soft tissue and cortex (outer) and between spongy bone and cortex
    (inner). Pictures only: no number is taken from them.

    Parameters
    ----------
    volume : Volume
    levels : BoneLevels
    plane : Plane
    crown_level_mm : float
        Height in the plane from which on crowns stand, mm.
    upper : bool
        True in the upper jaw.

    Returns
    -------
    list of (n, 2) mm
        Polylines: w (across) and h (coronal) in the plane, sub-pixel.
    """
    bone = bone_in_plane(volume, levels, plane, crown_level_mm=crown_level_mm, upper=upper)
    if bone.empty:
        return []
    starts = plane.points(float(bone.w[0]), bone.h)
    steps = np.broadcast_to(PIXEL_MM * plane.across, starts.shape)
    grey = sampling.lines(volume, starts, steps, len(bone.w)).astype(np.float64)
    near = maximum_filter1d(maximum_filter1d(bone.mask, 7, axis=0), 7, axis=1)
    smooth = gaussian_filter(np.where(np.isfinite(grey), grey, levels.soft), 0.6)
    outer = np.where(near, smooth, levels.soft)
    # The blurred outer edge passes through the inner one's level too: that is no edge.
    inside = binary_erosion(bone.mask, iterations=2)
    return [
        *_iso_lines(outer, 0.5 * (levels.soft + levels.cortical), bone.w, bone.h),
        *_iso_lines(
            np.where(inside, smooth, levels.cortical),
            0.5 * (levels.spongy + levels.cortical),
            bone.w,
            bone.h,
        ),
    ]


def _iso_lines(picture: Array, level: float, w: Array, h: Array) -> list[Array]:
    """Lines of equal value by marching squares, joined end to end; at least 12 points each."""
    ends: dict[tuple[int, int, int], list[tuple[int, int, int]]] = {}

    def crossing(key: tuple[int, int, int]) -> tuple[float, float]:
        r, c, down = key
        r2, c2 = (r + 1, c) if down else (r, c + 1)
        a, b = float(picture[r, c]), float(picture[r2, c2])
        t = (level - a) / (b - a)
        return (
            float(w[c] + t * (w[c2] - w[c])),
            float(h[r] + t * (h[r2] - h[r])),
        )

    above = picture >= level
    corners = above[:-1, :-1], above[:-1, 1:], above[1:, 1:], above[1:, :-1]
    mixed = np.flatnonzero(np.sum(corners, axis=0) % 4)
    for flat in mixed:
        r, c = divmod(int(flat), above.shape[1] - 1)
        sides = (
            ((r, c, 0), above[r, c] != above[r, c + 1]),
            ((r, c + 1, 1), above[r, c + 1] != above[r + 1, c + 1]),
            ((r + 1, c, 0), above[r + 1, c] != above[r + 1, c + 1]),
            ((r, c, 1), above[r, c] != above[r + 1, c]),
        )
        cut = [key for key, crossed in sides if crossed]
        for one, two in zip(cut[::2], cut[1::2], strict=True):
            ends.setdefault(one, []).append(two)
            ends.setdefault(two, []).append(one)
    lines = []
    while ends:
        start = next((k for k, v in ends.items() if len(v) == 1), next(iter(ends)))
        chain, current = [start], start
        while ends.get(current):
            following = ends[current].pop()
            ends[following].remove(current)
            chain.append(following)
            current = following
        ends = {k: v for k, v in ends.items() if v}
        if len(chain) >= 12:
            lines.append(np.array([crossing(key) for key in chain]))
    return lines
