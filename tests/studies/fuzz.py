"""Damaged input of every form, more of it than the tests meet; writes a report.

    python tests/studies/fuzz.py [TIMES]

Each form is met with the tests' own fixed damage and, TIMES - 1 times more (2 by default in all),
with other damage. Ends with status 1 where anything happened that must not.
"""

from __future__ import annotations

import platform
import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parents[1] / "hostile"))
import runs

REPORT = Path(__file__).with_name("reports") / "hostile_input.md"


def met(form: str, times: int) -> list[runs.Met]:
    """Meet one form with the fixed damage, then with other damage."""
    found = []
    for number in range(times):
        seed = "fixed" if number == 0 else f"more {number}"
        with tempfile.TemporaryDirectory() as folder:
            found.append(runs.meet(form, Path(folder), runs=runs.RUNS[form], seed=seed))
    return found


def main() -> int:
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 2
    lines = [
        "# Hostile input",
        "",
        "Made by `tests/studies/fuzz.py`; nothing here is edited by hand. A six-slice scan in",
        "every form and a plan that holds one of everything are damaged: bytes changed, swapped,",
        "cut out, put in and cut off, lengths falsified, values of plans replaced. Every run must",
        "end in a refusal with its sentence, or in a volume or ledger with its checks: never in",
        "another exception, a dead program, a stall, more memory (peak of the whole process), or",
        "a file where none belongs. Compressed pictures are also handed straight to the process",
        "that decodes them.",
        "",
        f"At most {runs.MOST_SECONDS:g} s and {runs.MOST_MEMORY:g} × the undamaged memory.",
        f"{platform.machine()}, Python {platform.python_version()}.",
        f"The tests' own damage, and {times - 1} × as much again.",
        "",
        "| form | runs | damaged files | read | refused | faults | longest s | memory × |",
        "|---|---|---|---|---|---|---|---|",
    ]
    faults: list[str] = []
    ends: Counter[str] = Counter()
    total = [0, 0]
    for form in runs.RUNS:
        all_met = met(form, times)
        found = [fault for one in all_met for fault in one.faults()]
        here = sum((one.ends for one in all_met), Counter())
        count, damaged = here.total(), sum(one.damaged for one in all_met)
        total = [total[0] + count, total[1] + damaged]
        lines.append(
            f"| {form} | {count} | {damaged} | {here['opened']} "
            f"| {count - here['opened'] - sum(n for e, n in here.items() if e[:5] == 'FAULT')} "
            f"| {len(found)} | {max(one.seconds for one in all_met):.2f} "
            f"| {max(one.memory for one in all_met):.2f} |"
        )
        print(lines[-1], flush=True)
        faults += found
        ends += here
    lines += [
        f"| all | {total[0]} | {total[1]} | {ends['opened']} | | {len(faults)} | | |",
        "",
        "## How refusals were worded",
        "",
        "| code | runs |",
        "|---|---|",
        *(f"| `{end.removeprefix('refused: ')}` | {n} |" for end, n in ends.most_common()
          if end.startswith("refused")),
    ]  # fmt: skip
    if faults:
        lines += ["", "## Faults", "", *(f"- {fault}" for fault in faults)]
    REPORT.parent.mkdir(exist_ok=True)
    REPORT.write_text("\n".join(lines) + "\n", "utf-8")
    print(f"{total[0]} runs, {len(faults)} faults")
    return 1 if faults else 0


if __name__ == "__main__":
    raise SystemExit(main())
