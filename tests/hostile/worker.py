"""Meets damaged input, one run after the other, and prints a line of JSON for each.

    python tests/hostile/worker.py FORM SEED RUNS FOLDER

A process of its own: where it dies or hangs, the lines that are missing tell. Each line holds how
the run ended (``opened``, ``refused CODE``, or ``FAULT …``), how many files were damaged, seconds,
peak memory of the process in MB, and names of files that appeared where none belong.
"""

from __future__ import annotations

import json
import os
import random
import re
import sys
import time
import traceback
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
import mutations
import samples

from core import load_plan, measure, open_scan
from core.errors import SoundingError
from core.findings import Finding
from core.scan import decode, inspect

STATUS = Path("/proc/self/status")
CLEAR = Path("/proc/self/clear_refs")


def peak_mb(*, reset: bool) -> float:
    """High-water mark of resident memory since the last reset; 0 where it cannot be told."""
    try:
        if reset:
            CLEAR.write_text("5")
        return int(re.search(r"VmHWM:\s+(\d+)", STATUS.read_text())[1]) / 1024
    except OSError:
        return 0.0


def told(findings: Iterator[Finding]) -> None:
    """Every finding must have its sentence."""
    for finding in findings:
        if not finding.message:
            raise AssertionError(f"{finding.code} says nothing")


class Scans:
    """Damaged files of a scan, in any form that lies in files."""

    def __init__(self, form: str, folder: Path) -> None:
        self.named = samples.write_scan(form, folder)
        root = self.named if self.named.is_dir() else self.named.parent
        self.originals = {p: p.read_bytes() for p in sorted(root.rglob("*")) if p.is_file()}
        self.packed = form in samples.COMPRESSED

    def damage(self, draw: random.Random) -> int:
        """Put the files there, some of them damaged: two where a run is dear, else one to all."""
        names = list(self.originals)
        count = 2 if self.packed else draw.choice((1, 1, 1, 2, len(names)))
        hit = draw.sample(names, min(count, len(names)))
        if self.named.name == "DICOMDIR" and draw.randrange(2):
            hit = [self.named]
        for path, data in self.originals.items():
            path.write_bytes(mutations.damaged(data, draw) if path in hit else data)
        return len(hit)

    def run(self) -> str:
        """Look at the export, then read it, as the program does."""
        if not self.packed:
            for report in inspect(self.named):
                told(iter(report.findings))
        volume = open_scan(self.named)
        told(iter(volume.findings))
        if volume.voxels.nbytes > 4 * 2 * 6 * 32 * 32 * 4:
            raise AssertionError(f"six small slices became {volume.voxels.nbytes} bytes")
        return "opened"


class Frames:
    """Damaged compressed pictures, handed straight to the process that decodes them."""

    def __init__(self, form: str, folder: Path) -> None:
        syntax = samples.COMPRESSED[form.removeprefix("frames of ")]
        self.codec = decode.CODECS[syntax]
        first = samples.slices()[0]
        plane = samples.values()[0].view("<u2")
        self.packed = samples.make.encode(plane, first, syntax)
        self.child: decode._Child | None = None
        self.now = self.packed

    def damage(self, draw: random.Random) -> int:
        # The start of a stream holds its tables: damage there is met half of the time.
        if draw.randrange(2):
            self.now = mutations.damaged(self.packed, draw)
        else:
            head = mutations.damaged(self.packed[:64], draw)
            self.now = head + self.packed[64:]
        return 1

    def run(self) -> str:
        if self.child is None or not self.child.alive:
            self.child = decode._Child()
        job = decode.Job(
            index=0, codec=self.codec, rows=32, cols=32, width=2, read=lambda: self.now
        )
        target = memoryview(bytearray(32 * 32 * 2))
        decoded = self.child.decode(job, self.now, target)
        return "opened" if decoded else "refused: a lost slice"


class Plans:
    """Damaged plan files; those that can still be read are measured on an undamaged scan."""

    def __init__(self, form: str, folder: Path) -> None:
        self.volume = open_scan(samples.write_scan("raw", folder / "scan"))
        self.path = folder / "a.plan.json"
        self.document = samples.plan()
        self.path.write_text(json.dumps(self.document))

    def damage(self, draw: random.Random) -> int:
        self.path.write_bytes(mutations.damaged_plan(self.document, draw))
        return 1

    def run(self) -> str:
        ledger = measure(load_plan(self.path), self.volume, fine=False)
        told(iter(ledger.findings))
        if not (ledger.summary and ledger.to_json()):
            raise AssertionError("a ledger that says nothing")
        return "opened"


def outcome(run: Callable[[], str]) -> str:
    """How a run ended."""
    try:
        return run()
    except SoundingError as refusal:
        return f"refused: {refusal.code}" if str(refusal) else "FAULT: a mute refusal"
    except Exception as fault:  # noqa: BLE001  (what must never be seen, to be told)
        place = traceback.extract_tb(fault.__traceback__)[-1]
        return f"FAULT: {type(fault).__name__}: {fault} ({place.filename}:{place.lineno})"


def tree(root: Path) -> dict[str, int]:
    """Every file below a folder."""
    return {str(p.relative_to(root)): p.stat().st_size for p in root.rglob("*") if p.is_file()}


def target_of(form: str, folder: Path) -> Scans | Frames | Plans:
    if form == "plan":
        return Plans(form, folder)
    if form.startswith("frames of "):
        return Frames(form, folder)
    return Scans(form, folder)


def main() -> None:
    form, seed, runs, root = sys.argv[1], sys.argv[2], int(sys.argv[3]), Path(sys.argv[4])
    warnings.simplefilter("ignore")
    os.chdir(root)
    target = target_of(form, root / "deep" / "down" / "scan")
    before = set(tree(root))
    for number in range(-2, runs):
        draw = random.Random(f"{form} {seed} {number}")
        # Two runs without damage come first: what they need is the measure for the others.
        damaged = target.damage(draw) if number >= 0 else 0
        peak_mb(reset=True)
        start = time.monotonic()
        end = outcome(target.run)
        line = {
            "run": number,
            "end": end,
            "damaged": damaged,
            "seconds": round(time.monotonic() - start, 3),
            "mb": round(peak_mb(reset=False), 1),
            "strays": sorted(set(tree(root)) - before),
        }
        sys.stdout.write(json.dumps(line) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
