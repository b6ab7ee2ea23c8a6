"""A random jaw before a cone-beam scanner: projections with physics, then reconstruction.

The scanner is that of `sample_volumes.cone_beam` and needs its toolkit (``pip install itk-rtk``);
what it makes is kept in a file, and read without the toolkit.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from core.image.volume import Volume
from sample_volumes.cone_beam import Scanner, scan
from sample_volumes.voxelise import Grid, Pose
from tests.reference.random_jaws import kernels as k
from tests.reference.random_jaws.case import Case, with_volume
from tests.reference.random_jaws.draw import Choices, choices
from tests.reference.random_jaws.shape import Shape, shape_of

FIELD_MM, HEIGHT_MM = 38.0, 30.0
_BESIDE_MM = 14.0
_MARROW = {"usual": "spongy", "sparse": "spongy", "fatty": "soft", "sclerotic": "lamina"}


def physical(seed: int) -> Choices:
    """The conditions of a seed as far as a scanner leaves them free."""
    rng = np.random.default_rng([seed, 5])
    return replace(
        choices(seed), filter="none", scale="usual", fault="none",
        voxel=float(rng.choice([0.25, 0.3, 0.4])),
    )  # fmt: skip


def make(seed: int, path: Path, *, gain_sd: float = 0.0) -> None:
    """Scan a jaw and keep the scan; `gain_sd` of the detector's cells makes rings."""
    c = physical(seed)
    rng = np.random.default_rng([seed, 6])
    shape = shape_of(c)
    scanner = Scanner(
        projections=180, pixel=0.36, width=52.0, height=36.0,
        quanta=float(3.0e4 * 4.0 ** rng.uniform(0.0, 1.0)),
        scatter_share=float(rng.uniform(0.05, 0.2)), blur=float(rng.uniform(0.12, 0.24)),
        hann_cut=float(rng.uniform(0.65, 1.0)), gain_sd=gain_sd,
    )  # fmt: skip
    grid = _grid(shape, c)
    pose = Pose(rotation=shape.turn, shift=shape.shift)
    grey = scan(_Tissues(shape, c), pose, grid, scanner, seed=seed, fine_mm=0.3)
    np.savez(path, grey=grey, affine=grid.affine)


def case(seed: int, path: Path) -> Case:
    """The case of a kept scan."""
    c = physical(seed)
    with np.load(path) as kept:
        grey, affine = kept["grey"], kept["affine"]
    rows, cols = np.indices(grey.shape[1:])
    middle = [(n - 1) / 2 for n in grey.shape[1:]]
    field = np.hypot(rows - middle[0], cols - middle[1]) < 0.5 * grey.shape[1] - 1.5
    volume = Volume(
        voxels=grey,
        mm_from_ijk=affine,
        made_up=np.zeros(len(grey), bool),
        field=field.astype(np.uint8),
    )
    return with_volume(c, volume)


def _grid(shape: Shape, c: Choices) -> Grid:
    # As in the drawn scans, 9 mm over the crest are seen; the site is off the middle.
    rng = np.random.default_rng([c.seed, 7])
    height = shape.row(k.TOP, 0.0) + 9.0 - 0.5 * HEIGHT_MM
    middle = shape.patient(shape.place(rng.uniform(-3.0, 3.0), rng.uniform(-3.0, 1.0), height))[0]
    wide, high = round(FIELD_MM / c.voxel), round(HEIGHT_MM / c.voxel)
    first = middle - 0.5 * c.voxel * (np.array([wide, wide, high]) - 1)
    return Grid(first_mm=tuple(first), shape=(high, wide, wide), voxel_mm=c.voxel)


class _Tissues:
    """A jaw as the scanner's painter takes it: tissues in order, by distance in the jaw frame."""

    def __init__(self, shape: Shape, c: Choices) -> None:
        self.shape, self.marrow = shape, _MARROW[c.marrow]

    def tissues(self, points: np.ndarray) -> Iterator[tuple[str, np.ndarray, np.ndarray]]:
        """In painting order."""
        shape, v = self.shape, self.shape.v
        place = k.places(v, points)
        beside = np.abs(place[:, 1]) - _BESIDE_MM
        near = np.flatnonzero(beside < 3.0)
        points, place = np.ascontiguousarray(points[near]), place[near]

        def off(which, grow=0.0):
            return k.distances(*shape.tables, points, which, grow)

        yield "soft", near, np.maximum(place[:, 2] - v[k.AIR_DOWN_TO], beside[near])
        if v[k.GUM] > 0:
            yield "soft", near, off(0, v[k.GUM])
        bone = off(0)
        yield "cortex", near, bone
        inner = off(1)
        if v[k.CAVITY] < k.FAR:
            inner = np.maximum(inner, -off(3))
        yield self.marrow, near, np.maximum(inner, bone)
        if v[k.CANAL] > 0:
            line = np.array([k.canal_off(v, shape.by_s, *p) for p in points])
            yield "wall", near, np.maximum(line - v[k.CANAL], bone)
            yield "nerve", near, np.maximum(line - v[k.CANAL] + v[k.CANAL_WALL], bone)
        if v[k.CAVITY] < k.FAR:
            yield "soft", near, np.maximum(off(2), bone)
            yield "air", near, np.maximum(off(2, v[k.LINING]), bone)
        for tooth in shape.teeth:
            yield from _tooth(tooth, points, near, place[:, 2], bone)


def _tooth(tooth, points, near, h, bone):
    away = np.hypot(points[:, 0] - tooth[k.T_X], points[:, 1] - tooth[k.T_Y])
    close = np.flatnonzero(away < 8.0)
    off = np.array(
        [k.tooth_off(tooth, points[i, 0], points[i, 1], h[i]) for i in close], dtype=float
    )
    if not len(close):
        return
    at, h = near[close], h[close]
    yield "ligament", at, np.maximum(off - 0.2, bone[close])
    yield "dentine", at, off
    yield "enamel", at, np.maximum(np.maximum(off, tooth[k.T_NECK] + 1.5 - h), -off - 1.0)
