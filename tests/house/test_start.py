"""What a start loads: help must be instant, and core must live on a machine without Qt."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
HEAVY = {
    "PIL", "PySide6", "highdicom", "imagecodecs", "numba", "numpy", "pydicom", "pyqtgraph",
    "reportlab", "scipy",
}  # fmt: skip


def modules_after(arguments: list[str]) -> set[str]:
    program = (
        "import json, sys\n"
        "from app.cli.command_line import run\n"
        f"status = run({arguments!r})\n"
        "names = sorted({n.split('.')[0] for n in sys.modules})\n"
        "print('\\n' + json.dumps([status, names]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True
    )
    status, names = json.loads(done.stdout.splitlines()[-1])
    assert status == 0
    return set(names)


@pytest.mark.parametrize("arguments", [["--help"], ["measure", "--help"], ["--version"]])
def test_help_loads_nothing_that_computes_or_shows(arguments):
    loaded = modules_after(arguments)
    assert "argparse" in loaded
    assert loaded & HEAVY == set()


def test_importing_core_alone_loads_nothing():
    program = "import sys, core; dir(core); print(*{n.split('.')[0] for n in sys.modules})"
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert set(done.stdout.split()) & HEAVY == set()


def test_every_public_name_of_core_can_be_had():
    import core

    assert {name for name in core.__all__ if getattr(core, name) is None} == set()
    with pytest.raises(AttributeError, match="no attribute 'depth_of_soul'"):
        _ = core.depth_of_soul


WITHOUT_QT = """
import importlib, os, pkgutil, sys
os.environ["SOUNDING_WITHOUT_QT"] = "1"
sys.path.insert(0, "tests")
import conftest
for name in conftest.QT:
    try:
        importlib.import_module(name)
    except ModuleNotFoundError:
        continue
    sys.exit(f"{name} could be imported although it was hidden")
import core, sample_volumes, app.cli.command_line, app.cli.commands
count = 0
for package in (core, sample_volumes):
    for module in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
        importlib.import_module(module.name)
        count += 1
print(count)
"""


def test_core_samples_and_command_line_need_no_qt():
    """The set-up script also runs all of core's tests with Qt hidden in this way."""
    done = subprocess.run(
        [sys.executable, "-c", WITHOUT_QT], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    here = [p for d in ("core", "sample_volumes") for p in (ROOT / d).rglob("*.py")]
    assert int(done.stdout) >= sum(p.name != "__init__.py" for p in here)
