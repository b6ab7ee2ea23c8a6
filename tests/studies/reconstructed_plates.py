"""Reconstructed cone-beam scans of plates of known thickness, for `plate_accuracy`.

Run by an interpreter that has the toolkit (``pip install itk-rtk scipy``)::

    python tests/studies/reconstructed_plates.py OUT.npz

Projection (Joseph) and reconstruction (Feldkamp) are the toolkit's; several energies, scatter,
quanta and the blur of focal spot and detector come from `sample_volumes.cone_beam`. Each scan is
a small field with the four bones of `plate_cases`.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from scipy.ndimage import gaussian_filter

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).parent)]

from plate_cases import CASES, Body, Case  # noqa: E402

from sample_volumes.cone_beam import (  # noqa: E402
    BONE,
    METAL,
    SPONGY,
    WATER,
    Scanner,
    detected,
    line_integrals,
    reconstruct,
)
from sample_volumes.voxelise import Grid, Pose, paint, texture  # noqa: E402

FINE_MM = 0.25


class Plates:
    """Soft tissue with bones in it."""

    def __init__(self, bodies: list[Body]) -> None:
        self.bodies = bodies

    def tissues(self, p) -> Iterator[tuple]:
        """In painting order."""
        all_of_it = np.arange(len(p))
        yield "soft", all_of_it, np.maximum(np.hypot(p[:, 0], p[:, 1]) - 32.0, -1e3)
        for body in self.bodies:
            d = body.distance(p)
            yield "cortex", all_of_it, d
            yield "spongy", all_of_it, d + body.thickness(p)


def scan(case: Case):
    """(voxels, affine) of one scan, grey values scaled by air and soft tissue."""
    voxel, seed = case.voxel, case.seed
    n = round(52.0 / voxel)
    rows = round(24.0 / voxel)
    first = (-0.5 * (n - 1) * voxel, -0.5 * (n - 1) * voxel, -0.5 * (rows - 1) * voxel)
    grid = Grid(first_mm=first, shape=(rows, n, n), voxel_mm=voxel)
    size = np.array([68.0, 68.0, 30.0])
    shape = np.rint(size[::-1] / FINE_MM).astype(int)
    fine = Grid(
        first_mm=tuple(-0.5 * (size - FINE_MM)),
        shape=tuple(int(x) for x in shape),
        voxel_mm=FINE_MM,
    )
    scanner = Scanner(
        width=74.0,
        height=34.0,
        projections=200,
        hann_cut=case.hann,
        scatter_share=case.scatter,
    )
    jaw, pose, centre = (
        Plates(case.bodies),
        Pose(rotation=np.eye(3), shift=np.zeros(3)),
        np.zeros(3),
    )
    water, bone, _, spongy = paint(jaw, pose, fine, WATER, BONE, METAL, SPONGY)
    if not case.one_energy:
        bone += 0.11 * spongy * texture(fine, seed=seed, grain_mm=0.8)
    parts = [line_integrals(v, fine, centre, scanner) for v in (water, np.maximum(bone, 0))]
    parts.append(np.zeros_like(parts[0]))
    if case.one_energy:
        seen = _one_energy(parts[0], parts[1], scanner)
    else:
        seen = detected(*parts, scanner, seed=seed + 1)
    mu = reconstruct(seen, grid, centre, scanner)
    soft = float(np.median(mu[rows // 2, n // 2 - 8 : n // 2 + 8, n // 2 - 8 : n // 2 + 8]))
    grey = np.clip(np.rint(1000.0 * mu / soft - 1000.0), -1200, 6000).astype(np.int16)
    return grey, grid.affine


def _one_energy(water, bone, scanner):
    """Attenuation in 1/mm by a beam of one energy: blur of spot and detector, nothing else."""
    signal = np.exp(-0.1 * (0.22 * water + 0.40 * bone))
    pixels = (0, scanner.blur / scanner.pixel, scanner.blur / scanner.pixel)
    return (-np.log(gaussian_filter(signal, pixels)) * 0.0206 / 0.022).astype(np.float32)


if __name__ == "__main__":
    out: dict[str, object] = {}
    for case in CASES:
        grey, affine = scan(case)
        out |= {f"grey{case.key}": grey, f"affine{case.key}": affine}
        print(case, flush=True)
    np.savez_compressed(sys.argv[1], **out)
