"""Remake reports/found_borders.md: lower borders found around one click, against their truth.

    python tests/studies/found_borders.py [--count 12] [--first 100000]

Whole lower jaws of `tests.reference.random_jaws.whole`. Seeds from 100000 on are held back: nothing
was set by them. Clicks are off by 0.5 mm in each direction.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from core.bone.edges import ScanEdges  # noqa: E402
from core.bone.found_border import find_border  # noqa: E402
from core.bone.plate_fit import PlateFit  # noqa: E402
from core.measurement import Note  # noqa: E402
from core.version import PROGRAM  # noqa: E402
from tests.reference.random_jaws import kernels as k  # noqa: E402
from tests.studies.found_foramina import scene  # noqa: E402

REPORT = Path(__file__).parent / "reports" / "found_borders.md"
HAND_MM, OVER_MM = 0.5, 7.0


@dataclass(frozen=True, kw_only=True)
class Row:
    """One jaw: `off_mm` of each section's lowest place, + too high."""

    seed: int
    refused: str
    off_mm: np.ndarray
    falsely: bool


def one(seed: int) -> Row:
    """The border around a click, and whether one is found inside the jaw."""
    jaw, volume, arch, levels = scene(seed)
    shape, s = jaw.shape, jaw.foramen_s
    finder = PlateFit.of(volume, arch, "lower", levels)
    scan = ScanEdges(volume=volume, levels=levels, finder=finder)
    depth = shape.v[k.BASE]
    w = shape.row(k.MIDDLE, s) + shape.v[k.TILT] * depth
    at = shape.patient(shape.place(s, w, shape.row(k.TOP, s) - depth))[0]
    up, origin = arch.level.up, arch.level.origin
    rng = np.random.default_rng([seed, 51])
    found = find_border(scan, arch, at + rng.normal(0.0, HAND_MM, 3))
    falsely = not isinstance(find_border(scan, arch, at + OVER_MM * up), Note)
    if isinstance(found, Note):
        return Row(seed=seed, refused=found.code, off_mm=np.empty(0), falsely=falsely)
    surface = shape.surface(34.0, 0.2)
    surface = surface[(surface - at) @ up < 3.0]
    stations = np.array([arch.station(p) for p in surface])
    height = (surface - origin) @ up
    off = [
        float((p - origin) @ up) - float(height[np.abs(stations - arch.station(p)) < 0.4].min())
        for p in found
    ]
    return Row(seed=seed, refused="", off_mm=np.array(off), falsely=falsely)


def report(rows: list[Row], first: int) -> str:
    """The page."""
    off = np.concatenate([row.off_mm for row in rows])
    refused = [row for row in rows if row.refused]
    lines = [
        "# Lower borders found around one click",
        "",
        (
            f"Made by `tests/studies/found_borders.py` with {PROGRAM}: {len(rows)} whole lower jaws"
            f" from seed {first} on, which nothing was set by; clicks {HAND_MM} mm off in every"
            " direction (SD). Voxels of 0.3 mm, no faults of the image. Height of each section's"
            " lowest place, a millimetre apart; + is too high."
        ),
        "",
        (
            f"Mean {off.mean():+.3f} mm, mean absolute {np.abs(off).mean():.3f}, worst"
            f" {np.abs(off).max():.2f} of {len(off)} sections. {len(refused)} of {len(rows)} are"
            f" refused. Clicks {OVER_MM:g} mm above it, in the jaw: found in"
            f" {sum(row.falsely for row in rows)} of {len(rows)}."
        ),
        *[f"- refused ({row.refused}): {row.seed}" for row in refused],
    ]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Find them all and write the report."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=12)
    parser.add_argument("--first", type=int, default=100_000)
    args = parser.parse_args()
    REPORT.write_text(
        report([one(seed) for seed in range(args.first, args.first + args.count)], args.first)
    )
    print(REPORT.read_text())


if __name__ == "__main__":
    main()
