"""Entry point of ``sounding`` and ``python -m app``."""

from __future__ import annotations

import multiprocessing
import sys

import app
import core

UNUSABLE = 2


def main() -> None:
    """Run the command line and leave with its exit status."""
    # First of all: a frozen program starts its decoding children through this very function.
    multiprocessing.freeze_support()
    if trouble := foreign():
        sys.stderr.write(f"{trouble}\n")
        sys.exit(UNUSABLE)
    from app.cli.command_line import run

    sys.exit(run(sys.argv[1:]))


def foreign() -> str:
    """A sentence where Python found another distribution's ``app`` or ``core``; empty where not.

    Both names are common ones. Parts of two programs mixed could measure wrongly, so nothing of
    either is used.
    """
    for package in (app, core):
        if getattr(package, "DISTRIBUTION", "") != "sounding":
            return (
                f"Sounding cannot start: another program has put its own package named"
                f" '{package.__name__}' in the way ({package.__file__}), and measuring with parts"
                f" of two programs is not safe. Install Sounding in an environment of its own."
            )
    return ""


if __name__ == "__main__":
    main()
