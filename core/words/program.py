"""Sentences about: the program itself."""

from __future__ import annotations

SENTENCES: dict[str, str] = {
    "bench-not-installed": (
        "The bench's window parts are not installed - only the command line works without them"
        " - run 'sh app/setup.sh open' in the program's folder, or install with '[bench]'."
    ),
}
