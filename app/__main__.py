"""Entry point of ``sounding`` and ``python -m app``."""

from __future__ import annotations

import multiprocessing
import sys


def main() -> None:
    """Run the command line and leave with its exit status."""
    # First of all: a frozen program starts its decoding children through this very function.
    multiprocessing.freeze_support()
    from app.cli.command_line import run

    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()
