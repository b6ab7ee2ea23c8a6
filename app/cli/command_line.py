"""The command line: what can be asked, and how every end of it is told.

Exit status: 0 done; 2 the input cannot be used (one plain sentence on stderr); 1 a fault of
the program (a short message; the details go to the log). A verdict is a result, not an error.
"""

from __future__ import annotations

import argparse
import logging
import os
import sys
from collections.abc import Callable, Sequence
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from types import TracebackType
from typing import Any, TextIO, cast

from app.cli.parser import UNUSABLE, parser
from core.errors import SoundingError
from core.inert import inert
from core.words.catalogue import say

DONE, FAULT, STOPPED = 0, 1, 130

_READ = ("plan", "scan", "path", "folder", "cases", "hand", "sizes", "drills", "risks", "ca",
         "cert", "key")  # fmt: skip
"""Names of arguments that are read: what is not there is told before anything else is done."""


class InertStream:
    """A stream that writes text `inert`; everything else is the stream's own."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    @property
    def beneath(self) -> TextIO:
        """The stream itself, for the program's own signs."""
        return self._stream

    def write(self, text: str) -> int:
        """Write text that no terminal obeys."""
        return self._stream.write(inert(text))

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def run(arguments: Sequence[str]) -> int:
    """Carry out one command line.

    Parameters
    ----------
    arguments : sequence of str
        Without the program's name.

    Returns
    -------
    int
        The exit status.
    """
    _print_what_can_be_printed(sys.stdout, sys.stderr)
    with (
        redirect_stdout(cast("TextIO", InertStream(sys.stdout))),
        redirect_stderr(cast("TextIO", InertStream(sys.stderr))),
    ):
        return _run(arguments)


def _run(arguments: Sequence[str]) -> int:
    try:
        asked = parser().parse_args(arguments)
    except SystemExit as end:  # argparse has printed help, or the sentence
        return end.code if isinstance(end.code, int) else FAULT
    if asked.version:
        from core.version import PROGRAM

        print(PROGRAM)
        return DONE
    name = getattr(asked, "command", None)
    if name is None:
        print(say("cli.command_line.no-command-was-given-run"), file=sys.stderr)
        return UNUSABLE
    from app.cli import commands

    return guarded(lambda: _carried_out(getattr(commands, name), asked))


def _carried_out(command: Callable[[argparse.Namespace], None], asked: argparse.Namespace) -> None:
    """Carry out a command whose files are all there.

    Raises
    ------
    SoundingError
        ``input-missing``.
    """
    for name in _READ:
        path = getattr(asked, name, None)
        if isinstance(path, Path) and not os.path.lexists(path):
            raise SoundingError("input-missing", path=path)
    command(asked)


def guarded(work: Callable[[], None]) -> int:
    """Run work and tell its end as an exit status, with a sentence where it failed."""
    try:
        work()
        sys.stdout.flush()
    except SoundingError as refusal:
        print(refusal, file=sys.stderr)
        return UNUSABLE
    except MemoryError:
        print(SoundingError("memory-short"), file=sys.stderr)
        return UNUSABLE
    except BrokenPipeError:
        # The reader of a pipe has what it wanted; Python must not flush into it at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except KeyboardInterrupt:
        print(say("cli.command_line.stopped-before-it-was-done"), file=sys.stderr)
        return STOPPED
    except Exception as fault:  # noqa: BLE001  the last place that can tell the user anything
        print(_told(fault), file=sys.stderr)
        return FAULT
    return DONE


def _told(fault: Exception) -> str:
    """One sentence about a fault of the program; the details go to the log."""
    what = say("cli.command_line.a-fault-in-the-program")
    try:
        path = log_file()
        path.parent.mkdir(parents=True, exist_ok=True)
        handler = logging.FileHandler(path, encoding="utf-8")
    except OSError:
        return say(
            "cli.command_line.no-log-could-be-written",
            what=what,
            name=type(fault).__name__,
            fault=fault,
        )
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    # Straight to this file and as a record of its own: a handler that is already there may keep
    # the shortened text of the error on a shared one, and the details would be lost.
    handler.handle(
        logging.LogRecord(
            "sounding",
            logging.ERROR,
            __file__,
            0,
            say("cli.command_line.unexpected-fault"),
            None,
            _with_trace(fault),
        )
    )
    handler.close()
    return say("cli.command_line.please-send-its-details-to", what=what, path=path)


def _with_trace(fault: Exception) -> tuple[type[Exception], Exception, TracebackType | None]:
    return type(fault), fault, fault.__traceback__


def log_file() -> Path:
    """Where details of a fault are written; they may name files and patients."""
    from platformdirs import user_log_path

    return user_log_path("sounding", appauthor=False) / "faults.log"


def _print_what_can_be_printed(*streams: TextIO) -> None:
    """Let a narrow console show an escape where it lacks a sign, and never a '?'.

    The question mark is the sign of *not assessed* and must not stand for anything else.
    """
    for stream in streams:
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")
