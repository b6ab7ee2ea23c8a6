"""A whole random jaw as an exported folder: a row of teeth with one gap, a canal with its foramen.

What `case` draws is a piece around the site; here the same shape is painted with all its teeth in
the scanner's own axes, and written as a CT series.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy.ndimage import gaussian_filter

from core.image.volume import Volume
from sample_volumes.dicom_out import Header, write_series
from sample_volumes.voxelise import Grid
from tests.reference.random_jaws import kernels as k
from tests.reference.random_jaws.draw import choices
from tests.reference.random_jaws.shape import Shape, shape_of

VOXEL_MM, BLUR_FWHM_MM, NOISE = 0.3, 0.5, 45.0
_TEETH = 7
_ABOVE_MM, _BELOW_MM, _BESIDE_MM = 11.0, 34.0, 11.0


@dataclass(frozen=True, eq=False)
class WholeJaw:
    """A jaw and what was put into it.

    ``foramen_mm``: (2, 3) patient mm, its edges along the arch on the bone's surface, and
    ``foramen_s`` its arc length from the site; empty and 0 in the upper jaw.
    """

    shape: Shape
    tooth: str
    foramen_mm: np.ndarray
    foramen_s: float

    def root(self, way: int) -> tuple[np.ndarray, np.ndarray, float, float]:
        """Neck, apex and both radii of the neighbour on one side (+1: towards larger s)."""
        found = []
        for root, tooth in zip(self.shape.roots, self.shape.teeth, strict=True):
            s, _, _ = k.jaw_place(self.shape.v, tooth[k.T_X], tooth[k.T_Y], 0.0)
            if s * way > 0:
                found.append((abs(s), root))
        return min(found, key=lambda each: each[0])[1]

    @property
    def room_mm(self) -> float:
        """From the crest down to canal or floor at the site."""
        shape = self.shape
        if shape.hollow:
            return float(shape.row(k.FLOOR, 0.0))
        top = shape.row(k.CANAL_H, 0.0) + shape.canal_mm
        return float(shape.row(k.TOP, 0.0) - top)


def whole_jaw(seed: int, tooth: str) -> WholeJaw:
    """The jaw of a seed with every tooth but one, as far back as the second molars."""
    jaw = "lower" if tooth[0] in "34" else "upper"
    c = replace(
        choices(seed), jaw=jaw, tooth=tooth, teeth="two", ridge="broad", width=10.0,
        over_crest="gum", marrow="usual", scale="usual", fault="none", filter="none",
        voxel=VOXEL_MM,
    )  # fmt: skip
    shape = shape_of(c)
    rng = np.random.default_rng([seed, 9])
    v, rows = shape.v, [*shape.teeth]
    right, position = tooth[0] in "14", int(tooth[1])
    sense = -1.0 if right else 1.0
    # Beyond the two neighbours of the gap, tooth after tooth to both ends of the row.
    for first, way, count in (
        (rows[0], -1.0, _TEETH + position - 2 if sense > 0 else _TEETH - position - 1),
        (rows[1], 1.0, _TEETH - position - 1 if sense > 0 else _TEETH + position - 2),
    ):
        s, _, _ = k.jaw_place(v, first[k.T_X], first[k.T_Y], 0.0)
        for _ in range(count):
            s += way * rng.uniform(6.2, 6.8)
            rows.append(_tooth(rng, shape, s))
    shape = replace(shape, teeth=np.array(rows))
    foramen, at = np.empty((0, 3)), 0.0
    if jaw == "lower":
        at = -sense * rng.uniform(11.0, 13.0)
        foramen = _foramen(shape, at)
    return WholeJaw(shape=shape, tooth=tooth, foramen_mm=foramen, foramen_s=at)


def _tooth(rng, shape, s):
    v, row = shape.v, np.zeros(8)
    top, w = shape.row(k.TOP, s), shape.row(k.MIDDLE, s)
    angle = (s + v[k.SITE]) / v[k.RADIUS]
    away = v[k.RADIUS] + w
    row[k.T_X], row[k.T_Y] = away * np.sin(angle), v[k.RADIUS] - away * np.cos(angle)
    row[k.T_APEX], row[k.T_NECK] = top - rng.uniform(7.0, 11.0), top + rng.uniform(0.8, 1.6)
    row[k.T_TIP] = top + rng.uniform(6.0, 9.0)
    row[k.T_R_APEX], row[k.T_R_NECK] = rng.uniform(0.8, 1.2), rng.uniform(1.8, 2.2)
    row[k.T_R_CROWN] = row[k.T_R_NECK] + rng.uniform(0.5, 0.8)
    return row


FORAMEN_RADIUS_MM = 1.5


def _foramen_line(shape, s):
    """Ends of the passage from the canal out through the cheek side, jaw frame."""
    w, h = shape.row(k.CANAL_W, s), shape.row(k.CANAL_H, s)
    return shape.place(s, w, h), shape.place(s, w + 14.0, h + 5.0)


def _foramen(shape, s):
    inner, outer = _foramen_line(shape, s)
    way = outer - inner
    length = float(np.linalg.norm(way))
    start = shape.patient(outer)
    off = shape.crossing(start, -(shape.turn @ (way / length)), 0, inwards=True, reach=length)[0]
    at = start[0] - off * (shape.turn @ (way / length))
    angle = (s + shape.v[k.SITE]) / shape.v[k.RADIUS]
    along = shape.turn @ np.array([np.cos(angle), np.sin(angle), 0.0])
    return np.stack([at - FORAMEN_RADIUS_MM * along, at + FORAMEN_RADIUS_MM * along])


def write(jaw: WholeJaw, seed: int, folder: Path) -> None:
    """Paint, blur, add noise, and write one file a slice."""
    grid, voxels = _stored(jaw, seed)
    name = f"whole-{jaw.tooth}-{seed}"
    header = Header(
        name=name, patient_name=f"Invented^Jaw {seed}", patient_id=f"INV-{seed}",
        birth_date="19700101", sex="O", scan_date="20240105", scan_time="101500",
        description="whole jaw", body_part="JAW",
    )  # fmt: skip
    write_series(folder, header, grid, voxels)


def painted(jaw: WholeJaw, seed: int) -> Volume:
    """The same scan as `write` writes, without a file."""
    grid, voxels = _stored(jaw, seed)
    return Volume(voxels=voxels, mm_from_ijk=grid.affine, made_up=np.zeros(len(voxels), dtype=bool))


def _stored(jaw, seed):
    """Where the voxels lie, and their stored values."""
    shape, rng = jaw.shape, np.random.default_rng([seed, 3])
    grid = _grid(shape)
    axes = shape.turn  # rows: the patient's axes in the jaw frame
    first = shape.jaw(np.array([grid.first_mm]))[0]
    grey, marrow = k.paint(
        *shape.tables, shape.teeth, shape.grey, grid.shape, first, axes * VOXEL_MM, VOXEL_MM
    )
    if len(jaw.foramen_mm):
        _bore(grey, marrow, jaw, grid)
    grey = gaussian_filter(grey, BLUR_FWHM_MM / 2.3548 / VOXEL_MM, truncate=3.5)
    texture = gaussian_filter(rng.standard_normal(grey.shape, dtype=np.float32), 0.4 / VOXEL_MM)
    grey += marrow * texture * np.float32(0.08 * shape.grey[k.CORTEX] / texture.std())
    grey += rng.standard_normal(grey.shape, dtype=np.float32) * np.float32(NOISE)
    return grid, np.rint(grey).astype(np.int16)


def _grid(shape: Shape) -> Grid:
    s = np.linspace(-80.0, 80.0, 321)
    there = np.abs(s + shape.v[k.SITE]) < 0.5 * np.pi * shape.v[k.RADIUS]
    top = shape.row(k.TOP, s[there])
    low, high = top - min(_BELOW_MM, shape.v[k.BASE] + 4.0), top + _ABOVE_MM
    ends = [
        shape.patient(shape.place(s[there], w, h))
        for w in (-_BESIDE_MM, _BESIDE_MM) for h in (low, high)
    ]  # fmt: skip
    points = np.concatenate(ends)
    least, most = points.min(axis=0), points.max(axis=0)
    counts = np.ceil((most - least) / VOXEL_MM).astype(int)
    return Grid(
        first_mm=tuple(np.round(least, 3).tolist()), voxel_mm=VOXEL_MM,
        shape=tuple(int(n) for n in counts[::-1]),
    )  # fmt: skip


def _bore(grey, marrow, jaw, grid):
    """A passage as dark as the nerve, with a thin wall of bone where it crosses the marrow."""
    shape = jaw.shape
    inner, outer = (shape.patient(p)[0] for p in _foramen_line(shape, jaw.foramen_s))
    way = (outer - inner) / np.linalg.norm(outer - inner)
    first, cell = np.array(grid.first_mm), grid.voxel_mm
    ends = np.stack([inner, outer])
    low = np.floor((ends.min(axis=0) - 4.0 - first) / cell).astype(int).clip(0)
    high = np.ceil((ends.max(axis=0) + 4.0 - first) / cell).astype(int)
    box = tuple(slice(low[n], high[n]) for n in (2, 1, 0))
    kk, jj, ii = np.indices(grey[box].shape)
    points = first + cell * (np.stack([ii, jj, kk], axis=-1) + low)
    off = points - inner
    along = off @ way
    away = np.linalg.norm(off - along[..., None] * way, axis=-1)
    on = along > 0.0
    bone = grey[box] > shape.grey[k.NERVE] + 30.0
    inside = on & (away < FORAMEN_RADIUS_MM) & bone
    grey[box][inside] = shape.grey[k.NERVE]
    marrow[box][inside] = 0.0
