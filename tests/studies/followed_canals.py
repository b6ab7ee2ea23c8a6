"""Remake reports/followed_canals.md: canals followed between two clicks, against their truth.

    python tests/studies/followed_canals.py [--count 80] [--none 50] [--scans FOLDER] [--first N]
    python tests/studies/followed_canals.py --diameters 40 [--scans FOLDER]

The second writes reports/followed_diameters.md: the diameters of the first so many of them.

Jaws of `tests.reference.random_jaws`, drawn and, from FOLDER, before the simulated scanner
(``NUMBER.npz`` files that ``random_jaws.py scan`` made); and the sample scan, which is
reconstructed from projections. Seeds from 100000 on are held back: nothing was set by them. Clicks
lie off the canal's middle by 0.36 mm in each direction (Tomasi et al. 2011: SD of a distance
between two marks), as a hand's do.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree
from scipy.stats import binomtest

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from core import open_scan  # noqa: E402
from core.distances.clearance import clearance  # noqa: E402
from core.image.volume import Volume  # noqa: E402
from core.marking.course_diameter import course_diameter  # noqa: E402
from core.marking.follow import Followed, follow_canal  # noqa: E402
from core.structures import Course  # noqa: E402
from core.version import PROGRAM  # noqa: E402
from sample_volumes import path  # noqa: E402
from sample_volumes.distances import fixture_distance  # noqa: E402
from sample_volumes.lower_jaw import LowerJaw  # noqa: E402
from sample_volumes.make_samples import LOWER_POSE  # noqa: E402
from tests.reference.random_jaws import kernels as k  # noqa: E402
from tests.reference.random_jaws import physics  # noqa: E402
from tests.reference.random_jaws.draw import Choices, choices  # noqa: E402
from tests.reference.random_jaws.image import scan_of  # noqa: E402
from tests.reference.random_jaws.plan import plan_of  # noqa: E402
from tests.reference.random_jaws.shape import Shape, shape_of  # noqa: E402

REPORTS = Path(__file__).parent / "reports"
HAND_MM = 0.36
LONGEST_MM = 18.0
MARK_EVERY = 3
SECTORS, LEAST_SECTORS = 12, 9
LEAST_CONTRAST = 2.0


@dataclass(frozen=True, eq=False)
class Tally:
    """All places of all courses of one source."""

    errors: list[np.ndarray]
    sd: list[np.ndarray]
    seen: list[np.ndarray]
    visible: list[np.ndarray]
    worst: list[tuple[float, str]]
    refused: list[tuple[str, float]]
    clearances: list[tuple[float, float, float]]
    diameters: list[tuple[float, float]]
    seconds: list[float]

    @classmethod
    def empty(cls) -> Tally:
        """Nothing yet."""
        return cls([], [], [], [], [], [], [], [], [])


def share(count: int, of: int) -> str:
    """'95.3 % (94.2 to 96.2)' with the exact binomial interval at 95 %."""
    low, high = binomtest(count, of).proportion_ci()
    return f"{100 * count / of:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def across(line: np.ndarray, places: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(n, 2) errors across the true line, nearest true points, (n, 2, 3) directions."""
    at = np.clip(cKDTree(line).query(places)[1], 1, len(line) - 2)
    tangent = line[at + 1] - line[at - 1]
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    one = np.cross(tangent, [0.31, 0.22, 0.93])
    one /= np.linalg.norm(one, axis=1, keepdims=True)
    both = np.stack([one, np.cross(tangent, one)], axis=1)
    return np.einsum("nx,nkx->nk", places - line[at], both), line[at], both


def visible(volume, middle, both, outside_mm: float, wall_mm: float) -> np.ndarray:
    """Where an eye that knows the place would see a wall all round; nothing of `core` but sampling.

    In at least nine of twelve sectors the true wall is brighter than the true lumen by twice the
    scatter of the lumen's and the surroundings' own values.
    """
    angle = np.arange(SECTORS) * 2 * np.pi / SECTORS
    rays = np.cos(angle)[:, None] * both[:, None, 0] + np.sin(angle)[:, None] * both[:, None, 1]

    def ring(radius: float) -> np.ndarray:
        points = middle[:, None] + radius * rays
        return volume.grey_at(points.reshape(-1, 3)).reshape(len(middle), SECTORS).astype(float)

    lumen = np.concatenate([ring(0.0)[:, :1], ring(0.5 * (outside_mm - wall_mm))], axis=1)
    wall, beyond = ring(outside_mm - 0.5 * wall_mm), ring(outside_mm + 0.8)
    scatter = np.sqrt(np.nanmedian(lumen.std(axis=1)) ** 2 + np.nanmedian(wall.std(axis=1)) ** 2)
    rises = np.maximum(wall, beyond) - lumen.mean(axis=1, keepdims=True) > LEAST_CONTRAST * scatter
    scanned = np.isfinite(lumen).all(axis=1) & np.isfinite(wall).all(axis=1)
    return scanned & (rises.sum(axis=1) >= LEAST_SECTORS)


def jaws(
    first: int, count: int, *, canal: bool, folder: Path | None
) -> Iterator[tuple[Choices, Shape, Volume]]:
    """(choices, shape, volume) of lower jaws behind the canines, or in front without a canal."""
    seeds = iter(range(first, first + 100 * count + 100))
    if folder is not None:
        seeds = iter(sorted(int(p.stem) for p in folder.glob("*.npz") if p.stem.isdigit()))
    for seed in seeds:
        if seed < first or count == 0:
            continue
        c = choices(seed) if folder is None else physics.physical(seed)
        if c.jaw != "lower" or (int(c.tooth[1]) >= 4) != canal:
            continue
        count -= 1
        shape = shape_of(c)
        if folder is None:
            yield c, shape, scan_of(shape, c)
        else:
            yield c, shape, physics.case(seed, folder / f"{seed}.npz").volume


def reach_of(c: Choices, folder: Path | None) -> float:
    """Half the length between the clicks: what the field surely covers."""
    return min(0.5 * c.along - 2.0 if folder is None else 11.0, LONGEST_MM)


def true_clicks(c: Choices, shape: Shape, rng, folder: Path | None) -> np.ndarray:
    """Two clicks near the canal's middle."""
    s = reach_of(c, folder) * np.array([-1.0, 1.0])
    line = shape.patient(shape.place(s, shape.row(k.CANAL_W, s), shape.row(k.CANAL_H, s)))
    return line + rng.normal(0.0, HAND_MM, line.shape)


def false_clicks(c: Choices, shape: Shape, rng, folder: Path | None) -> np.ndarray:
    """Two clicks in the marrow, where a canal would run if there were one."""
    s = reach_of(c, folder) * np.array([-1.0, 1.0])
    depth = rng.uniform(9.0, max(shape.v[k.BASE] - 5.0, 10.0))
    w = shape.row(k.MIDDLE, s) + shape.v[k.TILT] * depth + rng.uniform(-1.2, 0.4)
    line = shape.patient(shape.place(s, w, shape.row(k.TOP, s).mean() - depth))
    return line + rng.normal(0.0, HAND_MM, line.shape)


def follow_all(first: int, count: int, folder: Path | None, diameters: bool = False) -> Tally:
    """Every jaw with a canal once; with `diameters` these too."""
    out, rng = Tally.empty(), np.random.default_rng([first, 17])
    for c, shape, volume in jaws(first, count, canal=True, folder=folder):
        marks = true_clicks(c, shape, rng, folder)
        begun = time.perf_counter()
        found = follow_canal(volume, marks)
        out.seconds.append(time.perf_counter() - begun)
        outside, wall = float(shape.v[k.CANAL]), float(shape.v[k.CANAL_WALL])
        line = shape.canal_line
        s = np.linspace(-1.0, 1.0, 25) * reach_of(c, folder)
        places = shape.patient(shape.place(s, shape.row(k.CANAL_W, s), shape.row(k.CANAL_H, s)))
        words = f"{c.seed}: {c.marrow} marrow, voxel {c.voxel}, filter {c.filter}, {c.fault}"
        if not isinstance(found, Followed):
            _, middle, both = across(line, places)
            out.refused.append((words, visible(volume, middle, both, outside, wall).mean()))
            continue
        error, middle, both = across(line, found.points_mm)
        seen = np.array([how != "no" for how in found.seen])
        out.errors.append(error)
        out.sd.append(found.sd_mm)
        out.seen.append(seen)
        out.visible.append(visible(volume, middle, both, outside, wall))
        if seen.any():
            out.worst.append((float(np.hypot(*error.T)[seen].max()), words))
        out.clearances.extend(clearances(c, shape, found))
        if diameters:
            fit = course_diameter(volume, found)
            if fit.diameter_mm is not None:
                out.diameters.append((fit.diameter_mm - 2 * outside, fit.sd_mm))
    return out


def clearances(c: Choices, shape: Shape, found: Followed) -> Iterator[tuple[float, float, float]]:
    """(truth, from the followed course, from marks set by hand); the diameter is the true one."""
    plan = plan_of(shape, c)
    fixture = plan.fixtures[0]
    hand = next(s for s in plan.structures if isinstance(s, Course))
    radius = float(shape.v[k.CANAL])
    line = shape.canal_line
    profile = fixture.size.profile
    away = fixture_distance(line, fixture.platform, fixture.towards_apex, profile)
    values = []
    for points in (found.points_mm[::MARK_EVERY], hand.points):
        course = replace(hand, points=points, seen=(), diameter_mm=2 * radius)
        values.append(clearance(fixture, course).value)
    nearest = line[int(np.argmin(away))]
    if np.linalg.norm(found.points_mm - nearest, axis=1).min() < 1.0 and None not in values:
        yield float(away.min()) - radius, values[0], values[1]


def none_found(first: int, count: int, folder: Path | None) -> Counter[str]:
    """What became of jaws without a canal."""
    out: Counter[str] = Counter()
    rng = np.random.default_rng([first, 18])
    for c, shape, volume in jaws(first, count, canal=False, folder=folder):
        found = follow_canal(volume, false_clicks(c, shape, rng, folder))
        out["followed" if isinstance(found, Followed) else found.code] += 1
    return out


def sample_scan() -> Tally:
    """The reconstructed sample: ten pairs of clicks, from the ramus to the foramen."""
    volume = open_scan(path("lower_left_36"))
    line = LOWER_POSE.patient(LowerJaw().canal)
    apart = np.linalg.norm(np.diff(line, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(apart)])
    fine = np.arange(0.0, along[-1], 0.05)
    line = np.stack([np.interp(fine, along, line[:, axis]) for axis in range(3)], axis=1)
    out, rng = Tally.empty(), np.random.default_rng(36)
    for _ in range(10):
        start, stop = rng.uniform(2.0, 8.0), fine[-1] - rng.uniform(1.0, 8.0)
        marks = np.stack([line[round(at / 0.05)] for at in (start, stop)])
        begun = time.perf_counter()
        found = follow_canal(volume, marks + rng.normal(0.0, HAND_MM, marks.shape))
        out.seconds.append(time.perf_counter() - begun)
        if not isinstance(found, Followed):
            out.refused.append((f"sample from {start:.0f} to {stop:.0f} mm", 1.0))
            continue
        error, middle, both = across(line, found.points_mm)
        seen = np.array([how != "no" for how in found.seen])
        out.errors.append(error)
        out.sd.append(found.sd_mm)
        out.seen.append(seen)
        out.visible.append(visible(volume, middle, both, 1.5, 0.35))
        out.worst.append((float(np.hypot(*error.T)[seen].max()), f"sample from {start:.0f} mm"))
    return out


def rows_of(name: str, tally: Tally) -> Iterator[str]:
    """Rows of the table: places that are visible, that the program calls seen, and the others."""
    if not tally.errors:
        return
    error, sd = np.concatenate(tally.errors), np.concatenate(tally.sd)
    seen, shown = np.concatenate(tally.seen), np.concatenate(tally.visible)
    for what, which in (
        ("visible to an eye that knows the place", shown),
        ("called seen", seen),
        ("called not seen", ~seen),
    ):
        if not which.any():
            continue
        away = np.hypot(*error[which].T)
        inside = np.abs(error[which]) <= 2 * sd[which, None]
        yield (
            f"| {name} | {what} | {which.sum()} | {away.mean():.3f} |"
            f" {np.percentile(away, 95):.2f} | {away.max():.2f} | {sd[which].mean():.3f} |"
            f" {share(int(inside.sum()), inside.size)} |"
        )


def report(drawn: Tally, scanned: Tally, sample: Tally, none: dict[str, Counter[str]]) -> str:
    """The whole page."""
    lines = [
        "# Canals followed between two clicks",
        "",
        (
            f"Made by `tests/studies/followed_canals.py` with {PROGRAM}, on seeds that nothing was"
            f" set by. Two clicks a canal, each {HAND_MM} mm off in every direction (SD), up to"
            f" {2 * LONGEST_MM:.0f} mm apart. *Drawn*: random jaws with every filter, scale, marrow"
            " and fault of the image; *scanned*: random jaws before a simulated cone-beam scanner;"
            " *sample*: the sample scan, whose wall fades towards the foramen."
        ),
        "",
        "Error across the course, mm, of places 1 mm apart; ± 2 SD in each of two directions.",
        "",
        "| jaws | places | n | mean | 95 % | worst | mean SD | inside ± 2 SD |",
        "|-|-|-|-|-|-|-|-|",
        *rows_of("drawn", drawn),
        *rows_of("scanned", scanned),
        *rows_of("sample", sample),
        "",
    ]
    for name, tally in (("drawn", drawn), ("scanned", scanned), ("sample", sample)):
        count = len(tally.errors) + len(tally.refused)
        if not count:
            continue
        lines += [
            (
                f"{name.capitalize()}: {len(tally.errors)} of {count} canals followed; median"
                f" {np.median(tally.seconds):.2f} s, longest {max(tally.seconds):.2f} s."
            ),
            *(f"- not followed: {w} (visible: {100 * v:.0f} %)" for w, v in tally.refused),
            *(f"- worst: {mm:.2f} mm, {w}" for mm, w in sorted(tally.worst)[-3:]),
            "",
        ]
    lines += ["## No canal there", "", "| jaws | answer | cases |", "|-|-|-|"]
    lines += [
        f"| {name} | {answer} | {n} |"
        for name, answers in none.items()
        for answer, n in sorted(answers.items())
    ]
    both = drawn.clearances + scanned.clearances
    if both:
        truth, followed, hand = np.array(both).T
        lines += [
            "",
            "## Clearance of a fixture from the canal",
            "",
            f"{len(both)} fixtures, the canal's true diameter in both ways; value − truth, mm.",
            "",
            "| course | mean | mean absolute | largest |",
            "|-|-|-|-|",
            *(
                f"| {name} | {(v - truth).mean():+.3f} | {np.abs(v - truth).mean():.3f} |"
                f" {np.abs(v - truth).max():.2f} |"
                for name, v in (
                    (f"followed, a mark every {MARK_EVERY} mm", followed),
                    ("marked by hand every 3 mm, bias and scatter 0.25 mm each", hand),
                )
            ),
        ]
    return "\n".join(lines) + "\n"


def diameter_report(fits: list[tuple[float, float]], followed: int) -> str:
    """What came of the diameters of followed canals."""
    off, sd = np.array(fits).T
    inside = share(int((np.abs(off) <= 2 * sd).sum()), len(off))
    return "\n".join(
        [
            "# Diameters of followed canals, to the outside of the wall",
            "",
            (
                f"Made by `tests/studies/followed_canals.py --diameters` with {PROGRAM}, on seeds"
                f" that nothing was set by: {followed} canals followed, {len(off)} diameters"
                " offered."
            ),
            "",
            "| mean error mm | absolute | most too wide | too narrow | mean SD | in ± 2 SD |",
            "|-|-|-|-|-|-|",
            (
                f"| {off.mean():+.2f} | {np.abs(off).mean():.2f} | {off.max():.2f} |"
                f" {-off.min():.2f} | {sd.mean():.2f} | {inside} |"
            ),
            "",
        ]
    )


def main() -> None:
    """Follow them all and write the report."""
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--count", type=int, default=80)
    given.add_argument("--none", type=int, default=50)
    given.add_argument("--diameters", type=int, default=0)
    given.add_argument("--scans", type=Path)
    given.add_argument("--first", type=int, default=100_000)
    ask = given.parse_args()
    if ask.diameters:
        parts = [follow_all(ask.first, ask.diameters, None, diameters=True)]
        if ask.scans is not None:
            parts.append(follow_all(ask.first, 1000, ask.scans, diameters=True))
        fits = [fit for part in parts for fit in part.diameters]
        text = diameter_report(fits, sum(len(part.errors) for part in parts))
        (REPORTS / "followed_diameters.md").write_text(text, encoding="utf-8")
        print(text)
        return
    drawn = follow_all(ask.first, ask.count, None)
    none = {"drawn": none_found(ask.first, ask.none, None)}
    scanned = Tally.empty()
    if ask.scans is not None:
        scanned = follow_all(ask.first, 1000, ask.scans)
        none["scanned"] = none_found(ask.first, 1000, ask.scans)
    text = report(drawn, scanned, sample_scan(), none)
    (REPORTS / "followed_canals.md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
