"""Starts the bench as a program of its own."""

from __future__ import annotations

import sys

from PySide6.QtWidgets import QApplication

from app.bench import Bench
from app.kept_cases import offer_left_open
from app.logging_setup import start_logging
from app.tidying import Tidying


def show(path: str | None = None) -> int:
    """Open the bench, on a scan or plan where a path is given; returns the exit status."""
    start_logging()
    # A worker in Python gives way to the window after 2 ms, so that a drag stays smooth.
    sys.setswitchinterval(0.002)
    program = QApplication.instance() or QApplication(sys.argv[:1])
    program.setApplicationName("Sounding")
    tidying = Tidying(program)
    bench = Bench()
    bench.resize(1440, 930)
    bench.show()
    tidying.set_aside()
    if path is not None:
        bench.open_path(str(path))
    else:
        offer_left_open(bench)
    status = int(program.exec())
    tidying.deleteLater()
    return status
