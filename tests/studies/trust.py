"""Remake reports/trust.md: budgets against Monte Carlo, coverage of clearances, false comfort.

    python tests/studies/trust.py [CASES]

Simulated cases with known truth (tests/reference/uncertainty_cases.py says what is simulated);
2,000 cases and fixed seeds unless told otherwise; takes a few minutes. Edges in noisy scans:
tests/studies/edge_coverage.py.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from scipy.stats import binomtest

ROOT = Path(__file__).parents[2]
for folder in (ROOT, ROOT / "tests" / "reference"):
    sys.path.insert(0, str(folder))

import uncertainty_cases as simulated  # noqa: E402

from core.version import PROGRAM  # noqa: E402

DRAWS = 10_000
REPORT = Path(__file__).parent / "reports" / "trust.md"


def share(count: int, of: int) -> str:
    """'95.3 % (94.2 to 96.2)' with the exact binomial interval at 95 %."""
    low, high = binomtest(count, of).proportion_ci()
    return f"{100 * count / of:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def against_monte_carlo() -> list[str]:
    """One row a case: u by the budget and by propagated distributions."""
    rows = ["| case | value mm | u budget | u Monte Carlo | ratio | mean - value |", "|-" * 6 + "|"]
    for seed, case in enumerate([*simulated.ten_cases(), simulated.level_case()]):
        reading = case.reading()
        u = case.budget(reading).u
        values = simulated.monte_carlo(case, DRAWS, seed)
        sd = values.std(ddof=1)
        rows.append(
            f"| {case.name} | {reading.value:.3f} | {u:.3f} | {sd:.3f} | {u / sd:.3f} |"
            f" {values.mean() - reading.value:+.3f} |"
        )
    return rows


def with_a_bias() -> list[str]:
    """Truth inside value ± U where a bias of SD 0.36 mm is drawn, with and without scatter."""
    rows = ["| each mark errs besides by | truth inside value ± U |", "|-|-|"]
    for own, words in ((0.0, "nothing"), (0.5, "half its spread"), (1.0, "its spread")):
        inside = simulated.course_coverage(3000, seed=36, bias_sd_mm=0.36, own_sd_share=own)
        rows.append(f"| {words} | {share(inside, 3000)} |")
    return rows


def main() -> None:
    """Run all and write the report."""
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    outcomes = simulated.outcomes(cases, seed=36)
    inside = sum(o.covered for o in outcomes)
    inner = [o for o in outcomes if o.true_mm >= o.limit_mm]
    short = [o for o in outcomes if o.true_mm < o.limit_mm]
    met = [o for o in outcomes if o.verdict == "meets limit"]
    wrong = sum(o.true_mm < o.limit_mm for o in met)
    near = sum(o.verdict == "too near to tell" for o in outcomes)
    below = sum(o.verdict == "below limit" for o in inner)
    errors = np.array([o.value_mm - o.true_mm for o in outcomes])
    lines = [
        "# How far the figures can be trusted: simulated cases",
        "",
        (
            f"Made by `tests/studies/trust.py {cases}` with {PROGRAM}. {cases} cases of eleven"
            " kinds in random poses, true gaps from 1.2 mm under to 2.5 mm over the limit. The"
            " truth is by brute force, apart from the program. What is drawn is what the budget"
            " says it covers: so this tests its arithmetic, not whether 0.25 mm a mark or 0.32 mm a"
            " course is right for anybody's hand."
        ),
        "",
        "| question | share (95 % interval) |",
        "|-|-|",
        f"| truth inside value ± U | {share(inside, cases)} |",
        f"| *meets limit* that was wrong, of all *meets limit* | {share(wrong, len(met))} |",
        f"| *meets limit*, of all that truly miss it | {share(wrong, len(short))} |",
        f"| *below limit*, of all that truly keep it | {share(below, len(inner))} |",
        f"| *too near to tell*, of all | {share(near, cases)} |",
        "",
        f"Mean of value - truth {errors.mean():+.3f} mm, SD {errors.std(ddof=1):.3f} mm.",
        "",
        "## One person's bias along a whole course",
        "",
        (
            "Canals and vessels marked with one error common to all their marks, of SD 0.36 mm in"
            " each direction, which is not the program's own figure; 3,000 courses a row."
        ),
        "",
        *with_a_bias(),
        "",
        f"## Budget against Monte Carlo, {DRAWS:,} draws (JCGM 101:2008)",
        "",
        *against_monte_carlo(),
        "",
        (
            "A canal that runs level with a fixture's flat end: the nearest place jumps, so that"
            " the least of many is steadier and smaller than one mark's influence says. The budget"
            " is then too wide, never too narrow."
        ),
        "",
    ]
    REPORT.parent.mkdir(exist_ok=True)
    REPORT.write_text("\n".join(lines), encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
