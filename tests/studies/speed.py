"""Speed and memory against general-purpose libraries, as ratios from one run; writes a report.

    python tests/studies/speed.py [ROUNDS]

Run by hand, on a machine with nothing else to do; some three minutes with the usual five rounds of
reading. Needs what the tests need (SimpleITK, VTK).
"""

from __future__ import annotations

import os
import platform
import subprocess
import sys
import time
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parents[2]))
import numpy as np
import reading_speed
import scipy
import section_speed
import SimpleITK
import vtk

ROOT = Path(__file__).parents[2]
REPORT = Path(__file__).with_name("reports") / "speed.md"
HELP_SECONDS, KERNEL_SECONDS, FIRST_SECONDS = 0.3, 0.8, 6.0


def help_seconds(rounds: int) -> list[float]:
    """Seconds of ``sounding --help`` as a whole process."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "app", "--help"], cwd=ROOT, check=True, capture_output=True
        )
        times.append(time.perf_counter() - start)
    return times


def main() -> None:
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    loads = [os.getloadavg()[0]]
    rows = list(section_speed.measured(8 * rounds))
    rows += reading_speed.measured(rounds)
    loads.append(os.getloadavg()[0])
    starts = {
        "`sounding --help`, whole process": (help_seconds(2 * rounds), HELP_SECONDS),
        "second start of the kernels, imports included": (
            section_speed.second_starts(rounds), KERNEL_SECONDS,
        ),
        "first use: all kernels compiled, processor time": (
            section_speed.first_uses(min(rounds, 3)), FIRST_SECONDS,
        ),
    }  # fmt: skip
    lines = [
        "# Speed and memory",
        "",
        "Made by `tests/studies/speed.py`; nothing here is edited by hand. All sides of a line",
        "work in turns on the same data in one run. *Ratio* is the median of the rounds' ratios,",
        "*best* the ratio of the shortest times. Times are medians in ms. Reading counts from",
        "process start to voxels; memory is what reading adds to the process.",
        "",
        (
            f"{platform.machine()}, {os.cpu_count()} processors, Python "
            f"{platform.python_version()}, numpy {np.__version__}, SciPy {scipy.__version__}, "
            f"VTK {vtk.VTK_VERSION}, SimpleITK {SimpleITK.__version__}; {rounds} rounds of "
            f"reading, {8 * rounds} of sections. Load of the machine when it began "
            f"{loads[0]:.1f}, at the end {loads[-1]:.1f} (1 to 2 is this run alone)."
        ),
        "",
        "Padding and a round field are tests that neither other library makes: those lines are",
        "for information, without a wanted ratio.",
        "",
        "| work | against | here ms | other ms | ratio | best | wanted ≤ | reached | memory |",
        "|---|---|---|---|---|---|---|---|---|",
        *(row.row() for row in rows),
        "",
        "| start | median s | least s | wanted ≤ | reached |",
        "|---|---|---|---|---|",
    ]
    lines += [
        f"| {what} | {median(spent):.2f} | {min(spent):.2f} | {most} "
        f"| {'yes' if median(spent) <= most else 'NO'} |"
        for what, (spent, most) in starts.items()
    ]
    REPORT.parent.mkdir(exist_ok=True)
    REPORT.write_text("\n".join(lines) + "\n", "utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
