"""Faults of a practice's computer, many times: writes `reports/faults.md`. Some ten minutes.

Killed at any moment, two windows on one case, a full disk, a folder that turns read-only, a clock
that was put back, a scan that vanishes while it is read: each done to real processes that keep a
case (`tests/app/case/fault_runs.py`)::

    python tests/studies/faults.py
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
REPORT = ROOT / "tests" / "studies" / "reports" / "faults.md"
RUNS = {
    "killed": 100, "two windows": 50, "full disk": 20, "read-only": 20, "clock back": 20,
    "vanished scan": 50,
}  # fmt: skip
MEANS = {
    "killed": "kill -9 at a moment drawn within 0.4 s of work; the case is whole, no older than "
    "the last save that was told, offered back, and nothing half-written stays",
    "two windows": "two processes take one case from each other and change it twelve times each; "
    "the last saved state of both is kept, as it is or as what the other went on with",
    "full disk": "no room for the next byte; told, and the last good state stays",
    "read-only": "the folder turns read-only; told, and the last good state stays",
    "clock back": "every file is of a time to come; taken up and saved all the same",
    "vanished scan": "the scan's files are taken away one by one while it is read again and again; "
    "every read is right or refused in a sentence, and the case stays",
}


def main() -> None:
    """Run everything and write the report."""
    rows = []
    for kind, count in RUNS.items():
        with tempfile.TemporaryDirectory() as folder:
            done = subprocess.run(
                [sys.executable, "-m", "tests.app.case.fault_runs", kind, str(count), folder,
                 "study"],
                cwd=ROOT, check=True, capture_output=True, text=True,
            )  # fmt: skip
        found = json.loads(done.stdout.splitlines()[-1])
        rows.append(f"| {kind} | {MEANS[kind]} | {found['runs']} | {len(found['lost'])} |")
        print(rows[-1], *found["lost"], sep="\n", flush=True)
    head = "| fault | what is asked | runs | lost something |\n|---|---|---|---|\n"
    REPORT.write_text(
        "# Faults of the computer\n\nMade by `tests/studies/faults.py`. Each run is a process of "
        f"its own that keeps a case.\n\n{head}" + "\n".join(rows) + "\n"
    )


if __name__ == "__main__":
    main()
