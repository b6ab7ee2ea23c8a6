"""The run cannot hang: the limit of a test ends its worker, and the rest goes on."""

from __future__ import annotations

import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

pytest.importorskip("PySide6")

ROOT = Path(__file__).parents[2]
LONG_ENOUGH_S = 240
"""For a run of a second or two, on a machine that is busy with ten other things."""

IN_A_SLOT = """
    def test_that_waits_inside_a_slot(qapp):
        from PySide6.QtCore import QEventLoop, QTimer

        def slot():
            while True:
                QEventLoop().processEvents()

        QTimer.singleShot(0, slot)
        QEventLoop().exec()
"""

HOLDING_PYTHON = """
    def test_that_never_lets_go_of_the_interpreter():
        import ctypes

        ctypes.PyDLL(None).sleep(10_000)
"""


@pytest.mark.parametrize("hanging", [IN_A_SLOT, HOLDING_PYTHON])
def test_a_hanging_test_is_red_and_the_next_one_runs(tmp_path, hanging):
    text = textwrap.dedent(hanging) + "\n\ndef test_after():\n    pass\n"
    (tmp_path / "test_hanging.py").write_text(text, encoding="utf-8")
    watchdog = "from tests import watchdog\n\nwatchdog.GRACE_S = 3.0\n"
    watchdog += "from tests.watchdog import *\n"
    (tmp_path / "conftest.py").write_text(watchdog, encoding="utf-8")
    command = [
        sys.executable, "-m", "pytest", "-c", str(ROOT / "pyproject.toml"), "-n", "1", "-q",
        "-p", "no:cacheprovider", "--timeout", "3", str(tmp_path / "test_hanging.py"),
    ]  # fmt: skip
    ended = subprocess.run(
        command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=LONG_ENOUGH_S
    )
    assert ended.returncode == 1, ended.stdout + ended.stderr
    assert "1 failed, 1 passed" in ended.stdout
