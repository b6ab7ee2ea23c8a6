"""Noisy scans of jaws whose edges are known: whether truth lies in the stated doubt of an edge.

Two kinds. *Drawn*: a jaw painted into voxels; how it lies there, voxel size, blur and noise are
drawn anew. *Reconstructed*: the sample scans, projected and reconstructed with scatter, several
energies, quanta and metal, each with further drawn noise. A place on the arch is drawn in each.
The scale of all of them is exact, and no mark of a hand enters what is looked at: so the edges'
own standard error is all that stands between value and truth.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from scipy.ndimage import gaussian_filter

import sample_volumes
from core import load_plan, open_scan
from core.image.volume import Volume
from core.measuring.basis import Basis, RowMaker
from core.measuring.rows_bone import site_bone_rows
from core.plans.plan import Plan, Site
from core.plans.plan_parse import parse
from core.trust.uncertainty import Scale
from sample_volumes import small_jaw, truth
from sample_volumes.lower_jaw import LowerJaw
from sample_volumes.make_samples import LOWER_POSE, UPPER_POSE
from sample_volumes.phantom import _pose
from sample_volumes.upper_jaw import UpperJaw

EXACT = Scale(relative_u=0.0, source="exact")
SAMPLES = {
    "lower_left_36": (LowerJaw(metal_crown="33"), LOWER_POSE),
    "upper_right_15": (UpperJaw(metal_crown="12"), UPPER_POSE),
}
ALONG_MM = 4.0
"""How far from the middle of the gap a place is drawn: roots stand further off."""


@dataclass(frozen=True)
class Edge:
    """One value that rests on edges alone."""

    scan: int
    kind: str
    depth_mm: float
    value_mm: float
    true_mm: float
    u_mm: float
    """By the edges alone."""

    @property
    def off_mm(self) -> float:
        return self.value_mm - self.true_mm

    @property
    def covered(self) -> bool:
        return abs(self.off_mm) <= 2 * self.u_mm


def drawn(number: int) -> list[Edge]:
    """Widths and cortical plates at a drawn place of a drawn scan."""
    draw = np.random.default_rng([2026, number])
    tilt = tuple(float(v) for v in draw.uniform(-6.0, 6.0, 3))
    voxels, affine, known = small_jaw(
        int(draw.integers(2**31)), voxel_mm=float(draw.choice([0.25, 0.3, 0.35, 0.4])),
        blur_fwhm_mm=float(draw.uniform(0.4, 0.65)), noise_sd=float(draw.uniform(20.0, 60.0)),
        tilt_deg=tilt, size_mm=(30.0, 34.0, 36.0),
    )  # fmt: skip
    volume = Volume(voxels=voxels, mm_from_ijk=affine, made_up=np.zeros(len(voxels), bool))
    plan = parse({k: v for k, v in known["plan"].items() if k != "scan"})
    surfaces = truth.in_patient(LowerJaw(), _pose(*tilt))
    return list(_edges(number, plan, volume, surfaces, draw))


def reconstructed(number: int) -> list[Edge]:
    """Widths and cortical plates at a drawn place of a sample scan with further noise."""
    draw = np.random.default_rng([36, number])
    name = list(SAMPLES)[number % len(SAMPLES)]
    jaw, pose = SAMPLES[name]
    plan, volume = _sample(name)
    # As long as a voxel and a half, as noise is that went through a reconstruction filter.
    noise = gaussian_filter(draw.normal(size=volume.voxels.shape).astype(np.float32), 0.6)
    noise *= float(draw.uniform(10.0, 50.0)) / float(noise.std())
    voxels = np.clip(volume.voxels + np.rint(noise), 0, 65535).astype(volume.voxels.dtype)
    return list(
        _edges(number, plan, replace(volume, voxels=voxels), truth.in_patient(jaw, pose), draw)
    )


@lru_cache(maxsize=2)
def _sample(name: str) -> tuple[Plan, Volume]:
    # Tied to no scan: the noise makes others of it.
    plan = replace(load_plan(sample_volumes.path(f"{name}.plan.json")), scan=None)
    return plan, open_scan(sample_volumes.path(name))


def _edges(
    number: int, plan: Plan, volume: Volume, surfaces: Any, draw: np.random.Generator
) -> Iterator[Edge]:
    basis = Basis.of(plan, volume)
    station = plan.sites[0].station_mm + float(draw.uniform(-ALONG_MM, ALONG_MM))
    site = Site(id="here", tooth=plan.sites[0].tooth, station_mm=station)
    plan = replace(plan, fixtures=(), sites=(site,))
    maker = RowMaker(
        plan=plan,
        volume=volume,
        subject="here",
        is_fixture=False,
        tooth=None,
        hindrances=(),
        scale=EXACT,
    )
    rows = {m.id: m for m in site_bone_rows(plan, basis, site, maker)}
    frame = basis.arch.frame(station)
    down = -frame.up if basis.jaw == "lower" else frame.up
    crest, _ = truth.crest_depth(surfaces.outer, frame.origin, frame.buccal, down, 6.0)
    exact = truth.widths(surfaces.outer, frame.origin, frame.buccal, down, crest)["rows"]
    for width in exact:
        depth = width["at_depth_mm"]
        ends = [np.array(end) for end in width["ends"]]
        trues = {f"here/ridge_width/up/{depth:g}": ("width", width["value_mm"])}
        for side, end, inward in zip(
            ("lingual", "buccal"), ends, (frame.buccal, -frame.buccal), strict=True
        ):
            plate = truth.plate(surfaces, end, inward)
            trues[f"here/plate_thickness/{side}/{depth:g}"] = ("cortex", plate)
        for row_id, (kind, true) in trues.items():
            row = rows.get(row_id)
            if row is not None and row.value is not None:
                u = math.hypot(*row.reading.edge_sd_mm)
                yield Edge(number, kind, depth, row.value, true, u)
