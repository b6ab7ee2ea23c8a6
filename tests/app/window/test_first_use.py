"""The first use on a computer: compiled in a process of its own, counted, and only once."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.watchdog import PATIENCE

pytest.importorskip("PySide6")

from app.window import first_compile
from app.window.first_compile import STEPS
from app.window.kernel_warm_up import FirstUse

MEASURED = """
import sample_volumes
from core import load_plan, measure, open_scan
name = "lower_left_36"
plan = load_plan(sample_volumes.path(f"{name}.plan.json"))
measure(plan, open_scan(sample_volumes.path(name)))
"""

LOADED = """
import sys
from app import __main__
from app.window.first_compile import compile_all
print(compile_all.__name__, "PySide6" in sys.modules or "shiboken6" in sys.modules)
"""


@pytest.fixture
def cache(tmp_path, monkeypatch):
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    return tmp_path


@pytest.mark.timeout(3600)  # the child gives way to whatever else runs on a busy machine
def test_it_is_said_while_it_lasts_and_happens_once(qtbot, cache, monkeypatch):
    said = []
    first = FirstUse()
    first.told.connect(said.append)
    first.begin()
    assert said[0].startswith("First use on this computer")
    assert f"of {STEPS}" in said[0]
    qtbot.waitUntil(lambda: not first.running, timeout=480_000)
    assert said[-1] == ""
    assert first_compile.mark().exists()
    assert list(cache.rglob("*.nbi")), "nothing was compiled into the cache"
    said.clear()
    first.begin()
    assert not first.running
    assert said == []
    # In a process of its own: what this one has compiled already would hide a gap.
    before = {p: p.stat().st_mtime_ns for p in cache.rglob("*.nbc")}
    root = Path(first_compile.__file__).parents[2]
    subprocess.run([sys.executable, "-c", MEASURED], cwd=root, check=True, timeout=300 * PATIENCE)
    assert {p: p.stat().st_mtime_ns for p in cache.rglob("*.nbc")} == before


def test_ending_the_program_ends_the_child(qtbot, cache):
    first = FirstUse()
    first.begin()
    child = first._child
    first.stop()
    assert not child.is_alive()
    assert not first_compile.mark().exists()


def test_the_child_does_without_the_toolkit():
    """With it loaded each of the compiler's many imports takes longer: a sixteenth of all."""
    root = Path(first_compile.__file__).parents[2]
    told = subprocess.check_output([sys.executable, "-c", LOADED], cwd=root, text=True)
    assert told.split() == ["compile_all", "False"]
