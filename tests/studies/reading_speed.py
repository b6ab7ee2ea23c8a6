"""Reading 400 slices of 400 × 400 against SimpleITK's series reader; a part of speed.py.

Both readers start in a process of their own, turn by turn, on the same invented slices, process
start included. Peak memory is what reading adds (Linux only).
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "core" / "scan"))
import make_dicom as make
from compared import Compared

ROOT = Path(__file__).parents[2]

SYNTAXES = {
    "uncompressed": make.ExplicitVRLittleEndian,
    "JPEG-LS": make.JPEGLSLossless,
    "JPEG lossless": make.JPEGLosslessSV1,
}
TARGETS = {"uncompressed": 0.6, "JPEG-LS": 0.7, "JPEG lossless": 0.9}
# The high-water mark of this process image alone; getrusage would carry the parent's over.
MEMORY = (
    "import re, pathlib\n"
    "status = pathlib.Path('/proc/self/status')\n"
    "def used():\n"
    "    return int(re.search(r'VmHWM:\\s+(\\d+)', status.read_text())[1]) / 1024\n"
)
OURS = (
    MEMORY + "import sys, numpy\nfrom core.scan import open_scan\nbefore = used()\n"
    "volume = open_scan(sys.argv[1])\nprint(used() - before, volume.voxels.nbytes / 2**20)"
)
THEIRS = (
    "import sys, SimpleITK as s\nr = s.ImageSeriesReader()\n"
    "r.SetFileNames(r.GetGDCMSeriesFileNames(sys.argv[1]))\nr.Execute()\nprint(0, 0)"
)


def slices() -> np.ndarray:
    """Smooth shapes with noise, so that compressed sizes are those of a scan."""
    draw = np.random.default_rng(0)
    j, i = np.mgrid[:400, :400] / 40
    base = 900 * np.sin(i) * np.cos(j * 1.3) + 700
    planes = [base + draw.normal(0, 30, base.shape) + k for k in range(400)]
    return np.stack(planes).astype(np.int16)


def timed(code: str, folder: Path) -> tuple[float, list[float]]:
    start = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", code, str(folder)],
        check=True, capture_output=True, text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    return time.perf_counter() - start, [float(n) for n in done.stdout.split()]


def measured(rounds: int) -> Iterator[Compared]:
    """Compare the readers, one kind of slices after the other."""
    values = slices()
    for name, syntax in SYNTAXES.items():
        with tempfile.TemporaryDirectory() as folder:
            make.write_series(Path(folder), make.series(values), syntax=syntax)
            ours, theirs, memory = [], [], []
            for _ in range(rounds):
                seconds, used = timed(OURS, Path(folder))
                ours.append(seconds)
                memory.append(used)
                theirs.append(timed(THEIRS, Path(folder))[0])
        added_mb, voxels_mb = max(memory)
        yield Compared(
            what=f"400 slices, {name}", other="SimpleITK", ours=ours, theirs=theirs,
            target=TARGETS[name], memory_mb=added_mb, memory_target_mb=1.3 * voxels_mb + 150,
        )  # fmt: skip
