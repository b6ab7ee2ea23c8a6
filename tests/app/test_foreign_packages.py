"""Another distribution's package of the same name is refused in one sentence, before any work."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
START = "from app.__main__ import main; main()"


def started(*folders):
    # -P: only the named folders and the environment's own are searched.
    return subprocess.run(
        [sys.executable, "-P", "-c", START, "--version"], capture_output=True, text=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(map(str, folders))}, check=False,
    )  # fmt: skip


def test_alone_it_starts():
    done = started(ROOT)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_foreign_core_ahead_of_ours_is_refused(tmp_path):
    (tmp_path / "core").mkdir()
    (tmp_path / "core" / "__init__.py").write_text('"""Somebody else\'s."""\n')
    done = started(tmp_path, ROOT)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1
    assert str(tmp_path / "core") in done.stderr
    assert "environment of its own" in done.stderr


@pytest.mark.parametrize("name", ["app", "core"])
def test_a_package_that_another_installation_overwrote_is_refused(tmp_path, name):
    for package in ("app", "core"):
        shutil.copytree(ROOT / package, tmp_path / package, ignore=shutil.ignore_patterns("*.pyc"))
    (tmp_path / name / "__init__.py").write_text("")
    done = started(tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert f"'{name}'" in done.stderr
