"""The program's own log file: what happened, without a name of a patient or a file in it.

Texts of unknown errors and paths can hold names, so only the types of errors and the places in
the program's code are written.
"""

from __future__ import annotations

import logging
import traceback
from logging.handlers import RotatingFileHandler
from pathlib import Path

from platformdirs import user_log_path

from core.version import PROGRAM

KEPT_BYTES = 500_000
KEPT_FILES = 3

log = logging.getLogger("sounding")


class WithoutNames(logging.Formatter):
    """Writes a record with the places of an error, never with its text or values."""

    def formatException(self, ei: object) -> str:
        """Type and places of an exception, innermost last."""
        kind, _, trace = ei if isinstance(ei, tuple) else (None, None, None)
        places = [
            f"  {Path(frame.filename).name}:{frame.lineno} in {frame.name}"
            for frame in traceback.extract_tb(trace)
        ]
        return "\n".join([f"  {getattr(kind, '__name__', 'error')}", *places])


def log_file() -> Path:
    """Where the bench writes its log."""
    return user_log_path("sounding", appauthor=False) / "bench.log"


def start_logging(path: Path | None = None) -> Path | None:
    """Begin to write the log; None where no file can be written, which stops nothing."""
    path = log_file() if path is None else path
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handler = RotatingFileHandler(
            path, maxBytes=KEPT_BYTES, backupCount=KEPT_FILES, encoding="utf-8"
        )
    except OSError:
        return None
    handler.setFormatter(WithoutNames("%(asctime)s %(levelname)s %(message)s"))
    for old in [h for h in log.handlers if isinstance(h, RotatingFileHandler)]:
        log.removeHandler(old)
        old.close()
    log.addHandler(handler)
    log.setLevel(logging.INFO)
    log.info("%s started", PROGRAM)
    return path
