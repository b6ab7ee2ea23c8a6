"""Cost of a case, scaling over one and two workers, and what that means for 10^5 cases.

Usage: ``python tests/studies/many_cases.py [--cases 6]``, a few minutes; writes
``reports/many_cases.md``. The cases are the sample scan with its fixture moved by tenths of a
millimetre: each is read and measured whole, as a study of as many patients would be. Processor
time is told beside time on the clock, since the latter depends on what else the machine does.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import tempfile
import time
from pathlib import Path

import sample_volumes
from app.studies.cases import read_cases
from app.studies.run import run_study
from core.version import PROGRAM

SAMPLE = "lower_left_36"
REPORT = Path(__file__).parent / "reports" / "many_cases.md"
MANY = 100_000
WORKERS = (1, 2)
MEMORY_MB = 4000


def write_cases(folder: Path, count: int) -> Path:
    """Plans beside a list that names the sample scan for each."""
    document = json.loads(sample_volumes.path(f"{SAMPLE}.plan.json").read_text("utf-8"))
    scan = sample_volumes.path(SAMPLE)
    lines = ["plan,scan"]
    for number in range(count):
        moved = json.loads(json.dumps(document))
        moved["fixtures"][0]["platform"][2] += 0.1 * number
        moved["sign_off"] = None
        name = f"case{number:03d}.plan.json"
        (folder / name).write_text(json.dumps(moved))
        lines.append(f"{name},{scan}")
    path = folder / "cases.csv"
    path.write_text("\n".join(lines) + "\n")
    return path


def spent() -> tuple[float, float]:
    """Processor seconds of ended workers, and the largest memory of any of them, MB."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1000


def main() -> None:
    """Measure and write the report."""
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--cases", type=int, default=6)
    count = arguments.parse_args().cases
    folder = Path(tempfile.mkdtemp())
    try:
        cases = read_cases(write_cases(folder, count))
        lines, files = [], []
        per_case = 0.0
        for workers in WORKERS:
            out = folder / f"study-{workers}.parquet"
            before, began = spent()[0], time.perf_counter()
            done = run_study(cases, out, workers=workers, memory_mb=MEMORY_MB)
            clock = time.perf_counter() - began
            processor, memory = spent()
            processor -= before
            files.append(out.read_bytes())
            per_case = processor / count if workers == 1 else per_case
            lines.append(
                f"| {workers} | {count} | {done.rows} | {len(done.faults)} | {clock:.0f} | "
                f"{processor:.0f} | {processor / count:.1f} | {memory:.0f} |"
            )
            print(lines[-1])
        same = "the same bytes" if len(set(files)) == 1 else "DIFFERENT FILES"
        size = len(files[0]) / count
        hours = per_case * MANY / 3600
        load = os.getloadavg()[0]
        busy = load > (os.cpu_count() or 1)
        scaling = "How the clock scales is not shown: the load exceeded the cores. " if busy else ""
        REPORT.write_text(
            "# Many cases\n\n"
            f"Made by `tests/studies/many_cases.py` with {PROGRAM}: the sample scan with its "
            f"fixture moved, {count} cases, on {os.cpu_count()} cores. Other work ran beside "
            f"(load {load:.0f}), so that processor time tells more than the clock.\n\n"
            "| workers | cases | rows | faults | clock, s | processor, s | processor a case, s | "
            "largest worker, MB |\n|---|---|---|---|---|---|---|---|\n" + "\n".join(lines) + "\n\n"
            f"{scaling}One and two workers give {same}.\n\n"
            f"On paper, {MANY} cases: {hours:.0f} hours of one core, start of the worker included; "
            f"{hours / 32:.0f} hours on 32 cores where reading keeps up; a table of "
            f"{size * MANY / 1e6:.0f} MB at most (each case here adds {size / 1000:.0f} kB, schema "
            "included). Rows wait on the disk, one file a case, until the table is written; the "
            "table is made in memory, in groups of 50,000 rows.\n"
        )
    finally:
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
