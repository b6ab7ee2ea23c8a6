"""Prints the tree with what each module is for, by its first line. A second's work."""

from __future__ import annotations

import ast
from pathlib import Path

ROOT = Path(__file__).parents[2]


def first_line(path: Path) -> str:
    """First line of a module's docstring, without its full stop."""
    text = ast.get_docstring(ast.parse(path.read_text("utf-8"))) or ""
    return text.split("\n", 1)[0].rstrip(".")


def lines(folder: Path, depth: int) -> list[str]:
    """One line a module or package, packages after modules."""
    pad = "  " * depth
    out = [
        f"{pad}{path.name:<{28 - len(pad)}}{first_line(path)}"
        for path in sorted(folder.glob("*.py"))
        if path.name != "__init__.py"
    ]
    for package in sorted(p for p in folder.iterdir() if p.is_dir() and any(p.rglob("*.py"))):
        init = package / "__init__.py"
        said = first_line(init) if init.exists() else ""
        out.append(f"{pad}{package.name + '/':<{28 - len(pad)}}{said}".rstrip())
        out += lines(package, depth + 1)
    return out


def picture() -> str:
    """The whole picture: both packages and the samples."""
    out = []
    for name in ("core", "app", "sample_volumes"):
        folder = ROOT / name
        out.append(f"{name + '/':<28}{first_line(folder / '__init__.py')}")
        out += lines(folder, 1)
    return "\n".join(line.rstrip() for line in out)


if __name__ == "__main__":
    print(picture())
