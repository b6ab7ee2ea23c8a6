"""Lint, format, types and import walls are part of the tests, from the first day."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TOOLS = {
    "lint": ["-m", "ruff", "check", "--quiet", "."],
    "format": ["-m", "ruff", "format", "--check", "--quiet", "."],
    "types": ["-m", "mypy", "--no-error-summary"],  # files and strictness: pyproject.toml
    "import walls": [
        "-c",
        "from importlinter.cli import lint_imports_command as c; c(['--no-cache'])",
    ],
}


@pytest.mark.timeout(1800)  # types of a cold start on a small, busy machine
@pytest.mark.parametrize("tool", TOOLS)
def test_tool_finds_nothing(tool):
    done = subprocess.run(
        [sys.executable, *TOOLS[tool]], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, f"{tool}:\n{done.stdout}{done.stderr}"
