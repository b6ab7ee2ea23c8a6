"""Oblique sections against general-purpose libraries; a part of speed.py.

A 300 x 300 oblique section of a 512³ int16 volume, with one and with five samples through the
slab, the same places for all; and the first and the second start of the kernels.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import vtk
from compared import Compared
from scipy.ndimage import map_coordinates
from vtk.util import numpy_support

from core.geometry import PictureGrid
from core.image import sampling
from core.image.volume import Volume

SIZE, EDGE_MM, PIXELS, PIXEL_MM = 512, 0.25, 300, 0.2

START = """
import time
before = time.perf_counter()
import numpy as np
from core.image import sampling_warm_up
sampling_warm_up.prepare(np.int16)
print(time.perf_counter() - before)
"""


def scan(**more):
    voxels = np.random.default_rng(1).integers(-1000, 3000, (SIZE,) * 3).astype(np.int16)
    return Volume(
        voxels=voxels,
        mm_from_ijk=np.diag([EDGE_MM, EDGE_MM, EDGE_MM, 1.0]),
        made_up=np.zeros(SIZE, bool),
        **more,
    )


def oblique():
    right = np.array([0.8, 0.5, 0.33])
    right /= np.linalg.norm(right)
    up = np.array([-0.3, 0.2, 0.9])
    up -= right * (up @ right)
    up /= np.linalg.norm(up)
    centre = np.full(3, (SIZE - 1) / 2 * EDGE_MM)
    return PictureGrid(
        origin=centre, right=right, up=up, rows=PIXELS, cols=PIXELS, pixel_mm=PIXEL_MM
    )


def shifts(slab_mm, count):
    return np.linspace(-slab_mm / 2, slab_mm / 2, count)


def by_scipy(vol, grid, slab_mm, count):
    """Coordinates are made beforehand: only the interpolation is timed."""
    middle = (PIXELS - 1) / 2
    rows, cols = np.indices((PIXELS, PIXELS))
    flat = (
        grid.origin
        + ((cols - middle) * PIXEL_MM)[..., None] * grid.right
        - ((rows - middle) * PIXEL_MM)[..., None] * grid.up
    ).reshape(-1, 3)
    layers = [
        np.ascontiguousarray(vol.ijk(flat + s * grid.toward_viewer)[:, ::-1].T)
        for s in shifts(slab_mm, count)
    ]

    def cut():
        total = np.zeros(PIXELS * PIXELS, np.float32)
        for places in layers:
            total += map_coordinates(vol.voxels, places, order=1, output=np.float32)
        return (total / count).reshape(PIXELS, PIXELS)

    return cut


def by_vtk(vol, grid, slab_mm, count):
    image = vtk.vtkImageData()
    image.SetDimensions(SIZE, SIZE, SIZE)
    image.SetSpacing(EDGE_MM, EDGE_MM, EDGE_MM)
    image.GetPointData().SetScalars(numpy_support.numpy_to_vtk(vol.voxels.ravel(), deep=False))
    reslice = vtk.vtkImageReslice()
    reslice.SetInputData(image)
    reslice.SetInterpolationModeToLinear()
    reslice.SetOutputDimensionality(2)
    reslice.SetResliceAxesDirectionCosines(*grid.right, *grid.up, *grid.toward_viewer)
    reslice.SetResliceAxesOrigin(*grid.origin)
    reslice.SetOutputExtent(0, PIXELS - 1, 0, PIXELS - 1, 0, 0)
    reslice.SetOutputSpacing(PIXEL_MM, PIXEL_MM, slab_mm / max(count - 1, 1) or 1.0)
    edge = -(PIXELS - 1) / 2 * PIXEL_MM
    reslice.SetOutputOrigin(edge, edge, 0)
    if count > 1:
        reslice.SetSlabNumberOfSlices(count)
        reslice.SetSlabModeToMean()

    def cut():
        reslice.Modified()
        reslice.Update()
        scalars = reslice.GetOutput().GetPointData().GetScalars()
        return numpy_support.vtk_to_numpy(scalars).reshape(PIXELS, PIXELS)[::-1]

    cut.image = image  # VTK only borrows the voxels
    return cut


def measured(rounds):
    """Compare the cuts, without and with a slab."""
    vol, grid = scan(), oblique()
    holed = scan(padding=(-2000, -2000), field=np.ones((SIZE, SIZE), np.uint8))
    for slab_mm in (0.0, 0.5):
        count = sampling.slab_samples(vol, slab_mm)
        cuts = {
            "here": lambda s=slab_mm: sampling.picture(vol, grid, slab_mm=s),
            "holed": lambda s=slab_mm: sampling.picture(holed, grid, slab_mm=s),
            "vtk": by_vtk(vol, grid, slab_mm, count),
            "scipy": by_scipy(vol, grid, slab_mm, count),
        }
        pictures = {name: cut() for name, cut in cuts.items()}
        # VTK rounds to whole grey values; the places must be the same all the same.
        for name, allowed in (("holed", 0.01), ("vtk", 1.0), ("scipy", 0.01)):
            if np.abs(pictures[name] - pictures["here"]).max() > allowed:
                raise SystemExit(f"{name} cut another section")
        times = {name: [] for name in cuts}
        for _ in range(rounds):
            for name, cut in cuts.items():
                before = time.perf_counter()
                cut()
                times[name].append(time.perf_counter() - before)
        what = f"section, {count} sample{'s' * (count > 1)}"
        holes = f"{what}, padding and round field"
        for name, other, target in (("vtk", "VTK", 0.75), ("scipy", "SciPy", 0.25)):
            for label, ours, wanted in ((what, "here", target), (holes, "holed", 0.0)):
                yield Compared(
                    what=label, other=other, ours=times[ours], theirs=times[name], target=wanted
                )


def second_starts(rounds):
    """Seconds from nothing imported to compiled kernels at hand, the first start left out."""
    root = Path(__file__).parents[2]
    starts = [
        float(subprocess.check_output([sys.executable, "-c", START], cwd=root, text=True))
        for _ in range(rounds + 1)
    ]
    return starts[1:]


FIRST = """
import resource
from app.window import first_compile
from types import SimpleNamespace
first_compile.compile_all(SimpleNamespace(value=0))
print(sum(resource.getrusage(resource.RUSAGE_SELF)[:2]))
"""


def first_uses(rounds):
    """Seconds of processor time of the process that compiles what was never compiled here."""
    root = Path(__file__).parents[2]
    spent = []
    for _ in range(rounds):
        with tempfile.TemporaryDirectory() as cache:
            environment = {**os.environ, "NUMBA_CACHE_DIR": cache, "PYTHONPATH": str(root)}
            told = subprocess.check_output(
                [sys.executable, "-c", FIRST], cwd=root, env=environment, text=True
            )
            spent.append(float(told))
    return spent
