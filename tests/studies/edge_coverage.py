"""Remake reports/edge_coverage.md: whether truth lies in the stated doubt of edges, in noisy scans.

    python tests/studies/edge_coverage.py [RECONSTRUCTED [DRAWN]]

tests/reference/noisy_scans.py says what is simulated; 200 and 60 scans and fixed seeds unless told
otherwise; about a quarter of an hour.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from scipy.stats import binomtest

ROOT = Path(__file__).parents[2]
for folder in (ROOT, ROOT / "tests" / "reference"):
    sys.path.insert(0, str(folder))

import noisy_scans  # noqa: E402

from core.version import PROGRAM  # noqa: E402

REPORT = Path(__file__).parent / "reports" / "edge_coverage.md"
DECIDED = 120
"""The first so many reconstructed scans set what misfit adds to a doubt; the others set nothing."""


def share(count: int, of: int) -> str:
    """'95.3 % (94.2 to 96.2)' with the exact binomial interval at 95 %."""
    low, high = binomtest(count, of).proportion_ci()
    return f"{100 * count / of:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def of_scans(reconstructed: int, drawn: int) -> list[str]:
    """Coverage of edges: one value a scan drawn for the interval, and all of them."""
    lines = [
        (
            "| scan | value | one a scan: truth inside value ± U (95 % interval) | all, inside |"
            " mean error mm | SD mm | mean u mm |"
        ),
        "|" + "-|" * 7,
    ]
    kinds = (
        ("reconstructed", noisy_scans.reconstructed, reconstructed),
        ("drawn", noisy_scans.drawn, drawn),
    )
    without = []
    for kind, make, count in kinds:
        edges: list[noisy_scans.Edge] = []
        for number in range(count):
            edges += make(number)
            if number % 20 == 19:
                print(kind, number + 1, "scans", flush=True)
        silent = count - len({e.scan for e in edges})
        print(kind, silent, "scans gave no value", flush=True)
        without.append(f"{silent} of {count} {kind}")
        draw = np.random.default_rng(7)
        for value in ("width", "cortex"):
            of_kind = [e for e in edges if e.kind == value]
            lines.append(_coverage(kind, value, of_kind, draw))
            others = [e for e in of_kind if e.scan >= DECIDED]
            if kind == "reconstructed" and others:
                lines.append(_coverage("", f"{value}, scans that set nothing", others, draw))
            for depth in sorted({e.depth_mm for e in of_kind}):
                at = [e for e in of_kind if e.depth_mm == depth]
                lines.append(_coverage("", f"{value}, {depth:g} mm deep", at, draw))
    return [*lines, "", f"Scans that gave no value at all: {', '.join(without)}."]


def _coverage(
    scan: str, value: str, edges: list[noisy_scans.Edge], draw: np.random.Generator
) -> str:
    numbers = sorted({e.scan for e in edges})
    # Values of one scan share its noise and its levels: only one of each counts as a trial.
    one = [draw.choice([e.covered for e in edges if e.scan == n]) for n in numbers]
    off = np.array([e.off_mm for e in edges])
    inside = sum(e.covered for e in edges)
    return (
        f"| {scan} | {value} | {share(int(sum(one)), len(one))} of {len(one)} |"
        f" {100 * inside / len(edges):.1f} % of {len(edges)} | {off.mean():+.3f} |"
        f" {off.std(ddof=1):.3f} | {np.mean([e.u_mm for e in edges]):.3f} |"
    )


def main() -> None:
    """Run all and write the report."""
    reconstructed, drawn = (
        int(sys.argv[n]) if len(sys.argv) > n else usual for n, usual in ((1, 200), (2, 60))
    )
    lines = [
        "# Edges in noisy scans: truth inside the stated doubt",
        "",
        f"Made by `tests/studies/edge_coverage.py {reconstructed} {drawn}` with {PROGRAM}.",
        "",
        (
            "Ridge widths and cortical plates at a drawn place of each scan, against the exact"
            " geometry; *U* by the edges' own standard errors alone, since these scans have an"
            " exact scale and no mark of a hand enters. *Reconstructed*: the two sample scans"
            " (projected and reconstructed with scatter, several energies, quanta and metal), each"
            " with further drawn noise. *Drawn*: a jaw painted into voxels with its pose, voxel,"
            " blur and noise drawn; such scans have no artefacts, and the stated doubt, which"
            " allows for those of a reconstruction, is wider there than it need be. What misfit"
            f" adds to the doubt of cortex was set on the first {DECIDED} reconstructed scans, what"
            " it adds to an outer edge on single edges of the sample scans without further noise,"
            " and what is added within 2 mm of the crest on all of these scans."
        ),
        "",
        *of_scans(reconstructed, drawn),
        "",
    ]
    REPORT.parent.mkdir(exist_ok=True)
    REPORT.write_text("\n".join(lines), encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
