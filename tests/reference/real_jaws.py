"""Scans of real jaw shapes, tilted and cut to a field, with the crest or tooth row beside them.

The two outer surfaces come from public models of the jaw (their licence lies beside them); they
are not part of the project, and who uses this skips where `FOLDER` is absent. Only the outer
surface is real: the cortex of even thickness, the spongy bone, the crowns' enamel and the soft
tissue around are put on by distance from it. Where the truth comes from: the height of the
surface itself, in sections across a line that was read off its height map by eye.

``upper-like`` shapes are a lower jaw stood on its head, its rami cut away and a palate spanned
inside the arch; they are no real upper jaw, but their crest is one.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np
import pytest
import trimesh
import vtk
from scipy.ndimage import (
    distance_transform_edt,
    gaussian_filter,
    gaussian_filter1d,
    map_coordinates,
)
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation
from vtk.util import numpy_support

from core.curve import Curve
from core.image.volume import Volume

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT.parent / "shared" / "real_jaws"
NAMES = ("toothless", "toothed")
EDGE_MM = 0.5
"""Of the grid that the distance from the surface is kept on."""
TOOTH_STEPS = 14
"""Half millimetres along the row from one tooth to the next."""
REACH_MM = 12.0
"""How far from the first line, to either side, the crest is looked for."""


@dataclass(frozen=True)
class Anatomy:
    """What is read off a surface by eye, in its own frame turned to LPS."""

    file: str
    turn: tuple[float, float]
    line: tuple[tuple[float, float], ...]
    """Along the middle of crest or crowns, from the right end of the row to the left."""
    top_mm: float
    """How far below its highest place a section still belongs to crest or crown."""
    reach_mm: float
    """How far from the line, to either side, crest or crown is looked for."""
    teeth: bool


ANATOMY = {
    "toothless": Anatomy(
        file="Mandible.obj", turn=(-1.0, -1.0), top_mm=1.5, reach_mm=8.0, teeth=False,
        line=((98, -122), (103, -131), (105, -140), (108, -149), (115, -158), (123, -164),
              (130, -165.5), (137, -164), (146, -158), (152, -149), (156, -140), (158, -131),
              (162, -122)),
    ),
    "toothed": Anatomy(
        file="jaw_smooth.obj", turn=(1.0, 1.0), top_mm=2.5, reach_mm=6.5, teeth=True,
        line=((-25, -8), (-22.5, -18), (-20.5, -28), (-17.5, -38), (-12.5, -44), (-6, -46.6),
              (0, -46.8), (6, -46.6), (12.5, -44), (17.5, -38), (20.5, -28), (22.5, -18), (25, -8)),
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Shape:
    """A jaw in its own frame (LPS, upright as its maker left it).

    Parameters
    ----------
    name : str
    jaw : {'lower', 'upper'}
    depth : (K, J, I) float32
        Signed distance from the outer surface on a grid of `EDGE_MM`, mm, positive inside.
    origin : (3,)
        Patient place of voxel (0, 0, 0).
    crest : (n, 3)
        Along the middle of the crest or of the crowns, at its height, from the right to the left.
    up : (3,)
        Unit normal of the plane through the crest's or the crowns' highest places, to the head.
    teeth : bool
    """

    name: str
    jaw: Literal["lower", "upper"]
    depth: np.ndarray
    origin: np.ndarray
    crest: np.ndarray
    up: np.ndarray
    teeth: bool

    @property
    def crownwards(self) -> np.ndarray:
        return self.up if self.jaw == "lower" else -self.up

    def depth_at(self, points_mm: np.ndarray) -> np.ndarray:
        """Signed distance at places of the shape's frame; far outside it: far from the surface."""
        at = ((np.asarray(points_mm) - self.origin) / EDGE_MM)[..., ::-1]
        return map_coordinates(
            self.depth, np.moveaxis(at, -1, 0), order=1, mode="constant", cval=-60.0
        )


@dataclass(frozen=True)
class Tissue:
    """Grey values and thicknesses of a scan."""

    cortex_mm: float = 1.75
    soft_mm: float = 7.0
    enamel_mm: float = 1.2
    crown_mm: float = 7.0
    root_mm: float = 19.0
    """From the tips to where the roots end, straight under the middle of the crowns."""
    air: float = -1000.0
    soft: float = 50.0
    spongy: float = 300.0
    cortex: float = 1400.0
    dentine: float = 1700.0
    enamel: float = 2600.0
    slope: float = 1.0
    """The scanner's scale is slope times these plus `shift`: cone-beam greys are no HU."""
    shift: float = 0.0
    air_over_crest: bool = False
    """Mouth's air (or cotton) directly on the crest or crowns, instead of soft tissue."""
    metal_at: tuple[float, ...] = ()
    """Parts of the crest's length where a lump of metal sits, with streaks around."""


@dataclass(frozen=True)
class JawScan:
    """A scan and what is true in it, in patient LPS mm."""

    volume: Volume
    jaw: Literal["lower", "upper"]
    crest: np.ndarray
    """(n, 3) all of it, also what lies outside the field."""
    inside: np.ndarray = field(repr=False)
    """(n,) which of it was scanned."""
    up: np.ndarray = field(repr=False)

    @property
    def crest_inside(self) -> np.ndarray:
        """(m, 3) the longest unbroken piece of the crest that was scanned."""
        on = np.flatnonzero(self.inside)
        if not len(on):
            return np.empty((0, 3))
        pieces = np.split(on, np.flatnonzero(np.diff(on) > 1) + 1)
        return self.crest[max(pieces, key=len)]


def require() -> None:
    """Skip where the surfaces are not there."""
    if not FOLDER.is_dir():
        pytest.skip(f"the surfaces of real jaws are not here: {FOLDER.name} beside the project")


@lru_cache(maxsize=4)
def shape(name: str) -> Shape:
    """``toothless`` or ``toothed``, as they are."""
    anatomy = ANATOMY[name]
    mesh = trimesh.load(FOLDER / anatomy.file, force="mesh")
    mesh.apply_transform(np.diag([*anatomy.turn, 1.0, 1.0]))
    return shape_of(mesh, anatomy, name)


@lru_cache(maxsize=4)
def upper_like(name: str, palate_mm: float = 13.0) -> Shape:
    """The same crest looking down, without rami and with a palate inside the arch."""
    lower = shape(name)
    flip = np.array([1.0, 1.0, -1.0])
    count = np.array(lower.depth.shape[::-1])
    last = lower.origin + (count - 1) * EDGE_MM
    origin = np.array([lower.origin[0], lower.origin[1], -last[2]])
    depth = lower.depth[::-1].copy()
    crest, up = lower.crest * flip, lower.up * flip * -1.0
    at = np.stack(np.meshgrid(*(np.arange(n) * EDGE_MM for n in count), indexing="ij"), axis=-1)
    at = (at + origin).transpose(2, 1, 0, 3)
    over = (at - crest.mean(axis=0)) @ up
    behind = at[..., 1] - crest[:, 1].max()
    keep = np.minimum(np.minimum(22.0 - over, over + 3.0), 12.0 - behind)
    depth = np.minimum(depth, keep)
    # The palate ends where the bone of the arch begins, on either side of it.
    line = cKDTree(crest[:, :2])
    gap, nearest = line.query(at[0, ..., :2].reshape(-1, 2))
    middle = crest[:, :2].mean(axis=0) + np.array([0.0, 10.0])
    outward = np.linalg.norm(crest[nearest, :2] - middle, axis=1) - np.linalg.norm(
        at[0, ..., :2].reshape(-1, 2) - middle, axis=1
    )
    within = np.where(outward > 0, gap, -gap).reshape(at.shape[1:3])
    wide = np.minimum(within, crest[:, 1].max() - at[0, ..., 1])
    plate = np.minimum(1.25 - np.abs(over - palate_mm), wide[None])
    return Shape(
        name=f"upper-like {name}", jaw="upper", depth=np.maximum(depth, plate).astype(np.float32),
        origin=origin, crest=crest, up=up, teeth=lower.teeth,
    )  # fmt: skip


def shape_of(mesh: trimesh.Trimesh, anatomy: Anatomy, name: str) -> Shape:
    """A lower jaw from any closed surface, and the line along its crest read off by eye."""
    origin = mesh.bounds[0] - REACH_MM
    count = np.ceil((mesh.bounds[1] + REACH_MM - origin) / EDGE_MM).astype(int)
    solid = _stencil(mesh, origin, count)
    depth = distance_transform_edt(solid) - distance_transform_edt(~solid)
    # The stairs of the grid are taken off: real surfaces have none.
    depth = gaussian_filter((depth * EDGE_MM).astype(np.float32), 0.7)
    crest, up = _crest(depth, origin, anatomy)
    return Shape(
        name=name, jaw="lower", depth=depth, origin=origin, crest=crest, up=up, teeth=anatomy.teeth
    )


def scan(
    jaw: Shape, *, tilt_deg: float = 0.0, about: tuple[float, float, float] = (1.0, 0.0, 0.0),
    field_mm: float | None = None, at: float = 0.5,
    offset_mm: tuple[float, float, float] = (0.0, 0.0, 0.0),
    voxel_mm: float = 0.5, blur_mm: float = 0.5, noise_sd: float = 60.0, seed: int = 0,
    tissue: Tissue | None = None,
) -> JawScan:  # fmt: skip
    """Put a jaw into a scanner.

    Parameters
    ----------
    jaw : Shape
    tilt_deg, about
        The head is turned by this angle about this axis (of the plane through the crest, which
        is level without it) in the scanner.
    field_mm : float, optional
        Diameter and height of the round field; None: the whole jaw.
    at : float
        Which part of the crest's length, from the right, the field stands around.
    offset_mm : (3,)
        Of the field's middle from that place of the crest.
    voxel_mm, blur_mm, noise_sd, seed
        Blur as full width at half height.
    tissue : Tissue, optional
    """
    tissue = tissue or Tissue()
    level, _ = Rotation.align_vectors([[0.0, 0.0, 1.0]], [jaw.up])
    turn = Rotation.from_rotvec(np.radians(tilt_deg) * np.array(about) / np.linalg.norm(about))
    turn = turn * level
    pivot = jaw.crest.mean(axis=0)
    crest = turn.apply(jaw.crest - pivot)
    low, count = _frame(jaw, turn, pivot, crest, field_mm, at, offset_mm, voxel_mm)
    draw = np.random.default_rng(seed)
    grey = np.empty(count[::-1], dtype=np.float32)
    for k in range(count[2]):
        j, i = np.mgrid[0 : count[1], 0 : count[0]]
        here = low + voxel_mm * np.stack([i, j, np.full_like(i, k)], axis=-1)
        grey[k] = _grey(jaw, turn.inv().apply(here.reshape(-1, 3)) + pivot, tissue).reshape(i.shape)
    _metal(grey, crest, low, voxel_mm, tissue, draw)
    grey = gaussian_filter(grey, blur_mm / 2.355 / voxel_mm)
    grey += draw.normal(scale=noise_sd, size=grey.shape).astype(np.float32)
    grey = np.clip(grey, -1000.0, 3071.0) * tissue.slope + tissue.shift
    affine = np.diag([voxel_mm, voxel_mm, voxel_mm, 1.0])
    affine[:3, 3] = low
    seen = None
    if field_mm is not None:
        j, i = np.mgrid[0 : count[1], 0 : count[0]] * voxel_mm
        seen = (np.hypot(i - field_mm / 2, j - field_mm / 2) <= field_mm / 2).astype(np.uint8)
        grey[:, seen == 0] = grey.min()
    volume = Volume(
        voxels=np.rint(grey).astype(np.int16), mm_from_ijk=affine, field=seen,
        made_up=np.zeros(count[2], dtype=bool),
    )  # fmt: skip
    return JawScan(
        volume=volume, jaw=jaw.jaw, crest=crest, inside=volume.scanned_at(crest),
        up=turn.apply(jaw.up),
    )  # fmt: skip


def drawn_scan(
    draw: np.random.Generator, jaw: Shape, *, field_mm: float | None, to_the_ends: float, seed: int
) -> JawScan:
    """Put a jaw into a scanner in a drawn way: turned by up to 20°, its field anywhere along it.

    Parameters
    ----------
    to_the_ends : float
        This part of the crest's length, at either end, is never the field's middle.
    """
    headwards = 1 if jaw.jaw == "upper" else -1
    return scan(
        jaw, tilt_deg=draw.uniform(0, 20), about=tuple(draw.normal(size=3)),
        field_mm=field_mm, at=draw.uniform(to_the_ends, 1.0 - to_the_ends),
        voxel_mm=0.4 if field_mm is not None and field_mm < 50.0 else 0.5,
        offset_mm=(*draw.uniform(-4, 4, 2), headwards * draw.uniform(-2, 8)),
        blur_mm=draw.uniform(0.4, 0.8), noise_sd=draw.uniform(30, 120), seed=seed,
        tissue=Tissue(
            cortex_mm=draw.uniform(1.5, 2.0), air_over_crest=bool(draw.random() < 0.3),
            metal_at=(draw.uniform(0.2, 0.8),) if draw.random() < 0.25 else (),
            slope=draw.uniform(0.6, 1.3), shift=draw.uniform(-300, 400),
        ),
    )  # fmt: skip


def _frame(jaw, turn, pivot, crest, field_mm, at, offset_mm, voxel_mm):
    """Where the scan begins, and how many voxels it has along x, y and z."""
    if field_mm is None:
        inside = np.argwhere(jaw.depth[::4, ::4, ::4] > -4.0)[:, ::-1] * 4 * EDGE_MM + jaw.origin
        turned = turn.apply(inside - pivot)
        low, high = turned.min(axis=0) - 5.0, turned.max(axis=0) + 5.0
    else:
        place = crest[round(at * (len(crest) - 1))] + np.array(offset_mm)
        low, high = place - field_mm / 2, place + field_mm / 2
    return low, np.ceil((high - low) / voxel_mm).astype(int)


def _grey(jaw: Shape, places: np.ndarray, tissue: Tissue) -> np.ndarray:
    """Grey values at places of the shape's frame; edges lie within half a grid's edge."""
    depth = jaw.depth_at(places)
    grey = np.full(len(places), tissue.air)
    grey[depth > -tissue.soft_mm] = tissue.soft
    if tissue.air_over_crest:
        under = (jaw.crest.mean(axis=0) - places) @ jaw.crownwards
        grey[(depth <= 0) & (under < (6.0 if jaw.teeth else 2.0))] = tissue.air
    grey[depth > 0] = tissue.cortex
    grey[depth > tissue.cortex_mm] = tissue.spongy
    if jaw.teeth:
        near = np.flatnonzero(depth > 0)
        gap, nearest = cKDTree(jaw.crest[:, :2]).query(places[near, :2])
        under = (jaw.crest[nearest] - places[near]) @ jaw.crownwards
        crown = near[(gap < 6.5) & (under < tissue.crown_mm)]
        grey[crown] = np.where(depth[crown] < tissue.enamel_mm, tissue.enamel, tissue.dentine)
        gap, nearest = cKDTree(jaw.crest[::TOOTH_STEPS, :2]).query(places[near, :2])
        under = (jaw.crest[::TOOTH_STEPS][nearest] - places[near]) @ jaw.crownwards
        inside = (under > tissue.crown_mm) & (under < tissue.root_mm) & (depth[near] > 0.4)
        grey[near[inside & (gap < 2.9 - 0.1 * under)]] = tissue.dentine
    return grey


def _metal(grey, crest, low, voxel_mm, tissue, draw):
    """Lumps of metal as large as a crown, with bright and dark streaks in their slices."""
    k, j, i = np.indices(grey.shape, sparse=True)
    for part in tissue.metal_at:
        x, y, z = (crest[round(part * (len(crest) - 1))] - low) / voxel_mm
        reach = 4.0 / voxel_mm
        angle = np.arctan2(j - y, i - x)
        waves = sum(np.cos(n * angle + draw.uniform(0, 6.3)) for n in (3, 5, 8, 13))
        streak = 350.0 * waves * np.exp(-np.hypot(j - y, i - x) * voxel_mm / 25.0)
        grey += np.where(np.abs(k - z) < reach, streak, 0.0).astype(np.float32)
        grey[(k - z) ** 2 + (j - y) ** 2 + (i - x) ** 2 < reach**2] = 8000.0


def _crest(depth, origin, anatomy):
    """Middle of crest or crowns at its height, and the normal of the plane through its tops."""
    up = np.array([0.0, 0.0, 1.0])
    flat = np.array(anatomy.line, dtype=np.float64)
    line = np.column_stack([flat, np.full(len(flat), _level_of(depth, origin, flat))])
    for _ in range(4):
        curve = Curve.through(line - ((line - line.mean(axis=0)) @ up)[:, None] * up)
        stations = np.arange(0.0, curve.length_mm, 0.5)
        across = np.cross(curve.tangent(stations), up)
        across /= np.linalg.norm(across, axis=1, keepdims=True)
        side = np.arange(-anatomy.reach_mm, anatomy.reach_mm + 0.1, 0.25)
        feet = curve.at(stations)[:, None] + side[:, None] * across[:, None]
        rise = np.arange(-25.0, 25.0, 0.25)
        at = feet[:, :, None] + rise[:, None] * up
        inside = map_coordinates(
            depth, np.moveaxis((at - origin)[..., ::-1] / EDGE_MM, -1, 0), order=1, cval=-60.0
        )
        solid = inside > 0
        height = np.where(solid.any(axis=2), rise[-1] - 0.25 * np.argmax(solid[..., ::-1], 2), -99)
        offset, top = _middles(height, side, anatomy.top_mm)
        offset = gaussian_filter1d(offset, 4.0, mode="nearest")
        middle = curve.at(stations) + offset[:, None] * across
        tops = middle + top[:, None] * up
        even = middle + gaussian_filter1d(top, 3.0, mode="nearest")[:, None] * up
        up = _normal(tops)
        line = even[:: max(1, len(even) // 24)]
    return even, up


def _level_of(depth, origin, flat):
    """Height of the highest bone on the line, so that sections begin near it."""
    j, i = (np.rint((flat[:, axis] - origin[axis]) / EDGE_MM).astype(int) for axis in (1, 0))
    column = depth[:, j, i] > 0
    return float(np.median(np.flatnonzero(column.any(axis=1))[-12:]) * EDGE_MM + origin[2])


def _middles(height, side, top_mm):
    """Per section: middle of what lies within `top_mm` of its highest place, and that height."""
    offset, top = np.zeros(len(height)), np.zeros(len(height))
    for n, one in enumerate(height):
        peak = int(np.argmax(np.where(np.abs(side) < side[-1] - 1.0, one, -99)))
        held = one > one[peak] - top_mm
        low = peak - int(np.argmin(np.append(held[: peak + 1][::-1], False))) + 1
        high = peak + int(np.argmin(np.append(held[peak:], False))) - 1
        offset[n], top[n] = (side[low] + side[high]) / 2, one[peak]
    return offset, top


def _normal(tops):
    """Unit normal, to the head, of the plane that fits places best."""
    *_, normal = np.linalg.svd(tops - tops.mean(axis=0))
    return normal[2] * np.sign(normal[2][2])


def _stencil(mesh, origin, count):
    """Which places of a grid lie inside a closed surface."""
    surface = vtk.vtkPolyData()
    corners = vtk.vtkPoints()
    corners.SetData(numpy_support.numpy_to_vtk(np.ascontiguousarray(mesh.vertices), deep=True))
    surface.SetPoints(corners)
    faces = vtk.vtkCellArray()
    faces.SetData(3, numpy_support.numpy_to_vtkIdTypeArray(
        np.ascontiguousarray(mesh.faces, dtype=np.int64).ravel(), deep=True
    ))  # fmt: skip
    surface.SetPolys(faces)
    cut = vtk.vtkPolyDataToImageStencil()
    cut.SetInputData(surface)
    cut.SetOutputOrigin(*origin)
    cut.SetOutputSpacing(EDGE_MM, EDGE_MM, EDGE_MM)
    cut.SetOutputWholeExtent(0, count[0] - 1, 0, count[1] - 1, 0, count[2] - 1)
    image = vtk.vtkImageData()
    image.SetDimensions(*count.tolist())
    image.SetOrigin(*origin)
    image.SetSpacing(EDGE_MM, EDGE_MM, EDGE_MM)
    image.AllocateScalars(vtk.VTK_UNSIGNED_CHAR, 1)
    image.GetPointData().GetScalars().Fill(1)
    stencil = vtk.vtkImageStencil()
    stencil.SetInputData(image)
    stencil.SetStencilConnection(cut.GetOutputPort())
    stencil.SetBackgroundValue(0)
    stencil.Update()
    flat = numpy_support.vtk_to_numpy(stencil.GetOutput().GetPointData().GetScalars())
    return flat.reshape(count[::-1]).astype(bool)
