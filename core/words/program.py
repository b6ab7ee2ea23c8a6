"""Sentences about: the program itself."""

from __future__ import annotations

SENTENCES: dict[str, str] = {
    "memory-short": (
        "This computer has too little free memory for this step - it was given up, nothing was "
        "changed, and no number comes from it - close other programs, or export a smaller field, "
        "and try again."
    ),
    "input-missing": (
        "There is no file or folder {path} - nothing was read and nothing was written - check its "
        "name and the folder that you are in."
    ),
    "bench-not-installed": (
        "The bench's window parts are not installed - only the command line works without them"
        " - run 'sh app/setup.sh open' in the program's folder, or install with '[bench]'."
    ),
}
