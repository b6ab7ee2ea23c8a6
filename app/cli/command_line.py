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
from typing import Any, NoReturn, TextIO, cast

from core.errors import SoundingError
from core.inert import inert

DONE, FAULT, UNUSABLE, STOPPED = 0, 1, 2, 130

NOTICE = (
    "Sounding measures and shows what it measured on; it makes no diagnosis and no treatment"
    " decision. It is not a certified medical device. README.md has the full cautions."
)


class _Parser(argparse.ArgumentParser):
    """Says what is wrong with a command in one sentence, without the usage block."""

    def error(self, message: str) -> NoReturn:
        self.exit(UNUSABLE, f"{message[:1].upper()}{message[1:]}. Run '{self.prog} --help'.\n")


def parser() -> argparse.ArgumentParser:
    """Build the whole command line; imports nothing that computes."""
    top = _Parser(prog="sounding", description=NOTICE)
    top.add_argument("--version", action="store_true", help="print the version and stop")
    tasks = top.add_subparsers(title="commands", metavar="COMMAND", parser_class=_Parser)

    def command(name: str, text: str) -> argparse.ArgumentParser:
        sub = tasks.add_parser(name, help=text, description=text)
        sub.set_defaults(command=name)
        return sub

    def scan_of(sub: argparse.ArgumentParser) -> None:
        sub.add_argument("plan", type=Path, metavar="PLAN", help="the plan file (*.plan.json)")
        sub.add_argument("--scan", type=Path, required=True, metavar="PATH", help=_SCAN_HELP)
        sub.add_argument("--series", metavar="UID[:STACK]", help="which series, if there are more")

    def hand_of(sub: argparse.ArgumentParser) -> None:
        sub.add_argument("--hand", type=Path, metavar="FILE", help=_HAND_HELP)
        sub.add_argument("--person", metavar="NAME", help="whose hand, where two took part")

    sub = command("inspect", "Show what an export holds, and what limits measuring on it.")
    sub.add_argument("path", type=Path, metavar="PATH", help=_SCAN_HELP)
    sub.add_argument("--json", action="store_true", help="print JSON in place of text")

    sub = command("measure", "Measure a plan on its scan; print the ledger.")
    scan_of(sub)
    sub.add_argument("--json", type=Path, metavar="FILE", help="write the ledger file as well")
    hand_of(sub)

    sub = command("sheet", "Write the measurement sheet, and the record beside it.")
    scan_of(sub)
    sub.add_argument("--out", type=Path, required=True, metavar="FOLDER", help="where to")
    sub.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="paper size")
    sub.add_argument(
        "--sizes", type=Path, metavar="CSV", help="sizes to try at each pose; else the shipped ones"
    )
    sub.add_argument(
        "--only", choices=("sheet", "record"),
        help="only the sheet, or only what goes beside it: card, checklist, archive, meshes",
    )  # fmt: skip
    hand_of(sub)
    sub.add_argument("--drills", type=Path, metavar="CSV", help="your own table of drills")
    sub.add_argument("--risks", type=Path, metavar="TXT", help="your own text for the patient page")
    sub.add_argument(
        "--pseudonymous", action="store_true",
        help="replace names, dates and UIDs in every file; goes into a folder of its own",
    )  # fmt: skip

    sub = command("section", "Write one section across the arch as a picture.")
    scan_of(sub)
    sub.add_argument("--station", type=float, required=True, metavar="MM", help="place on the arch")
    sub.add_argument("--out", type=Path, required=True, metavar="PNG", help="where to")

    sub = command("open", "Open the bench.")
    sub.add_argument("path", type=Path, nargs="?", metavar="PATH", help=_SCAN_HELP)

    sub = command("demo", "Do the whole job on the sample scan; needs no screen.")
    sub.add_argument("--out", type=Path, metavar="FOLDER", help="where the sheet goes")

    sub = command("components", "List every part of the program here, with its licence.")
    sub.add_argument("--out", type=Path, metavar="FILE", help="write it as a CycloneDX document")

    sub = command("verify", "Test the program on an invented scan; tests no scanner.")
    sub.add_argument("--out", type=Path, metavar="FOLDER", help="where the dated page goes")
    sub.add_argument("--seed", type=_seed, metavar="N", help="draw the scan of an earlier run")
    return top


def _seed(text: str) -> int:
    """A seed from the command line: a whole number from 0."""
    if not text.isdecimal():
        raise argparse.ArgumentTypeError(f"a seed is a whole number from 0, not {text!r}")
    return int(text)


_HAND_HELP = "a repeat study (JSON): the marks count by its scatter, as if the plan named it"
_SCAN_HELP = "the exported folder, file, zip or DICOMDIR"


class InertStream:
    """A stream that writes text `inert`; everything else is the stream's own."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

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
        print("No command was given. Run 'sounding --help'.", file=sys.stderr)
        return UNUSABLE
    from app.cli import commands

    return guarded(lambda: getattr(commands, name)(asked))


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
        print("Stopped before it was done; nothing half-written is left.", file=sys.stderr)
        return STOPPED
    except Exception as fault:  # noqa: BLE001  the last place that can tell the user anything
        print(_told(fault), file=sys.stderr)
        return FAULT
    return DONE


def _told(fault: Exception) -> str:
    """One sentence about a fault of the program; the details go to the log."""
    what = "A fault in the program stopped the work, so no result can be trusted."
    try:
        path = log_file()
        path.parent.mkdir(parents=True, exist_ok=True)
        handler = logging.FileHandler(path, encoding="utf-8")
    except OSError:
        return f"{what} No log could be written either: {type(fault).__name__}: {fault}"
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    # Straight to this file and as a record of its own: a handler that is already there may keep
    # the shortened text of the error on a shared one, and the details would be lost.
    handler.handle(
        logging.LogRecord(
            "sounding", logging.ERROR, __file__, 0, "unexpected fault", None, _with_trace(fault)
        )
    )
    handler.close()
    return f"{what} Please send its details to whoever maintains this installation: {path}"


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
