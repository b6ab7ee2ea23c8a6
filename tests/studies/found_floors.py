"""Remake reports/found_floors.md: floors found around one click, against their truth.

    python tests/studies/found_floors.py [--count 30] [--first 100000]

Upper jaws of `tests.reference.random_jaws`, with every filter, marrow and fault of the image. Seeds
from 100000 on are held back: nothing was set by them. Clicks are off by 0.36 mm in each direction.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from core.bone.found_floor import FoundFloor, floor_around  # noqa: E402
from core.bone.level_learning import bone_levels  # noqa: E402
from core.bone.plate_fit import PlateFit  # noqa: E402
from core.distances.floor_surface import FloorSurface  # noqa: E402
from core.plans.side import arch_of  # noqa: E402
from core.version import PROGRAM  # noqa: E402
from sample_volumes.distances import fixture_distance  # noqa: E402
from tests.reference.random_jaws import kernels as k  # noqa: E402
from tests.reference.random_jaws.draw import choices  # noqa: E402
from tests.reference.random_jaws.image import scan_of  # noqa: E402
from tests.reference.random_jaws.plan import plan_of  # noqa: E402
from tests.reference.random_jaws.shape import shape_of  # noqa: E402

REPORT = Path(__file__).parent / "reports" / "found_floors.md"
HAND_MM, WITHIN_MM, BELOW_MM = 0.36, 6.0, 5.0


@dataclass(frozen=True, kw_only=True)
class Row:
    """One jaw: `off_mm` of each place within 6 mm along the arch, + too far from the crest."""

    words: str
    lining: float
    refused: str = ""
    off_mm: np.ndarray | None = None
    surface_mm: np.ndarray | None = None
    marks: int = 0
    seconds: float = 0.0
    by_floor: float = np.nan
    by_hand: float = np.nan
    falsely: str = ""


def one(seed: int) -> Row | None:
    """A jaw, its floor around a click, and whether one is found where none is."""
    c = choices(seed)
    if c.jaw != "upper" or c.teeth == "at the site":
        return None
    shape, rng = shape_of(c), np.random.default_rng([seed, 21])
    scan, plan = scan_of(shape, c), plan_of(shape, c)
    arch, fixture = arch_of(plan), plan.fixtures[0]
    depth = shape.row(k.FLOOR, 0.0)

    def at(depth_mm):
        w = shape.row(k.MIDDLE, 0.0) + shape.v[k.TILT] * depth_mm
        return shape.patient(shape.place(0.0, w, shape.row(k.TOP, 0.0) - depth_mm))[0]

    lining = float(shape.v[k.LINING])
    words = f"{seed}: {c.marrow} marrow, voxel {c.voxel}, filter {c.filter}, {c.fault}"
    PlateFit.of(scan, arch, "upper", bone_levels(scan, arch))  # as the window has learnt it before
    begun = time.monotonic()
    found = floor_around(scan, arch, at(depth) + rng.normal(0.0, HAND_MM, 3))
    seconds = time.monotonic() - begun
    below = floor_around(scan, arch, at(max(depth - BELOW_MM, 2.0)))
    falsely = "" if not isinstance(below, FoundFloor) else "found"
    if not isinstance(found, FoundFloor):
        return Row(words=words, lining=lining, refused=found.code, seconds=seconds, falsely=falsely)
    true = shape.floor(14.0)
    tree, middle = cKDTree(true), found.station_mm[len(found.station_mm) // 2]

    def off(points):
        above = shape.signs(points, 2) < 0
        return np.where(above, 1.0, -1.0) * tree.query(points)[0]

    near = found.seen & (np.abs(found.station_mm - middle) <= WITHIN_MM)[:, None]
    marks = np.concatenate([line.points_mm for line in found.lines()])
    samples = FloorSurface.through(marks).samples(0.5)
    beside = np.array([abs(arch.station(p) - middle) <= WITHIN_MM for p in samples])

    def least(points):
        return float(
            fixture_distance(
                points, fixture.platform, fixture.towards_apex, fixture.size.profile
            ).min()
        )

    by_hand = next(s for s in plan.structures if s.id == "floor").points
    here = least(true)
    return Row(
        words=words, lining=lining, off_mm=off(found.points_mm[near]),
        surface_mm=np.abs(off(samples[beside])), marks=len(marks), seconds=seconds,
        by_floor=least(FloorSurface.through(marks).samples(0.2)) - here,
        by_hand=least(FloorSurface.through(by_hand).samples(0.2)) - here, falsely=falsely,
    )  # fmt: skip


def report(rows: list[Row], first: int) -> str:
    """The tables."""
    found = [row for row in rows if not row.refused]
    lines = [
        "# Floors found around one click",
        "",
        (
            f"Made by `tests/studies/found_floors.py` with {PROGRAM}: {len(rows)} upper jaws from"
            f" seed {first} on, which nothing was set by; clicks {HAND_MM} mm off in every"
            f" direction (SD). Errors in mm over ± {WITHIN_MM:g} mm along the arch, by the nearest"
            " place of the true floor; + lies further from the crest, so that clearances read too"
            " large."
        ),
        "",
        "| lining over the floor | floors | mean | mean absolute | 95 % | worst | marks' surface |",
        "|-|-|-|-|-|-|-|",
    ]
    parts = (
        ("all", 0.0, 9.0), ("under 0.2 mm", 0.0, 0.2), ("0.2 to 1 mm", 0.2, 1.0),
        ("over 1 mm", 1.0, 9.0),
    )  # fmt: skip
    for name, low, high in parts:
        mine = [row for row in found if low <= row.lining < high]
        if not mine:
            continue
        off = np.concatenate([row.off_mm for row in mine])
        surface = np.concatenate([row.surface_mm for row in mine])
        lines.append(
            f"| {name} | {len(mine)} | {off.mean():+.3f} | {np.abs(off).mean():.3f} |"
            f" {np.percentile(np.abs(off), 95):.2f} | {np.abs(off).max():.2f} |"
            f" {surface.mean():.3f} |"
        )
    gone = len(rows) - len(found)
    within = sum(float(np.abs(row.off_mm).mean()) <= 0.2 for row in found)
    seconds = np.array([row.seconds for row in found])
    marks = np.array([row.marks for row in found])
    falsely = [row.words for row in rows if row.falsely]
    by_floor, by_hand = (np.array([getattr(r, n) for r in found]) for n in ("by_floor", "by_hand"))
    lines += [
        "",
        (
            f"{within} of {len(found)} floors lie within 0.2 mm on average; {gone}"
            f" of {len(rows)} are not found. {np.median(marks):.0f} marks each, at most"
            f" {marks.max()}; median {np.median(seconds):.1f} s, longest {seconds.max():.1f} s."
        ),
        "",
        (
            f"Clearance of a fixture from the floor, value − truth: found"
            f" {by_floor.mean():+.2f} (mean absolute {np.abs(by_floor).mean():.2f}, largest"
            f" {np.abs(by_floor).max():.2f}); fifteen marks by hand, 0.25 mm off,"
            f" {by_hand.mean():+.2f} ({np.abs(by_hand).mean():.2f},"
            f" {np.abs(by_hand).max():.2f})."
        ),
        "",
        (
            f"Clicks {BELOW_MM:g} mm below the floor, where none is: found in {len(falsely)} of"
            f" {len(rows)}."
        ),
        *[f"- falsely: {words}" for words in falsely],
        *[f"- not found ({row.refused}): {row.words}" for row in rows if row.refused],
        *[
            f"- worst: {np.abs(row.off_mm).mean():.2f} mm on average, lining {row.lining:.1f} mm,"
            f" {row.words}"
            for row in sorted(found, key=lambda r: -float(np.abs(r.off_mm).mean()))[:4]
        ],
    ]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Find them all and write the report."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=30)
    parser.add_argument("--first", type=int, default=100_000)
    args = parser.parse_args()
    rows, seed = [], args.first
    while len(rows) < args.count:
        row = one(seed)
        seed += 1
        if row is not None:
            rows.append(row)
    REPORT.write_text(report(rows, args.first))
    print(REPORT.read_text())


if __name__ == "__main__":
    main()
