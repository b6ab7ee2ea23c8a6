"""Makes `app/locked/*.txt` anew from `app/constraints.txt`: every part with the sums of its files.

What is pinned there stands here with the SHA-256 of every file that the package index offers for
it, for all systems and Pythons of `pyproject.toml`; an installation takes nothing else. Needs uv
(https://docs.astral.sh/uv) on the path and a network; takes half a minute::

    python tests/studies/lock_parts.py

Each list holds what the one before it lacks: `run` measures, `bench` adds the window, `test` adds
what only the tests need.
"""

from __future__ import annotations

import re
import subprocess
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
LOCKED = ROOT / "app" / "locked"
LISTS = {"run": (), "bench": ("bench",), "test": ("bench", "test")}
BUILD = "hatchling>=1.26\neditables>=0.5\n"
"""What puts the program itself into the environment: no part may come past the sums."""

HEAD = "# Made by tests/studies/lock_parts.py from app/constraints.txt; not to be edited by hand.\n"


def locked(extras: tuple[str, ...]) -> list[str]:
    """One entry a part, with its sums, as uv resolves them."""
    with tempfile.TemporaryDirectory() as folder:
        build, out = Path(folder) / "build.in", Path(folder) / "out.txt"
        build.write_text(BUILD)
        chosen = [word for extra in extras for word in ("--extra", extra)]
        subprocess.run(
            [
                "uv", "pip", "compile", "--quiet", "--universal", "--python-version", "3.11",
                "--generate-hashes", "--no-annotate", "--no-header", *chosen,
                "--constraint", str(ROOT / "app" / "constraints.txt"),
                str(ROOT / "pyproject.toml"), str(build), "--output-file", str(out),
            ],
            check=True,
        )  # fmt: skip
        return re.split(r"\n(?=\S)", out.read_text().strip())


def main() -> None:
    """Write the three lists."""
    LOCKED.mkdir(exist_ok=True)
    before: list[str] = []
    below = ""
    for name, extras in LISTS.items():
        entries = locked(extras)
        further = [entry for entry in entries if entry not in before]
        text = HEAD + (f"-r {below}.txt\n" if below else "") + "\n".join(further) + "\n"
        (LOCKED / f"{name}.txt").write_text(text)
        print(f"{name}: {len(further)} parts")
        before, below = entries, name


if __name__ == "__main__":
    main()
