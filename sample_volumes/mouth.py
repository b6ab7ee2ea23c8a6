"""Teeth and the stent: what both jaws have in common.

`deep` is the height counted from the occlusal plane into the jaw, positive in both jaws.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sample_volumes.shapes import ArchLine, Array, Tissue, both, round_cone, step

Marks = tuple[tuple[float, float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Root:
    """Marks (station, offset, height) from the neck to the apex, and the two diameters."""

    tooth: str
    name: str
    marks: Marks
    diameters_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Crown:
    """A rounded block: station of the middle, half sizes along the arch, across it, upwards."""

    tooth: str
    station: float
    half_mm: tuple[float, float, float]
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Stent:
    """An acrylic block along the arch and its radiopaque filling."""

    middle: float
    half_length: float
    axis: Marks
    diameter_mm: float = 3.0


def placed(arch: ArchLine, marks: Sequence[Sequence[float]]) -> Array:
    """(n, 3) jaw-frame points of (station, offset, height) rows."""
    m = np.array(marks)
    return arch.place(m[:, 0], m[:, 1], m[:, 2])


def simple_tooth(
    tooth: str, station: float, sizes: tuple[float, float, float], *, up: float
) -> tuple[Crown, Root]:
    """A one-rooted tooth from its width, depth and root length; `up` is +1 in the upper jaw."""
    md, bl, length = sizes
    marks = tuple(
        (station * pull, offset, up * (7.0 + part * length))
        for pull, offset, part in ((1.0, -0.3, 0.0), (1.0, -0.2, 0.5), (1.02, 0.2, 1.0))
    )
    root = Root(tooth=tooth, name=f"root-{tooth}", marks=marks, diameters_mm=(0.72 * md, 0.36 * md))
    half = (md / 2 - 0.1, bl / 2, 4.3)
    return Crown(tooth=tooth, station=station, half_mm=half, height=up * 4.0), root


def near_line(points: Array, line: Array, reach_mm: float) -> NDArray[np.intp]:
    """Indices of the points in the line's box, widened."""
    low, high = line.min(0) - reach_mm, line.max(0) + reach_mm
    return np.flatnonzero(((points > low) & (points < high)).all(axis=1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """Where points lie: jaw frame, station, buccal offset, height from the occlusal plane."""

    points: Array
    s: Array
    r: Array
    deep: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Teeth:
    """Teeth of one jaw; the crown of one may be metal."""

    arch: ArchLine
    roots: tuple[Root, ...]
    crowns: tuple[Crown, ...]
    metal_crown: str = ""

    def tissues(self, spot: Spot) -> Iterator[Tissue]:
        """Sockets first, so that neighbours do not paint over each other's roots."""
        points, s, r, deep = spot.points, spot.s, spot.r, spot.deep
        z = points[:, 2]
        parts = []
        for root in self.roots:
            line = placed(self.arch, root.marks)
            box = near_line(points, line, 5.0)
            d = round_cone(points[box], line, *root.diameters_mm)
            socket = np.maximum(d, 9.5 - deep[box])
            yield "lamina", box, socket - 0.55
            yield "ligament", box, socket - 0.2
            parts.append((line, box, d))
        for line, box, d in parts:
            yield "dentine", box, d
            pulp = round_cone(points[box], line, 1.3, 0.5)
            yield "pulp", box, np.maximum(pulp, d + 0.4)
        for crown in self.crowns:
            a, b, c = crown.half_mm
            far = np.stack([(s - crown.station) / a, r / b, (z - crown.height) / c])
            box = np.flatnonzero((np.abs(far) < 1.4).all(axis=0))
            size = (np.abs(far[:, box]) ** 3).sum(axis=0) ** (1 / 3)
            d = (size - 1.0) * min(a, b, c)
            yield "metal" if crown.tooth == self.metal_crown else "enamel", box, d
            yield "dentine", box, d + 1.2 * (1.0 - step(deep[box], 5.0, 8.5))


def stent_tissues(stent: Stent, arch: ArchLine, spot: Spot, gum: Array) -> Iterator[Tissue]:
    """Acrylic over the teeth and down to the gum (`gum`: distance to its surface), then filling."""
    points, s, r, deep = spot.points, spot.s, spot.r, spot.deep
    apart = np.abs(s - stent.middle)
    near = np.flatnonzero((apart < stent.half_length + 1) & (np.abs(r) < 9) & (np.abs(deep) < 16))
    sides = both(apart[near] - stent.half_length, np.abs(r[near]) - 5.9, 1.5)
    block = both(sides, np.abs(deep[near] - 5.0) - 7.2, 1.5)
    yield "acrylic", near, np.maximum(block, 0.3 - gum[near])
    ends = placed(arch, stent.axis)
    length = float(np.linalg.norm(ends[1] - ends[0]))
    d = points[near] - 0.5 * (ends[0] + ends[1])
    along = d @ (ends[1] - ends[0]) / length
    off = np.sqrt(np.maximum(np.einsum("ij,ij->i", d, d) - along**2, 0.0))
    yield "filling", near, np.maximum(off - stent.diameter_mm / 2, np.abs(along) - length / 2)
