"""A cone-beam scan of an analytic jaw: projections with physics, then reconstruction.

Only this module needs the reconstruction toolkit (``pip install itk-rtk``), and only to write
the committed scans again; see README.md. Projector: Joseph's method; reconstruction: Feldkamp,
Davis and Kress 1984 (J Opt Soc Am A 1:612), both of the toolkit.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from sample_volumes.shapes import Array, Tissue
from sample_volumes.voxelise import Grid, Jaw, Pose, paint, texture

Image = NDArray[np.float32]

# Densities in g/cm3 of three basis materials: water, cortical bone, metal. Invented mixtures.
WATER = {
    "air": 0.0, "soft": 1.04, "acrylic": 1.10, "filling": 1.0, "cortex": 0.15, "spongy": 0.95,
    "wall": 0.75, "nerve": 1.03, "lamina": 0.55, "ligament": 1.05, "dentine": 0.35, "pulp": 1.02,
    "enamel": 0.1, "metal": 0.0,
}  # fmt: skip
BONE = {
    "air": 0.0, "soft": 0.0, "acrylic": 0.0, "filling": 1.75, "cortex": 1.60, "spongy": 0.26,
    "wall": 0.70, "nerve": 0.0, "lamina": 1.0, "ligament": 0.02, "dentine": 1.45, "pulp": 0.0,
    "enamel": 2.45, "metal": 0.0,
}  # fmt: skip
METAL = {tissue: 8.0 if tissue == "metal" else 0.0 for tissue in WATER}
SPONGY = {tissue: float(tissue == "spongy") for tissue in WATER}

# keV, share of the detected signal, and mass attenuation in cm2/g of water, cortical bone and
# iron (in place of a dental alloy): values of the NIST tables, from memory, good to about 2 %.
SPECTRUM = (
    (30, 0.08, 0.376, 1.331, 8.18),
    (40, 0.25, 0.268, 0.666, 3.63),
    (50, 0.28, 0.227, 0.424, 1.96),
    (60, 0.24, 0.206, 0.315, 1.21),
    (80, 0.15, 0.184, 0.223, 0.60),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scanner:
    """Sizes in mm; pixels as seen at the axis of rotation.

    ``gain_sd``: by how much cells of the detector answer otherwise than others, as a share: rings.
    """

    source_to_axis: float = 420.0
    source_to_detector: float = 650.0
    projections: int = 300
    pixel: float = 0.28
    width: float = 88.0
    height: float = 58.0
    quanta: float = 6.0e4
    scatter_share: float = 0.12
    blur: float = 0.16
    hann_cut: float = 0.9
    gain_sd: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Surroundings:
    """The jaw and, around it, the rest of a head that the beam also crosses."""

    jaw: Jaw

    def tissues(self, points: Array) -> Iterator[Tissue]:
        """The head first, then the jaw over it."""
        x, y = points[:, 0], points[:, 1]
        everywhere = np.arange(len(points))
        head = (np.hypot(x / 72.0, (y - 68.0) / 92.0) - 1.0) * 72.0
        mouth = np.maximum(np.hypot(x / 46.0, (y - 24.0) / 46.0) - 1.0, -1.0) * 46.0
        yield "soft", everywhere, np.maximum(head, -mouth)
        yield from self.jaw.tissues(points)
        yield "cortex", everywhere, np.hypot(x, y - 96.0) - 16.0
        yield "spongy", everywhere, np.hypot(x, y - 96.0) - 14.0
        yield "air", everywhere, np.hypot(x / 1.5, y - 72.0) - 8.0


def _toolkits() -> tuple[Any, Any]:
    """The imaging toolkit and its reconstruction part, which only this generator needs."""
    itk = import_module("itk")
    return itk, itk.RTK


def _image(volume: Image, grid: Grid, centre: Array) -> Any:
    """The toolkit's image; its rotation axis is y, so patient z becomes its y."""
    itk, _ = _toolkits()
    image = itk.image_from_array(np.ascontiguousarray(volume.transpose(1, 0, 2)))
    x, y, z = np.array(grid.first_mm) - centre
    image.SetOrigin([float(x), float(z), float(y)])
    image.SetSpacing([grid.voxel_mm] * 3)
    return image


def _geometry(scanner: Scanner) -> Any:
    _, RTK = _toolkits()
    geometry = RTK.ThreeDCircularProjectionGeometry.New()
    for angle in np.arange(scanner.projections) * 360.0 / scanner.projections:
        geometry.AddProjection(scanner.source_to_axis, scanner.source_to_detector, float(angle))
    return geometry


def _stack(scanner: Scanner) -> Any:
    """Empty projections on the detector."""
    itk, RTK = _toolkits()
    zoom = scanner.source_to_detector / scanner.source_to_axis
    cols, rows = round(scanner.width / scanner.pixel), round(scanner.height / scanner.pixel)
    step = scanner.pixel * zoom
    source = RTK.ConstantImageSource[itk.Image[itk.F, 3]].New()
    source.SetSize([cols, rows, scanner.projections])
    source.SetSpacing([step, step, 1.0])
    source.SetOrigin([-0.5 * (cols - 1) * step, -0.5 * (rows - 1) * step, 0.0])
    source.SetConstant(0.0)
    source.Update()
    return source.GetOutput()


def line_integrals(volume: Image, grid: Grid, centre: Array, scanner: Scanner) -> Image:
    """(projections, rows, columns) integrals along the rays, in the volume's unit x mm."""
    itk, RTK = _toolkits()
    if not volume.any():
        return np.zeros_like(itk.array_from_image(_stack(scanner)), dtype=np.float32)
    volume, grid = _cropped(volume, grid)
    kind = itk.Image[itk.F, 3]
    project = RTK.JosephForwardProjectionImageFilter[kind, kind].New()
    project.SetGeometry(_geometry(scanner))
    project.SetInput(0, _stack(scanner))
    project.SetInput(1, _image(volume, grid, centre))
    project.Update()
    return np.asarray(itk.array_from_image(project.GetOutput()), dtype=np.float32)


def _cropped(volume: Image, grid: Grid) -> tuple[Image, Grid]:
    """The part that is not empty, with one empty voxel around it where there is one."""
    low, high = [], []
    for axis in range(3):
        used = np.flatnonzero(volume.any(axis=tuple(a for a in range(3) if a != axis)))
        low.append(max(int(used[0]) - 1, 0))
        high.append(min(int(used[-1]) + 2, volume.shape[axis]))
    part = volume[low[0] : high[0], low[1] : high[1], low[2] : high[2]]
    first = np.array(grid.first_mm) + grid.voxel_mm * np.array(low[::-1])
    return part, Grid(first_mm=tuple(first), shape=part.shape, voxel_mm=grid.voxel_mm)


def detected(water: Image, bone: Image, metal: Image, scanner: Scanner, *, seed: int) -> Image:
    """(projections, rows, columns) attenuation as measured: several energies, scatter, quanta.

    Inputs are integrals of density in g/cm3 x mm. The result is what a soft-tissue
    (water) correction makes of the logarithm, in 1/mm.
    """
    signal = np.zeros_like(water)
    for _, share, mu_water, mu_bone, mu_metal in SPECTRUM:
        signal += share * np.exp(-0.1 * (mu_water * water + mu_bone * bone + mu_metal * metal))
    pixels = (0, scanner.blur / scanner.pixel, scanner.blur / scanner.pixel)
    signal = gaussian_filter(signal, pixels)
    rng = np.random.default_rng(seed)
    for i, view in enumerate(signal):
        scatter = gaussian_filter(view, 12.0 / scanner.pixel, mode="nearest", truncate=2.0)
        mean = (view + scanner.scatter_share * scatter) * scanner.quanta
        signal[i] = rng.poisson(mean) / scanner.quanta
    if scanner.gain_sd:
        gains = np.random.default_rng([seed, 1]).normal(1.0, scanner.gain_sd, signal.shape[1:])
        signal *= gains.astype(np.float32)
    # Most of the scatter is taken off again, as scanners do, by a share of the mean signal.
    signal -= 0.6 * scanner.scatter_share * signal.mean(axis=(1, 2), keepdims=True)
    thickness = np.linspace(0.0, 400.0, 4001)
    clear = sum(s * np.exp(-0.1 * w * thickness) for _, s, w, _, _ in SPECTRUM)
    attenuation = -np.log(np.maximum(signal, 2.0 / scanner.quanta))
    return np.asarray(0.0206 * np.interp(attenuation, -np.log(clear), thickness), np.float32)


def reconstruct(projections: Image, grid: Grid, centre: Array, scanner: Scanner) -> Image:
    """(K, J, I) attenuation in 1/mm on a grid."""
    itk, RTK = _toolkits()
    stack = itk.image_from_array(projections)
    stack.CopyInformation(_stack(scanner))
    kind = itk.Image[itk.F, 3]
    feldkamp = RTK.FDKConeBeamReconstructionFilter[kind].New()
    feldkamp.SetGeometry(_geometry(scanner))
    feldkamp.SetInput(0, _image(np.zeros(grid.shape, np.float32), grid, centre))
    feldkamp.SetInput(1, stack)
    feldkamp.GetRampFilter().SetTruncationCorrection(0.6)
    feldkamp.GetRampFilter().SetHannCutFrequency(scanner.hann_cut)
    feldkamp.Update()
    return np.asarray(itk.array_from_image(feldkamp.GetOutput()).transpose(1, 0, 2))


def scan(
    jaw: Jaw, pose: Pose, grid: Grid, scanner: Scanner, *, seed: int, fine_mm: float = 0.25
) -> NDArray[np.int16]:
    """(K, J, I) grey values of a simulated cone-beam scan, constant outside the round field.

    Grey values are scaled so that air is about -1000 and soft tissue about 50: two places of a
    scan, as in practice; they are no Hounsfield units.
    """
    size = np.array(grid.shape[::-1]) * grid.voxel_mm
    centre = np.array(grid.first_mm) + 0.5 * (size - grid.voxel_mm)
    coarse_mm = 8 * fine_mm
    box = np.ceil((size + np.array([4.0, 4.0, 10.0])) / coarse_mm) * coarse_mm
    fine = _centred(centre, box, fine_mm)
    water, bone, metal, spongy = paint(jaw, pose, fine, WATER, BONE, METAL, SPONGY)
    bone += 0.11 * spongy * texture(fine, seed=seed, grain_mm=0.8)
    np.maximum(bone, 0.0, out=bone)
    parts = [line_integrals(v, fine, centre, scanner) for v in (water, bone, metal)]
    around = np.ceil(np.array([70.0, 110.0, 6.0]) / coarse_mm) * coarse_mm
    rough = _centred(centre, box + 2 * around, coarse_mm)
    outside = paint(_Surroundings(jaw=jaw), pose, rough, WATER, BONE, METAL)
    low = np.rint(around[::-1] / coarse_mm).astype(int)
    high = low + np.rint(box[::-1] / coarse_mm).astype(int)
    outside[:, low[0] : high[0], low[1] : high[1], low[2] : high[2]] = 0.0
    for i, volume in enumerate(outside):
        if volume.any():
            parts[i] += line_integrals(volume, rough, centre, scanner)
    water, bone, metal = parts
    mu = reconstruct(detected(water, bone, metal, scanner, seed=seed + 1), grid, centre, scanner)
    return _grey(mu, jaw, pose, grid)


def _centred(centre: Array, size: Array, voxel_mm: float) -> Grid:
    shape = np.rint(size[::-1] / voxel_mm).astype(int)
    first = centre - 0.5 * (size - voxel_mm)
    return Grid(first_mm=tuple(first), shape=tuple(shape), voxel_mm=voxel_mm)


def _grey(mu: Image, jaw: Jaw, pose: Pose, grid: Grid) -> NDArray[np.int16]:
    """Grey values from attenuation by the air and soft tissue of the middle slices."""
    middle = grid.shape[0] // 2
    x, y, z = grid.first_mm
    part = Grid(
        first_mm=(x, y, z + middle * grid.voxel_mm), shape=(24, *grid.shape[1:]),
        voxel_mm=grid.voxel_mm,
    )  # fmt: skip
    is_soft = {tissue: float(tissue == "soft") for tissue in WATER}
    is_air = {tissue: float(tissue == "air") for tissue in WATER}
    soft, air = paint(jaw, pose, part, is_soft, is_air)
    rows, cols = np.indices(grid.shape[1:])
    radius = np.hypot(rows - (grid.shape[1] - 1) / 2, cols - (grid.shape[2] - 1) / 2)
    inside = radius < 0.5 * grid.shape[1] - 0.5
    values = mu[middle : middle + 24]
    where = np.broadcast_to(inside, values.shape)
    low = float(np.median(values[where & (air > 0.999)]))
    high = float(np.median(values[where & (soft > 0.999)]))
    grey = np.clip(np.rint((mu - low) / (high - low) * 1050.0 - 1000.0), -1200, 2895)
    grey[:, ~inside] = -1200
    return grey.astype(np.int16)
