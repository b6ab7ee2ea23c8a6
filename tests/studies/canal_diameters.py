"""Remake reports/canal_diameters.md: diameters of random canals whose truth is known.

    python tests/studies/canal_diameters.py [CANALS]

Canals of tests/core/canal_phantoms.py from seeds that nothing was set by: lumen 2 to 4 mm, wall 0.2
to 0.8 mm, weaker than cortex, missing on a part, beside a cortical plate; voxels 0.2 to 0.4 mm,
blur, noise, uneven bone, a click off the middle, a direction some degrees off.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from scipy.stats import binomtest

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from core.image.canal_fit import fit_canal  # noqa: E402
from core.version import PROGRAM  # noqa: E402
from tests.core.canal_phantoms import random_canal  # noqa: E402

FIRST_SEED = 90_000
REPORT = Path(__file__).parent / "reports" / "canal_diameters.md"


def share(count: int, of: int) -> str:
    """'95.3 % (94.2 to 96.2)' with the exact binomial interval at 95 %."""
    low, high = binomtest(count, of).proportion_ci()
    return f"{100 * count / of:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def row(name: str, errors: np.ndarray, spread: np.ndarray) -> str:
    """One diameter: its errors, and how often truth lies within two standard deviations."""
    inside = int((np.abs(errors) <= 2 * spread).sum())
    return (
        f"| {name} | {errors.mean():+.3f} | {np.abs(errors).mean():.3f} |"
        f" {np.abs(errors).max():.2f} | {spread.mean():.3f} | {share(inside, len(errors))} |"
    )


def main() -> None:
    """Fit them all and write the report."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    outside, lumen, refused = [], [], []
    for seed in range(FIRST_SEED, FIRST_SEED + count):
        canal = random_canal(seed)
        fit = fit_canal(canal.volume, canal.mark_mm, canal.along)
        if fit.diameter_mm is None or fit.lumen_mm is None:
            refused.append(f"{fit.note.code if fit.note else ''}: {canal.words}")
            continue
        outside.append((fit.diameter_mm - canal.outside_mm, fit.sd_mm))
        lumen.append((fit.lumen_mm - canal.lumen_mm, fit.lumen_sd_mm))
    lines = [
        "# Canal diameters from one click: random canals",
        "",
        (
            f"Made by `tests/studies/canal_diameters.py {count}` with {PROGRAM}: {count} canals of"
            " seeds that nothing was set by; tests/core/canal_phantoms.py says how they are drawn."
            f" Refused: {share(len(refused), count)}."
        ),
        "",
        "| diameter | mean error mm | mean absolute | largest | mean SD | truth within 2 SD |",
        "|-|-|-|-|-|-|",
        row("to the outside of the wall", *np.array(outside).T),
        row("lumen", *np.array(lumen).T),
        "",
        "Refused:",
        "",
        *(f"- {words}" for words in refused),
        "",
    ]
    REPORT.write_text("\n".join(lines), encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
