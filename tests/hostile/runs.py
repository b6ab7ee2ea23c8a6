"""Starts the process that meets damaged input, watches over it, and says what must not have been.

Here stand the figures that a run is held to; the tests and the study both judge by them.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.watchdog import PATIENCE

ROOT = Path(__file__).parents[2]
WORKER = Path(__file__).with_name("worker.py")

MOST_SECONDS = 10.0
MOST_MEMORY = 2.0
"""Peak resident memory of the process, in that of a run on undamaged files."""

RUNS = {
    "raw": 960,
    "multi-frame": 220,
    "zip": 400,
    "DICOMDIR": 200,
    "plan": 600,
    "JPEG-LS": 40,
    "JPEG lossless": 40,
    "JPEG 2000": 40,
    "RLE": 40,
    "frames of JPEG-LS": 120,
    "frames of JPEG lossless": 120,
    "frames of JPEG 2000": 120,
    "frames of RLE": 120,
}
"""Runs a form. A run on compressed slices starts a child, so there are few of those, with two
damaged slices each; the decoding process is met by single damaged pictures as well."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Met:
    """What the runs of one form came to.

    Parameters
    ----------
    form : str
    wanted : int
        Runs asked for.
    lines : tuple of dict
        What the process said about each run, the two undamaged ones left out.
    undamaged_mb : float
        Peak memory of the undamaged runs.
    status : int or None
        Exit status of the process; None when it had to be ended.
    stderr : str
    """

    form: str
    wanted: int
    lines: tuple[dict[str, Any], ...]
    undamaged_mb: float
    status: int | None
    stderr: str

    @property
    def damaged(self) -> int:
        """Damaged files in all."""
        return sum(line["damaged"] for line in self.lines)

    @property
    def ends(self) -> Counter[str]:
        """How the runs ended, and how often."""
        return Counter(line["end"] for line in self.lines)

    @property
    def seconds(self) -> float:
        """The longest run."""
        return max((line["seconds"] for line in self.lines), default=0.0)

    @property
    def memory(self) -> float:
        """Largest peak, in that of the undamaged runs; 0 where memory cannot be read."""
        peak = max((line["mb"] for line in self.lines), default=0.0)
        return peak / self.undamaged_mb if self.undamaged_mb else 0.0

    def faults(self, *, patience: float = 1.0) -> list[str]:
        """Everything that must not have been; empty when all is well.

        `patience` is how much longer a run may take where the machine is busy with other things.
        """
        found = [f"{self.form} {line['run']}: {line['end']}" for line in self.lines
                 if line["end"].startswith("FAULT")]  # fmt: skip
        found += [f"{self.form} {line['run']}: {line['seconds']} s" for line in self.lines
                  if line["seconds"] > patience * MOST_SECONDS]  # fmt: skip
        most_mb = MOST_MEMORY * self.undamaged_mb
        found += [f"{self.form} {line['run']}: {line['mb']} MB, not {most_mb} at most"
                  for line in self.lines if line["mb"] > most_mb]  # fmt: skip
        found += [f"{self.form} {line['run']}: wrote {line['strays']}" for line in self.lines
                  if line["strays"]]  # fmt: skip
        if self.status != 0 or len(self.lines) != self.wanted:
            found.append(
                f"{self.form}: the process ended with {self.status} after {len(self.lines)} runs: "
                f"{self.stderr[-300:]}"
            )
        return found


def meet(form: str, folder: Path, *, runs: int, seed: str = "fixed") -> Met:
    """Let a process of its own meet damaged input of one form.

    Parameters
    ----------
    form : str
        Key of `RUNS`.
    folder : Path
        Empty; the process works in there, and everything it leaves is looked for there.
    runs : int
    seed : str
        Other words draw other damage; the same word always the same.
    """
    home = folder / "home"
    for place in (home, folder / "tmp"):
        place.mkdir(parents=True)
    # Temporary files and whatever belongs in a home folder would be found as strays; compiled
    # kernels stay where they are.
    environment = {
        **os.environ, "TMPDIR": str(folder / "tmp"), "HOME": str(home),
        "NUMBA_CACHE_DIR": _kernel_cache(),
    }  # fmt: skip
    for name in ("XDG_DATA_HOME", "XDG_STATE_HOME", "XDG_CONFIG_HOME"):
        environment.pop(name, None)
    process = subprocess.Popen(
        [sys.executable, str(WORKER), form, seed, str(runs), str(folder)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment, cwd=ROOT,
    )  # fmt: skip
    try:
        out, err = process.communicate(timeout=PATIENCE * (60 + 0.5 * runs))
        status: int | None = process.returncode
    except subprocess.TimeoutExpired:
        process.kill()
        out, err = process.communicate()
        status = None
    lines = [json.loads(line) for line in out.splitlines()]
    clean = [line for line in lines if line["run"] < 0]
    if len(clean) != 2 or {line["end"] for line in clean} != {"opened"}:
        raise AssertionError(f"undamaged input of the form {form!r} was not read: {clean} {err}")
    return Met(
        form=form,
        wanted=runs,
        lines=tuple(line for line in lines if line["run"] >= 0),
        undamaged_mb=max(line["mb"] for line in clean),
        status=status,
        stderr=err,
    )


def _kernel_cache() -> str:
    from core import kernel_cache

    kernel_cache.prepare()
    return os.environ["NUMBA_CACHE_DIR"]
