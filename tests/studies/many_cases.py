"""Cost of a case, scaling over one and two workers, and what that means for 10^5 cases.

Usage: ``python tests/studies/many_cases.py [--cases 200]``, some twenty minutes on two free cores;
writes ``reports/many_cases.md``. The cases are random jaws (`tests.reference.random_jaws`), each
written as a DICOM series with its own plan, read and measured whole. Processor time is told beside
time on the clock, since the latter depends on what else the machine does.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[2])]

from app.studies.cases import Case, read_cases  # noqa: E402
from app.studies.run import Done, run_study  # noqa: E402
from core.image.volume import Volume  # noqa: E402
from core.plans.plan_file import save_plan  # noqa: E402
from core.version import PROGRAM  # noqa: E402
from tests.core.scan.make_dicom import ROOT, dataset, write  # noqa: E402
from tests.reference.random_jaws import choices  # noqa: E402
from tests.reference.random_jaws.image import scan_of  # noqa: E402
from tests.reference.random_jaws.plan import plan_of  # noqa: E402
from tests.reference.random_jaws.shape import shape_of  # noqa: E402

REPORT = HERE.parent / "reports" / "many_cases.md"
MANY, USUAL = 100_000, 200
WORKERS = (1, 2)
MEMORY_MB = 4000
LEAST_VOXEL_MM, FIELD_MM = 0.3, 26.0
"""Small scans, so that two hundred of them are measured twice in less than half an hour."""

WHOLE_EXPORT = 512**3
FIRST_SEED = 50_000
CORES_ON_PAPER = 32


@dataclass(frozen=True, kw_only=True)
class Run:
    """One run over all cases."""

    workers: int
    done: Done
    clock_s: float
    processor_s: float
    memory_mb: float
    load: float
    steps_s: np.ndarray
    table: bytes

    def line(self, count: int) -> str:
        """A row of the report."""
        return (
            f"| {self.workers} | {count} | {self.done.rows} | {len(self.done.faults)} | "
            f"{self.clock_s:.0f} | {self.processor_s:.0f} | {self.processor_s / count:.2f} | "
            f"{self.memory_mb:.0f} | {self.load:.1f} |"
        )


def write_scan(volume: Volume, folder: Path, number: int) -> None:
    """A CT series of a volume, uncompressed."""
    affine = volume.mm_from_ijk
    along = [np.linalg.norm(affine[:3, axis]) for axis in range(2)]
    orientation = [*(affine[:3, 0] / along[0]), *(affine[:3, 1] / along[1])]
    series = f"{ROOT}77.{number}"
    for k, values in enumerate(volume.voxels):
        position = affine[:3, 3] + k * affine[:3, 2]
        slice_ = dataset(
            values, k=k, position=position, orientation=orientation, spacing=(along[1], along[0])
        )
        slice_.SeriesInstanceUID, slice_.SOPInstanceUID = series, f"{series}.{k + 1}"
        slice_.PatientID = f"R{number}"
        slice_.PixelSpacing = [f"{step:.9g}" for step in (along[1], along[0])]
        write(slice_, folder / f"{k:04d}.dcm")


def write_cases(folder: Path, count: int) -> tuple[Path, Counter[str], int]:
    """Plans and scans beside a list; voxels of the scans, and how large all of it is."""
    lines, voxels, size = ["plan,scan"], Counter[str](), 0
    for number in range(count):
        drawn = choices(FIRST_SEED + number)
        voxel = max(drawn.voxel, LEAST_VOXEL_MM)
        drawn = replace(
            drawn, voxel=voxel, along=FIELD_MM, blur_fwhm=max(drawn.blur_fwhm, 1.1 * voxel)
        )
        shape = shape_of(drawn)
        name = f"jaw{number:04d}"
        write_scan(scan_of(shape, drawn), folder / name, number)
        save_plan(plan_of(shape, drawn), folder / f"{name}.plan.json")
        lines.append(f"{name}.plan.json,{name}")
        voxels[f"{voxel:g} mm"] += 1
        size += sum(path.stat().st_size for path in (folder / name).iterdir())
    path = folder / "cases.csv"
    path.write_text("\n".join(lines) + "\n")
    return path, voxels, size


def spent() -> tuple[float, float]:
    """Processor seconds of ended workers, and the largest memory of any of them, MB."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1000


def run(cases: tuple[Case, ...], out: Path, workers: int) -> Run:
    """Measure all cases with so many workers."""
    load, before, began = os.getloadavg()[0], spent()[0], time.perf_counter()
    ends = [began]
    done = run_study(
        cases, out, workers=workers, memory_mb=MEMORY_MB,
        progress=lambda *_: ends.append(time.perf_counter()),
    )  # fmt: skip
    clock = time.perf_counter() - began
    processor, memory = spent()
    return Run(
        workers=workers, done=done, clock_s=clock, processor_s=processor - before,
        memory_mb=memory, load=max(load, os.getloadavg()[0]), steps_s=np.diff(ends),
        table=out.read_bytes(),
    )  # fmt: skip


def report(runs: list[Run], count: int, voxels: Counter[str], size: int) -> str:
    """The report in words."""
    one = runs[0]
    cores = os.cpu_count() or 1
    hours = one.processor_s / count * MANY / 3600
    same = "the same bytes" if len({run.table for run in runs}) == 1 else "DIFFERENT FILES"
    # The runs themselves are a load of as many as they have workers.
    beside = max(run.load - run.workers for run in runs)
    busy = beside > cores - max(WORKERS) + 0.5
    scaling = (
        f"Other work ran beside (load up to {beside:.1f} without the runs' own), so the clock does "
        f"not show the scaling; processor time a case does, and it is what a core is busy for. "
        if busy
        else f"Two workers took {one.clock_s / runs[1].clock_s:.2f} times less clock than one. "
    )
    drawn = ", ".join(f"{n} of {voxel}" for voxel, n in sorted(voxels.items()))
    reasons = Counter(reason for _, reason in one.done.faults)
    faults = "".join(f"- {n} × {reason}\n" for reason, n in reasons.most_common())
    median, most = np.median(one.steps_s), np.percentile(one.steps_s, 95)
    per_case = len(one.table) / count
    fewer = "" if count >= USUAL else f", not the usual {USUAL}, for the machine was shared"
    return (
        "# Many cases\n\n"
        f"Made by `tests/studies/many_cases.py` with {PROGRAM}: {count} random jaws{fewer} "
        f"(seeds from {FIRST_SEED} on; fields of {FIELD_MM:g} × 32 × 30 mm, smaller than most "
        f"exports; voxels {drawn}, none under {LEAST_VOXEL_MM} mm), each a DICOM series of "
        f"its own with a plan of one fixture, {size / 1e6 / count:.1f} MB a case, on {cores} "
        "cores.\n\n"
        "| workers | cases | rows | faults | clock, s | processor, s | processor a case, s | "
        "largest worker, MB | load |\n|---|---|---|---|---|---|---|---|---|\n"
        + "\n".join(run.line(count) for run in runs)
        + f"\n\nWith one worker half of the cases took up to {median:.2f} s on the clock, 95 of "
        f"100 up to {most:.2f} s. {scaling}One and two workers give {same}.\n\n"
        + (
            f"Cases that could not be measured, as rows with their reason:\n\n{faults}\n"
            * bool(faults)
        )
        + f"On paper, {MANY} such cases: {hours:.0f} hours of one core, start of the worker "
        f"included; {hours / CORES_ON_PAPER:.1f} hours on {CORES_ON_PAPER} cores where reading "
        f"keeps up ({size / count * MANY / 1e12:.2f} TB in all); a table of "
        f"{per_case * MANY / 1e6:.0f} MB ({per_case / 1000:.1f} kB a case). A whole export of "
        f"512 × 512 × 512 voxels is {WHOLE_EXPORT / (size / count / 2):.0f} times as many to read; "
        "what is measured around one site does not grow with it. Rows wait on the disk, one file "
        "a case, until the table is written; the table is made in memory, in groups of 50,000 "
        "rows.\n"
    )


def main() -> None:
    """Measure and write the report."""
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--cases", type=int, default=USUAL)
    count = arguments.parse_args().cases
    folder = Path(tempfile.mkdtemp())
    try:
        listed, voxels, size = write_cases(folder, count)
        cases = read_cases(listed)
        runs = []
        for workers in WORKERS:
            runs.append(run(cases, folder / f"study-{workers}.parquet", workers))
            print(runs[-1].line(count), flush=True)
        REPORT.write_text(report(runs, count, voxels, size))
    finally:
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
