"""Small jaws for tests: no files, about a second."""

from __future__ import annotations

from copy import deepcopy
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sample_volumes.dicom_out import Header, stored_values
from sample_volumes.lower_jaw import ARCH, GAP, LowerJaw
from sample_volumes.plans import Case, tie
from sample_volumes.report import lower_report, upper_report
from sample_volumes.shapes import Array
from sample_volumes.upper_jaw import ARCH as UPPER_ARCH
from sample_volumes.upper_jaw import GAP as UPPER_GAP
from sample_volumes.upper_jaw import UpperJaw
from sample_volumes.voxelise import Grid, Pose, simple_scan

HEADER = Header(
    name="phantom", patient_name="QUARRY^Sample", patient_id="S-0107", birth_date="19610402",
    sex="O", scan_date="20260914", scan_time="093000", description="phantom", body_part="JAW",
)  # fmt: skip


def small_jaw(
    seed: int = 1,
    *,
    voxel_mm: float = 0.4,
    blur_fwhm_mm: float = 0.5,
    noise_sd: float = 35.0,
    tilt_deg: tuple[float, float, float] = (5.0, -3.0, 4.0),
    size_mm: tuple[float, float, float] = (30.0, 34.0, 40.0),
) -> tuple[NDArray[np.int16], Array, dict[str, Any]]:
    """The lower jaw around its gap at 36, with the truth of the whole jaw.

    Parameters
    ----------
    tilt_deg : (pitch, roll, yaw)
        How the jaw lies in patient space.
    size_mm : (x, y, z)
        Box around the site.

    Returns
    -------
    voxels : (K, J, I) int16 grey values
    affine : (4, 4) from (i, j, k, 1) to LPS mm
    truth : dict
        The fields of ``lower_left_36.truth.json`` but for the wrong plan's values and
        ``bone_surface``; ``truth["plan"]`` is the right plan.
    """
    pitch, roll, yaw = tilt_deg
    pose = _pose(pitch, roll, yaw)
    middle = pose.patient(ARCH.place(GAP, -1.0, -21.5))
    grid = _grid(middle, size_mm, voxel_mm)
    jaw = LowerJaw()
    voxels = simple_scan(jaw, pose, grid, seed=seed, blur_fwhm_mm=blur_fwhm_mm, noise_sd=noise_sd)
    truth = deepcopy(_truth(pitch, roll, yaw))
    truth["scan"] |= {
        "shape": list(grid.shape), "voxel_mm": voxel_mm, "affine": grid.affine.tolist(),
    }  # fmt: skip
    truth["plan"]["scan"] = tie(HEADER, stored_values(voxels), grid)
    _mark_inside(truth["plan"], grid)
    return voxels, grid.affine, truth


def _mark_inside(plan: dict[str, Any], grid: Grid) -> None:
    """Leave out marks beyond the box, where nobody can have seen a thing to mark."""
    first = grid.affine[:3, 3]
    last = first + (np.array(grid.shape[::-1]) - 1) * grid.voxel_mm
    for structure in plan["structures"]:
        if "points" in structure:
            seen = [bool((first < p).all() and (p < last).all()) for p in structure["points"]]
            for key in ("points", "seen"):
                if key in structure:
                    structure[key] = [v for v, s in zip(structure[key], seen, strict=True) if s]
    plan["structures"] = [s for s in plan["structures"] if s.get("points", True)]


def small_upper_jaw(
    seed: int = 1,
    *,
    voxel_mm: float = 0.4,
    blur_fwhm_mm: float = 0.5,
    noise_sd: float = 35.0,
    tilt_deg: tuple[float, float, float] = (5.0, -3.0, 4.0),
    size_mm: tuple[float, float, float] = (30.0, 34.0, 40.0),
) -> tuple[NDArray[np.int16], Array, dict[str, Any]]:
    """The upper jaw around its gap at 15; everything else as in `small_jaw`."""
    pose = _pose(*tilt_deg)
    middle = pose.patient(UPPER_ARCH.place(UPPER_GAP, -1.0, 17.0))
    grid = _grid(middle, size_mm, voxel_mm)
    voxels = simple_scan(
        UpperJaw(), pose, grid, seed=seed, blur_fwhm_mm=blur_fwhm_mm, noise_sd=noise_sd
    )
    nothing = np.zeros((2, 2, 2), dtype=np.uint16)
    bare = Grid(first_mm=(0.0, 0.0, 0.0), shape=(2, 2, 2), voxel_mm=1.0)
    case = Case(header=HEADER, pose=pose, grid=bare, stored=nothing, arch=UPPER_ARCH, up=1.0)
    right, _, truth = upper_report(case, UpperJaw(), dense=False)
    truth["plan"] = right | {"scan": tie(HEADER, stored_values(voxels), grid)}
    return voxels, grid.affine, truth


def _grid(middle: Array, size_mm: tuple[float, float, float], voxel_mm: float) -> Grid:
    """The box of voxels around a place."""
    first = np.round(middle - 0.5 * np.array(size_mm), 1)
    shape = tuple(round(e / voxel_mm) for e in size_mm[::-1])
    return Grid(
        first_mm=(float(first[0]), float(first[1]), float(first[2])),
        shape=(shape[0], shape[1], shape[2]),
        voxel_mm=voxel_mm,
    )


@lru_cache(maxsize=8)
def _truth(pitch_deg: float, roll_deg: float, yaw_deg: float) -> dict[str, Any]:
    """What depends on the pose alone; several phantoms of one pose share it."""
    grid = Grid(first_mm=(0.0, 0.0, 0.0), shape=(2, 2, 2), voxel_mm=1.0)
    nothing = np.zeros(grid.shape, dtype=np.uint16)
    pose = _pose(pitch_deg, roll_deg, yaw_deg)
    case = Case(header=HEADER, pose=pose, grid=grid, stored=nothing, arch=ARCH, up=-1.0)
    right, wrong, truth = lower_report(case, LowerJaw(), dense=False)
    return truth | {"plan": right, "wrong_plan": wrong}


def _pose(pitch_deg: float, roll_deg: float, yaw_deg: float) -> Pose:
    shift = np.array([1.2, -18.0, 30.0])
    return Pose.tilted(pitch_deg=pitch_deg, roll_deg=roll_deg, yaw_deg=yaw_deg, shift=shift)
