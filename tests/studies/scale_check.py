"""Remake reports/scale_check.md: false alarms on true scans, and wrong scales that are found.

    python tests/studies/scale_check.py [SCANS]

Simulated scans of two balls 20 mm apart, 300 of each kind unless told otherwise; about a minute.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from scipy.stats import binomtest

ROOT = Path(__file__).parents[2]
for folder in (ROOT, ROOT / "tests" / "core"):
    sys.path.insert(0, str(folder))

from bright_phantoms import pair  # noqa: E402

from core.trust.scale_check import judge_scale  # noqa: E402
from core.version import PROGRAM  # noqa: E402

REPORT = Path(__file__).parent / "reports" / "scale_check.md"


def main() -> None:
    """Run all and write the report."""
    scans = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    lines = [
        "# Scale check on simulated scans",
        "",
        (
            f"Made by `tests/studies/scale_check.py {scans}` with {PROGRAM}. Two balls of 2 to 4"
            " mm, 20 mm apart in any direction; voxels 0.2 to 0.4 mm, blur, noise and shading"
            " drawn; marks 0.25 mm off, the caliper up to 0.05 mm off. One pair a scan."
        ),
        "",
        "| true scale | scans | told as failed (95 % interval) | mean deviation | SD | in ± U |",
        "|-|-|-|-|-|-|",
    ]
    for number, scale in enumerate((1.0, 0.98, 1.02)):
        found = [pair(scale, 10_000 * (number + 1) + seed) for seed in range(scans)]
        failed = sum(judge_scale([d]).failed for d in found)
        low, high = binomtest(failed, scans).proportion_ci()
        d = np.array([row.relative for row in found])
        inside = np.mean([abs(row.relative - scale + 1) <= 2 * row.relative_u for row in found])
        lines.append(
            f"| {scale:.2f} | {scans} | {failed / scans:.1%} ({low:.1%} to {high:.1%}) |"
            f" {d.mean():+.2%} | {d.std(ddof=1):.2%} | {inside:.1%} |"
        )
    REPORT.parent.mkdir(exist_ok=True)
    REPORT.write_text("\n".join([*lines, ""]), encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
