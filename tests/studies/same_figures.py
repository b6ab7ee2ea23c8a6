"""Do two states of the program measure the same, to the last digit?

    python tests/studies/same_figures.py BEFORE AFTER [--jaws 20]

BEFORE and AFTER are commits. Each is unpacked and measures, in a process of its own, both sample
cases and random jaws; every number of every row is compared as it is in memory, not as it is
printed. What is only worded otherwise, codes of notes and names of budget terms, is told apart.
Ends with 1 where a number differs.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = (
    ("lower_left_36", "lower_left_36.plan.json"),
    ("lower_left_36", "lower_left_36_wrong.plan.json"),
    ("upper_right_15", "upper_right_15.plan.json"),
    ("upper_right_15", "upper_right_15_wrong.plan.json"),
)


def cases(jaws: int) -> Iterator[tuple[str, Callable[[], tuple[Any, Any]]]]:
    """Name of each case, and what makes its plan and volume by the code of the state that runs."""
    import sample_volumes
    from core import load_plan, open_scan
    from tests.reference.random_jaws import case

    def sample(scan: str, plan: str) -> tuple[Any, Any]:
        return load_plan(sample_volumes.path(plan)), open_scan(sample_volumes.path(scan))

    def jaw(seed: int) -> tuple[Any, Any]:
        made = case(seed)
        return made.plan, made.volume

    for scan, plan in SAMPLES:
        yield plan, partial(sample, scan, plan)
    for seed in range(jaws):
        yield f"jaw {seed}", partial(jaw, seed)


def row(m: Any) -> dict[str, Any]:
    """Numbers and words of a measurement; floats keep every digit in JSON (repr)."""
    reading, budget, limit = m.reading, m.budget, m.limit
    details = m.details.by_key()
    return {
        "numbers": {
            "value": reading.value,
            "uncertainty": None if budget is None else budget.expanded,
            "at least": m.at_least,
            "limit": None if limit is None else limit.value,
            "witness": None if reading.witness is None else [list(p) for p in reading.witness],
            "along": reading.along_mm,
            "across": reading.across_mm,
            "terms": [] if budget is None else [t.u for t in budget.terms],
            "details": {k: v for k, v in details.items() if isinstance(v, float)},
            "verdict": None if m.verdict is None else str(m.verdict),
        },
        "words": {
            "notes": [str(n.code) for n in reading.notes],
            "terms": [] if budget is None else [str(t.name) for t in budget.terms],
        },
    }


def write(out: Path, jaws: int) -> None:
    """Measure with whatever state stands first on the path; goes on where an earlier run ended."""
    import core
    from core import SoundingError, measure

    if not Path(str(core.__file__)).is_relative_to(Path.cwd()):
        raise SystemExit(f"another state would be measured: {core.__file__}")
    found: dict[str, Any] = json.loads(out.read_text("utf-8")) if out.exists() else {}
    for name, make in cases(jaws):
        if name in found:
            continue
        plan, volume = make()
        try:
            rows = {m.id: row(m) for m in measure(plan, volume).measurements}
        except SoundingError as error:
            rows = {"refused": {"numbers": {}, "words": {"code": error.code}}}
        voxels = hashlib.sha256(volume.voxels.tobytes()).hexdigest()
        found[name] = {"voxels": voxels, "rows": rows}
        out.write_text(json.dumps(found, default=float), "utf-8")


def measured(commit: str, jaws: int) -> dict[str, Any]:
    """Figures of a commit, by this file's own measuring half in a copy of it."""
    with tempfile.TemporaryDirectory() as name:
        copy = Path(name).resolve()
        packed = subprocess.run(
            ["git", "archive", commit], cwd=ROOT, capture_output=True, check=True
        )
        subprocess.run(["tar", "-x", "-C", name], input=packed.stdout, check=True)
        out = copy / "figures.json"
        subprocess.run(
            [sys.executable, __file__, "--write", str(out), "--jaws", str(jaws)],
            cwd=copy, env={**os.environ, "PYTHONPATH": str(copy)}, check=True,
        )  # fmt: skip
        return json.loads(out.read_text("utf-8"))


def differences(before: dict[str, Any], after: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """``number`` or ``word``, and where what changed."""
    for name in sorted(before | after):
        old, new = before[name], after[name]
        if old["voxels"] != new["voxels"]:
            yield "number", f"{name}: another scan"
            continue
        for row_id in sorted(old["rows"] | new["rows"]):
            a, b = old["rows"].get(row_id), new["rows"].get(row_id)
            if a is None or b is None:
                yield "number", f"{name} {row_id}: only {'after' if a is None else 'before'}"
                continue
            for part, kind in (("numbers", "number"), ("words", "word")):
                for key in a[part] | b[part]:
                    was, now = a[part].get(key), b[part].get(key)
                    # Text, since a value that is not a number is not equal to itself.
                    if json.dumps(was) != json.dumps(now):
                        yield kind, f"{name} {row_id} {key}: {was} became {now}"


def main() -> int:
    """Compare two commits, or write the figures of the state that runs."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("commits", nargs="*")
    asked.add_argument("--jaws", type=int, default=20)
    asked.add_argument("--write", type=Path)
    told = asked.parse_args()
    if told.write is not None:
        write(told.write, told.jaws)
        return 0
    before, after = (measured(commit, told.jaws) for commit in told.commits)
    rows = sum(len(one["rows"]) for one in before.values())
    found = list(differences(before, after))
    for kind, what in found:
        print(f"{kind}: {what}")
    numbers = sum(kind == "number" for kind, _ in found)
    print(
        f"{len(before)} cases, {rows} rows: {numbers} numbers and {len(found) - numbers} words "
        f"differ between {told.commits[0]} and {told.commits[1]}"
    )
    return 1 if numbers else 0


if __name__ == "__main__":
    sys.exit(main())
