"""Remake reports/found_foramina.md: foramina found around one click, against their truth.

    python tests/studies/found_foramina.py [--count 20] [--first 100000]

Whole lower jaws of `tests.reference.random_jaws.whole`, each with one mental foramen of 3 mm. Seeds
from 100000 on are held back: nothing was set by them. Clicks are off by 0.5 mm in each direction.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from core.arch import Arch  # noqa: E402
from core.bone.bone_levels import BoneLevels  # noqa: E402
from core.bone.found_foramen import FoundForamen, find_foramen  # noqa: E402
from core.bone.level_learning import bone_levels  # noqa: E402
from core.image.volume import Volume  # noqa: E402
from core.level import Level  # noqa: E402
from core.version import PROGRAM  # noqa: E402
from tests.reference.random_jaws import kernels as k  # noqa: E402
from tests.reference.random_jaws.whole import WholeJaw, painted, whole_jaw  # noqa: E402

REPORT = Path(__file__).parent / "reports" / "found_foramina.md"
HAND_MM = 0.5
FALSE_AT_MM = (-6.0, 6.0)


def scene(seed: int) -> tuple[WholeJaw, Volume, Arch, BoneLevels]:
    """A jaw, its scan, an arch along its ridge, and the scan's levels."""
    jaw = whole_jaw(seed, "46")
    volume = painted(jaw, seed)
    shape = jaw.shape
    s = np.linspace(jaw.foramen_s - 16.0, jaw.foramen_s + 16.0, 7)
    marks = shape.patient(shape.place(s, shape.row(k.MIDDLE, s), 0.0))
    up = shape.turn @ np.array([0.0, 0.0, 1.0])
    arch = Arch.trace(marks, level=Level(origin=marks[3], up=up))
    return jaw, volume, arch, bone_levels(volume, arch)


def one(seed: int) -> dict[str, object]:
    """What is found at the foramen, and where none is."""
    jaw, volume, arch, levels = scene(seed)
    rng = np.random.default_rng([seed, 41])
    middle = jaw.foramen_mm.mean(axis=0)
    begun = time.monotonic()
    found = find_foramen(volume, levels, arch, middle + rng.normal(0.0, HAND_MM, 3))
    row: dict[str, object] = {"seed": seed, "seconds": time.monotonic() - begun}
    way = jaw.foramen_mm[1] - jaw.foramen_mm[0]
    way = way / np.linalg.norm(way)
    falsely = 0
    for off in FALSE_AT_MM:
        falsely += isinstance(find_foramen(volume, levels, arch, middle + off * way), FoundForamen)
    row["falsely"] = falsely
    if isinstance(found, FoundForamen):
        ends = sorted(found.edges_mm, key=lambda p: float(p @ way))
        row["edges"] = [float((p - t) @ way) for p, t in zip(ends, jaw.foramen_mm, strict=True)]
        row["off"] = [
            float(np.linalg.norm(p - t)) for p, t in zip(ends, jaw.foramen_mm, strict=True)
        ]
        row["width"] = found.width_mm - float(np.linalg.norm(jaw.foramen_mm[1] - jaw.foramen_mm[0]))
    else:
        row["refused"] = found.code
    return row


def report(rows: list[dict[str, object]], first: int) -> str:
    """The page."""
    found = [row for row in rows if "refused" not in row]
    edges = np.abs(np.array([row["edges"] for row in found], dtype=float)).ravel()
    off = np.array([row["off"] for row in found], dtype=float).ravel()
    width = np.array([row["width"] for row in found], dtype=float)
    seconds = np.array([row["seconds"] for row in rows], dtype=float)
    falsely = sum(int(str(row["falsely"])) for row in rows)
    lines = [
        "# Foramina found around one click",
        "",
        (
            f"Made by `tests/studies/found_foramina.py` with {PROGRAM}: {len(rows)} whole lower"
            f" jaws from seed {first} on, which nothing was set by; clicks {HAND_MM} mm off in"
            " every direction (SD). Each has one foramen of 3 mm that rises outwards; voxels of"
            " 0.3 mm, no faults of the image."
        ),
        "",
        "| what, mm | mean | mean absolute | worst |",
        "|-|-|-|-|",
        f"| edge along the jaw | | {edges.mean():.2f} | {edges.max():.2f} |",
        f"| edge in space | | {off.mean():.2f} | {off.max():.2f} |",
        (
            f"| width | {width.mean():+.2f} | {np.abs(width).mean():.2f} |"
            f" {np.abs(width).max():.2f} |"
        ),
        "",
        (
            f"{len(rows) - len(found)} of {len(rows)} are refused. Clicks 6 mm in front of it and"
            f" behind it: found in {falsely} of {2 * len(rows)}. Median {np.median(seconds):.2f} s."
        ),
        *[f"- refused ({row['refused']}): {row['seed']}" for row in rows if "refused" in row],
    ]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Find them all and write the report."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--first", type=int, default=100_000)
    parser.add_argument("--print", action="store_true")
    args = parser.parse_args()
    rows = [one(seed) for seed in range(args.first, args.first + args.count)]
    text = report(rows, args.first)
    print(text)
    if not args.print:
        REPORT.write_text(text)


if __name__ == "__main__":
    main()
