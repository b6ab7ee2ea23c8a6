"""How far long work is: one line on the terminal that is written over, and nothing elsewhere.

Only where standard error is a terminal, and not with ``--quiet``: a log or a pipe gets no line.
No colour is ever printed, so that NO_COLOR (https://no-color.org) asks for nothing more.
"""

from __future__ import annotations

from types import TracebackType
from typing import Self, TextIO

from core.inert import one_line

WIDTH = 78


class Progress:
    """The line; leaving it wipes it away, so that what is printed next stands alone.

    Parameters
    ----------
    stream : TextIO
        Where the line goes, if it is a terminal.
    quiet : bool
    """

    def __init__(self, stream: TextIO, *, quiet: bool = False) -> None:
        self._stream = getattr(stream, "beneath", stream)
        self._shown = not quiet and stream.isatty()
        self._words = ""
        self._last = ""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._write("")

    def stage(self, words: str) -> None:
        """Say what is being done now."""
        self._words = words
        self._write(f"{words} ...")

    def count(self, done: int, total: int) -> None:
        """So many of so many; passed on as ``progress``."""
        self._write(f"{self._words} {done} of {total}" if total else f"{self._words} ...")

    def share(self, part: float) -> None:
        """A part of the whole, 0 to 1; passed on as ``progress``."""
        self._write(f"{self._words} {round(100 * part)} %")

    def _write(self, line: str) -> None:
        if not self._shown or line == self._last:
            return
        shown = one_line(line)[:WIDTH]
        gap = " " * max(0, len(self._last) - len(shown))
        self._stream.write(f"\r{shown}{gap}\r{shown}")
        self._stream.flush()
        self._last = line
