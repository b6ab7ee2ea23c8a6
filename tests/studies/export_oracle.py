"""Exports that lie, many of them, against the truth they were made from; writes a report.

    python tests/studies/export_oracle.py [TIMES [PROCESSES]]

Draws TIMES exports of each kind (306 by default, 30 of those that start a decoding process), reads
each as the program does and holds what it read to the grey value at every voxel centre. Ends with
status 1 where anything was read wrong without a word.
"""

from __future__ import annotations

import os
import sys
import tempfile
import warnings
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
from tests.hostile.lies import KINDS
from tests.hostile.oracle import CLASSES, fault_of, meet

REPORT = Path(__file__).with_name("reports") / "export_oracle.md"
TIMES, DEAR_TIMES = 306, 30
HEAD = f"""# Exports that lie

Made by `tests/studies/export_oracle.py`; nothing here is edited by hand. Each export is drawn from
a seed: a small scan whose grey value is known at every voxel centre in patient mm, written byte by
byte by a writer of its own, and then made to lie. It is read as the program reads; every voxel that
the volume claims (not padding, not made up between two slices) must lie on a centre of the truth
and hold its grey value.

| class | means |
|---|---|
| right | every voxel is so, the whole truth is there, verdicts stand |
| right, told | every voxel is so; a caution is said, or slices are missing and that is said |
| right, stopped | every voxel is so; no verdict stands |
| told | a voxel is wrong; a caution names the contradiction |
| stopped | a voxel is wrong; no verdict stands on this scan |
| refused | nothing is read, with the reason |
| short, untold | slices or rows are missing without a word |
| SILENT | a voxel is wrong without a word |

A *lie* must never be silent or short untold, and where the pictures contradict the header (✱) a
wrong volume must have no verdict. *Honest* kinds say the truth in an unusual way and must be right.
*Untold* kinds are what no header can tell; they show that the oracle sees it.

| kind | nature | exports | {" | ".join(CLASSES)} |
|---|---|---|{"---|" * len(CLASSES)}
"""


def met(work: tuple[str, int]) -> tuple[str, Counter[str], Counter[str], list[str]]:
    """Meet so many exports of one kind: how they ended, what was said, and what must not be."""
    name, times = work
    warnings.simplefilter("ignore")
    ends: Counter[str] = Counter()
    said: Counter[str] = Counter()
    faults: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        for number in range(times):
            outcome = meet(name, f"study {number}", Path(folder) / "scan")
            ends[outcome.end] += 1
            said.update(outcome.codes)
            if fault_of(name, outcome):
                faults.append(f"{name}, {number}: {outcome.end} {', '.join(outcome.codes)}")
    return name, ends, said, faults


def main() -> int:
    times = int(sys.argv[1]) if len(sys.argv) > 1 else TIMES
    processes = int(sys.argv[2]) if len(sys.argv) > 2 else os.cpu_count() or 2
    dear = DEAR_TIMES * times // TIMES or 1
    work = [(name, dear if kind.dear else times) for name, kind in KINDS.items()]
    rows: list[str] = []
    total: Counter[str] = Counter()
    told: Counter[str] = Counter()
    faults: list[str] = []
    with ProcessPoolExecutor(processes) as pool:
        for name, ends, said, wrong in pool.map(met, work):
            kind = KINDS[name]
            star = " ✱" if kind.pixels else ""
            figures = " | ".join(str(ends[end] or "") for end in CLASSES)
            rows.append(f"| {name}{star} | {kind.nature} | {ends.total()} | {figures} |")
            print(rows[-1], flush=True)
            total += ends
            told += said
            faults += wrong
    figures = " | ".join(str(total[end]) for end in CLASSES)
    rows.append(f"| all {len(KINDS)} kinds | | {total.total()} | {figures} |")
    lines = [HEAD.rstrip(), *rows, "", "## What was said", ""]
    lines += ["A code that stops verdicts is marked with !.", "", "| code | exports |", "|---|---|"]
    lines += [f"| `{code}` | {count} |" for code, count in told.most_common()]
    if faults:
        lines += ["", "## Faults", "", *(f"- {fault}" for fault in faults)]
    REPORT.write_text("\n".join(lines) + "\n", "utf-8")
    print(f"{total.total()} exports, {len(faults)} faults")
    return 1 if faults else 0


if __name__ == "__main__":
    raise SystemExit(main())
