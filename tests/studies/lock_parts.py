"""Makes `app/locked/*.txt` anew: every part with its version and the sums of its files.

The versions stand as they are in the lists; only what `pyproject.toml` asks for and the lists lack
is added, in the newest version that its bounds allow. To renew all of them to the newest::

    python tests/studies/lock_parts.py --renew

then set up afresh (`sh app/setup.sh test`), which installs by the new lists and runs every test.
Each part stands with the SHA-256 of every file that the package index offers for it, for all
systems and Pythons of `pyproject.toml`; an installation takes nothing else. Needs uv
(https://docs.astral.sh/uv) on the path and a network; takes half a minute.

Each list holds what the one before it lacks: `run` measures, `bench` adds the window and the
archive, `study` adds many cases, `test` adds what only the tests need.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
LOCKED = ROOT / "app" / "locked"
LISTS = {
    "run": (),
    "bench": ("bench", "archive"),
    "study": ("bench", "archive", "study"),
    "test": ("bench", "archive", "study", "test"),
}
BUILD = "hatchling>=1.26\neditables>=0.5\n"
"""What puts the program itself into the environment: no part may come past the sums."""

HEAD = "# Made by tests/studies/lock_parts.py; not to be edited by hand.\n"


def pinned() -> str:
    """Parts and versions of the lists as they are, a line each."""
    texts = [path.read_text() for path in sorted(LOCKED.glob("*.txt"))]
    found = {
        line for text in texts for line in re.findall(r"^[\w.-]+==[^\s;\\]+", text, re.MULTILINE)
    }
    return "".join(f"{line}\n" for line in sorted(found))


def locked(extras: tuple[str, ...], pins: str) -> list[str]:
    """One entry a part, with its sums, as uv resolves them."""
    with tempfile.TemporaryDirectory() as folder:
        build, kept, out = (Path(folder) / name for name in ("build.in", "kept.txt", "out.txt"))
        build.write_text(BUILD)
        kept.write_text(pins)
        chosen = [word for extra in extras for word in ("--extra", extra)]
        subprocess.run(
            [
                "uv", "pip", "compile", "--quiet", "--universal", "--python-version", "3.11",
                "--generate-hashes", "--no-annotate", "--no-header", *chosen,
                "--constraint", str(kept),
                str(ROOT / "pyproject.toml"), str(build), "--output-file", str(out),
            ],
            check=True,
        )  # fmt: skip
        return re.split(r"\n(?=\S)", out.read_text().strip())


def main() -> None:
    """Write the lists."""
    LOCKED.mkdir(exist_ok=True)
    pins = "" if "--renew" in sys.argv[1:] else pinned()
    before: list[str] = []
    below = ""
    for name, extras in LISTS.items():
        entries = locked(extras, pins)
        further = [entry for entry in entries if entry not in before]
        text = HEAD + (f"-r {below}.txt\n" if below else "") + "\n".join(further) + "\n"
        (LOCKED / f"{name}.txt").write_text(text)
        print(f"{name}: {len(further)} parts")
        before, below = entries, name


if __name__ == "__main__":
    main()
