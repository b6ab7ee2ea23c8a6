"""What is proposed on opening, on real jaw shapes and random jaws: right, wrong, or nothing.

Writes ``tests/studies/reports/proposals.md`` from the rows of one or more runs::

    python tests/studies/proposals.py run --of real --first 100000 --count 48 --out ROWS.jsonl
    python tests/studies/proposals.py report ROWS.jsonl [MORE.jsonl] --state COMMIT

Seeds under 100000 are open: choices may be tuned on them; the others are held back.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[2])]

from core.proposing.propose import propose  # noqa: E402
from tests.reference.proposal_cases import (  # noqa: E402
    Judged,
    judged,
    random_case,
    real_case,
)

MAKERS = {"real": real_case, "random": random_case}
MOST_WITHOUT = 0.15
GROUPS: dict[str, Callable[[Judged], str]] = {
    "shape": lambda j: f"{j.source}, {j.shape}",
    "field": lambda j: f"{j.source}, {'whole' if j.field_mm is None else f'{j.field_mm:g} mm'}",
    "tilt": lambda j: f"{5 * int(j.tilt_deg // 5):2d} to {5 * int(j.tilt_deg // 5) + 5}°",
    "jaw": lambda j: f"{j.source}, {j.jaw}",
    "plane from": lambda j: "none" if j.called is None else j.plane_from,
}


def run(of: str, seeds: range, out: Path) -> None:
    """Propose for cases and append their rows."""
    with out.open("a") as file:
        for seed in seeds:
            case = MAKERS[of](seed)
            row = judged(seed, case, propose(case.volume))
            file.write(json.dumps(row.record()) + "\n")
            file.flush()


def _line(name: str, rows: list[Judged]) -> str:
    found = [j for j in rows if j.called is not None]
    wrong = [j for j in found if j.wrong]
    said = sum(j.leans_and_says_so for j in found)

    def most(values: list[float]) -> str:
        return f"{np.median(values):.2f} / {max(values):.2f}" if values else "–"

    cells = [
        name, len(rows), len(found) - len(wrong), len(wrong),
        f"{len(rows) - len(found)} ({100 * (1 - len(found) / len(rows)):.0f} %)",
        sum("jaw" in j.wrong for j in found), said, most([j.plane_deg for j in found]),
        most([j.median_mm for j in found]), most([j.worst_mm for j in found]),
    ]  # fmt: skip
    return "| " + " | ".join(str(cell) for cell in cells) + " |"


def report(rows: list[Judged], state: str) -> str:
    """The page."""
    real = [j for j in rows if j.source == "real"]
    none = sum(j.called is None for j in real)
    false = [j for j in rows if j.wrong]
    share = none / max(1, len(real))
    head = "| {} | cases | right | wrong | none | jaw confused | leans, and says so | plane, ° | arch median, mm | arch worst, mm |"  # noqa: E501
    lines = [
        "# Proposals on opening", "",
        "Made by `tests/studies/proposals.py` on the cases of `tests/reference/proposal_cases.py`.",
        "*Wrong*: the other jaw, an arch 1.5 mm off the crest in the median or 4 mm anywhere in",
        "its middle 80 %, or a plane 4° off in a way that it is called found. *Leans, and says",
        "so*: 4° off in a way that is said not to be found. Angles and mm: median / greatest.",
        f"The program measured: {state}. Seeds: {_seeds(rows)}.", "",
        f"- Wrong proposals: {len(false)} of {len(rows)} cases.",
        *(f"  - {_told(j)}" for j in false),
        f"- Real shapes without a proposal: {none} of {len(real)} ({100 * share:.0f} %).",
        f"- At most 15 % without are wanted: {_met(share <= MOST_WITHOUT)}.", "",
    ]  # fmt: skip
    for name, key in GROUPS.items():
        lines += [head.format(name), "|" + "---|" * 10]
        lines += [
            _line(group, [j for j in rows if key(j) == group])
            for group in sorted(set(map(key, rows)))
        ]
        lines.append("")
    return "\n".join(lines)


def _seeds(rows: list[Judged]) -> str:
    parts = []
    for source in MAKERS:
        seeds = [j.seed for j in rows if j.source == source]
        if seeds:
            parts.append(f"{source} {min(seeds)} to {max(seeds)} ({len(seeds)})")
    return ", ".join(parts)


def _met(held: bool) -> str:
    return "reached" if held else "**not reached**"


def _told(j: Judged) -> str:
    return (
        f"{j.source} {j.seed} ({j.shape}, {j.jaw}, {j.field_mm} mm): {' and '.join(j.wrong)},"
        f" plane {j.plane_deg}°, arch {j.median_mm} / {j.worst_mm} mm"
    )


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    runs = commands.add_parser("run")
    runs.add_argument("--of", choices=MAKERS, default="real")
    runs.add_argument("--first", type=int, required=True)
    runs.add_argument("--count", type=int, required=True)
    runs.add_argument("--out", type=Path, required=True)
    reports = commands.add_parser("report")
    reports.add_argument("rows", type=Path, nargs="+")
    reports.add_argument("--state", required=True)
    told = parser.parse_args()
    if told.command == "run":
        run(told.of, range(told.first, told.first + told.count), told.out)
        return
    rows = [Judged(**json.loads(line)) for path in told.rows for line in path.open()]
    (HERE.parent / "reports" / "proposals.md").write_text(report(rows, told.state), "utf-8")


if __name__ == "__main__":
    main()
