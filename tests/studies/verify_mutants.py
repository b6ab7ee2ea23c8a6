"""Break the program in a copy, one place at a time, and see whether its self-test notices.

    python tests/studies/verify_mutants.py [FIRST LAST]

Each mutant is one changed line in a copy of the tree in a temporary folder; the self-test runs
there in a process of its own and stops at the first check that is not passed. Remakes
reports/verify_mutants.md.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
REPORT = Path(__file__).parent / "reports" / "verify_mutants.md"

MUTANTS: tuple[tuple[str, str, str, str], ...] = (
    ("guard band", "core/measurement.py", "GUARD = 1.645", "GUARD = 0.5"),
    ("verdict without evidence", "core/trust/verdict.py",
     "if reading.upper_bound or stopped or not reading.evidence.is_sound:",
     "if reading.upper_bound or stopped:"),
    ("verdict of an upper bound", "core/trust/verdict.py",
     "if reading.upper_bound or stopped or not", "if stopped or not"),
    ("absolute minimum", "core/trust/verdict.py",
     "return limit.value if limit.lower_line is None else max(limit.value, limit.lower_line)",
     "return limit.value"),
    ("expanded uncertainty", "core/measurement.py", "return 2.0 * self.u", "return 1.0 * self.u"),
    ("voxel term", "core/trust/uncertainty.py", "rectangular_sd(e / 2)", "rectangular_sd(e / 9)"),
    ("scale", "core/trust/uncertainty.py", "DEFAULT_SCALE = 0.007", "DEFAULT_SCALE = 0.0"),
    ("course term", "core/trust/uncertainty.py", "COURSE_SD_MM = 0.32", "COURSE_SD_MM = 0.0"),
    ("marks added before squaring", "core/trust/uncertainty.py",
     "gradients.get(mark.mark, np.zeros(3)) + mark.gradient", "0.5 * mark.gradient"),
    ("canal's radius", "core/distances/tubes.py", "radius = (diameter or 0.0) / 2",
     "radius = (diameter or 0.0) / 3"),
    ("root's radius", "core/distances/tubes.py",
     "_polyline(tapered.points, (first / 2, last / 2)",
     "_polyline(tapered.points, (last / 2, last / 2)"),
    ("foramen's size", "core/distances/tubes.py",
     "radius = float(np.linalg.norm(foramen.mesial - foramen.distal)) / 2", "radius = 0.0"),
    ("drill's tip", "core/distances/drilling.py", "UNKNOWN_TIP_MM = 1.5", "UNKNOWN_TIP_MM = 0.5"),
    ("drill's marks rounded up", "core/distances/drilling.py",
     "np.floor(depth_mm / step_mm + _WHOLE_STEP)", "np.ceil(depth_mm / step_mm + _WHOLE_STEP)"),
    ("slope of the grey values", "core/scan/open.py", "        slope=voxels.slope,",
     "        slope=1.0,"),
    ("buccal and lingual swapped", "core/arch.py",
     "origin, travel, buccal = arch.directions(station_mm)",
     "origin, travel, buccal = arch.directions(station_mm); buccal = -buccal"),
    ("station", "core/arch.py", "return _station(self, vector(point_mm).tobytes())",
     "return _station(self, vector(point_mm).tobytes()) + 3.0"),
    ("platform's depth", "core/bone/ridge.py",
     "crest_mm=crest, platform_depth=reading)",
     "crest_mm=crest, platform_depth=_none(Note('rim_not_found')))"),
    ("undercut's depth", "core/bone/undercut.py", "depth = max(0.0, x_p - x_a)",
     "depth = max(0.0, 0.8 * (x_p - x_a))"),
    ("undercut's angle", "core/bone/undercut.py",
     "value=float(np.degrees(np.arctan2(rise, depth))),",
     "value=float(np.degrees(np.arctan2(depth, rise))),"),
    ("shipped limit", "core/plans/limits.py", 'key="canal",\n        value=2.0',
     'key="canal",\n        value=1.0'),
    ("fixture's shape", "core/fixture.py", "(self.length_mm, self.apical / 2),",
     "(self.length_mm - 1.0, self.apical / 2),"),
    ("impossible sizes", "core/plans/plausible.py",
     "if not self.least <= value_mm <= self.most:", "if value_mm < 0:"),
    ("changed voxels", "core/plans/plan_file.py", '"plan-scan-changed"', '"plan-not-tied"'),
)  # fmt: skip

DRIVER = """
import sys, tempfile
from pathlib import Path
import numpy as np
from app.background import self_test_run
from core.measuring.self_test_rules import rule_checks
draw, seed = np.random.default_rng(7), 7
with tempfile.TemporaryDirectory() as name:
    quiet = lambda step: None
    for part, found in (
        ("the rules", rule_checks()),
        ("the lower jaw", self_test_run.lower_jaw(draw, seed, Path(name) / "lower", quiet)),
        ("the upper jaw", self_test_run.upper_jaw(draw, seed, Path(name) / "upper", quiet)),
    ):
        for check in self_test_run._to_the_end(part, found):
            if not check.passed:
                print("NOTICED", check.what)
                sys.exit(1)
print("PASSED")
"""


def noticed_by(file: str, old: str, new: str) -> str:
    """The first check that a mutant does not pass; empty where it passes them all."""
    with tempfile.TemporaryDirectory() as name:
        copy = Path(name)
        for folder in ("core", "app", "sample_volumes"):
            shutil.copytree(ROOT / folder, copy / folder, ignore=shutil.ignore_patterns("*.dcm"))
        if file:
            text = (copy / file).read_text(encoding="utf-8")
            if text.count(old) < 1:
                raise ValueError(f"{file} has no {old!r}: the list of mutants is out of date")
            (copy / file).write_text(text.replace(old, new, 1), encoding="utf-8")
        run = subprocess.run([sys.executable, "-c", DRIVER], cwd=copy, capture_output=True,
                             text=True, check=False,
                             env={**os.environ, "PYTHONPATH": str(copy)})  # fmt: skip
        lines = run.stdout.strip().splitlines()
        last = lines[-1] if lines else ""
        if last.startswith("NOTICED"):
            return last.removeprefix("NOTICED ")
        if last == "PASSED":
            return ""
        return f"did not run: {run.stderr.strip().splitlines()[-1]}"


def main() -> None:
    """Try them all and write the report."""
    chosen = MUTANTS
    if len(sys.argv) > 2:
        chosen = MUTANTS[int(sys.argv[1]) : int(sys.argv[2])]
    whole = noticed_by("", "", "") if chosen is MUTANTS else ""
    if whole:
        raise SystemExit(f"the self-test fails without any mutant: {whole}")
    rows = []
    for name, file, old, new in chosen:
        found = noticed_by(file, old, new)
        rows.append(f"| {name} | `{file}` | {found or 'NOT NOTICED'} |")
        print(rows[-1], flush=True)
    caught = sum("NOT NOTICED" not in row and "did not run" not in row for row in rows)
    lines = [
        "# Deliberate faults and the self-test", "",
        f"Made by `tests/studies/verify_mutants.py`: {caught} of {len(rows)} faults noticed.", "",
        "| fault | in | first check that noticed it |", "|-|-|-|", *rows, "",
    ]  # fmt: skip
    if chosen is MUTANTS:
        REPORT.write_text("\n".join(lines), encoding="utf-8")


if __name__ == "__main__":
    main()
