"""Faults of a practice's computer, a few times each; many times in `tests/studies/faults.py`."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from app.case.own_files import write_private
from app.case.record import CaseRecord, about
from app.window.bench import Bench
from tests.watchdog import PATIENCE

ROOT = Path(__file__).parents[3]


@pytest.mark.skipif(os.name != "posix", reason="forks, and kills as a crash does")
@pytest.mark.parametrize(
    ("kind", "runs"),
    [
        ("killed", 5), ("two windows", 3), ("full disk", 2), ("read-only", 2), ("clock back", 2),
        ("vanished scan", 3),
    ],
)  # fmt: skip
def test_a_fault_loses_nothing_that_was_told_to_be_saved(tmp_path, kind, runs):
    done = subprocess.run(
        [sys.executable, "-m", "tests.app.case.fault_runs", kind, str(runs), str(tmp_path), "ci"],
        cwd=ROOT, capture_output=True, text=True, check=False, timeout=100 * PATIENCE,
    )  # fmt: skip
    assert done.returncode == 0, f"ended with {done.returncode}: {done.stderr}"
    found = json.loads(done.stdout.splitlines()[-1])
    assert found == {"kind": kind, "runs": runs, "lost": []}


@pytest.mark.skipif(os.name != "posix", reason="forks")
def test_who_comes_late_goes_on_with_what_was_closed_in_order(tmp_path):
    """On a busy machine one process may be through before the other has begun."""
    late = (
        "import json, sys, types; from pathlib import Path; from tests.app.case import fault_runs; "
        "draw = types.SimpleNamespace(random=iter((0.0, 40.0)).__next__); "
        "print(json.dumps(fault_runs.two_windows(Path(sys.argv[1]), draw)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", late, str(tmp_path)],
        cwd=ROOT, capture_output=True, text=True, check=True, timeout=100 * PATIENCE,
    )  # fmt: skip
    assert json.loads(done.stdout.splitlines()[-1]) == ""


def test_a_case_whose_scan_vanished_stays_in_the_list(qtbot, tmp_path, monkeypatch):
    record = CaseRecord(key="x", source=str(tmp_path / "gone"), patient="QUARRY^Sample")
    write_private(tmp_path / "cases" / "x" / "case.json", about(record))
    bench = Bench(tmp_path / "cases")
    qtbot.addWidget(bench)
    asked = []
    monkeypatch.setattr("app.window.opening.ask_folder", lambda *words: asked.append(words) or "")
    bench.opening.take_up(record)
    assert "was moved" in bench.said.text()
    assert len(asked) == 1
    assert bench.session.volume is None
    assert bench.store.recent() == (record,)
