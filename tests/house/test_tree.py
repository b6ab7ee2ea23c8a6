"""The tree speaks of the project alone, and holds what DEVELOPERS.md and README.md say."""

from __future__ import annotations

import ast
import re
import runpy
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.order import LONGEST

ROOT = Path(__file__).parents[2]
TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "app", "core", "tests", "sample_volumes"}
LARGEST = 12_000_000
STRANGE = {
    "an absolute path of somebody's machine": r"(?<![\w.])/(?:home|root|Users|work|farm|opt)/\w",
    "a scratch folder": r"(?<![\w.])/tmp/\w",
    "a package index of one's own": r"(?i)(?:extra-)?index-url|find-links",
    "a ticket's number instead of its reason": r"(?i)\b(?:issue|ticket|pull request)s?\s+#?\d",
    "an unresolved merge": r"^(?:<{7}|>{7}) ",
}


def files() -> list[Path]:
    """Every file that is or would be committed."""
    if shutil.which("git") is None or not (ROOT / ".git").exists():
        pytest.skip("not a git work tree: what belongs to it cannot be told from litter")
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return [ROOT / name for name in listed.stdout.split("\0") if name and (ROOT / name).is_file()]


def test_nothing_else_shows_at_the_top():
    tops = {p.relative_to(ROOT).parts[0] for p in files()}
    assert {t for t in tops if not t.startswith(".")} == TOP


def test_no_file_is_out_of_proportion():
    assert {str(p): p.stat().st_size for p in files() if p.stat().st_size > LARGEST} == {}


def test_no_strange_words():
    found = []
    for path in files():
        if path == Path(__file__):
            continue
        try:
            text = path.read_text("utf-8")
        except UnicodeDecodeError:
            continue
        for what, pattern in STRANGE.items():
            for hit in re.finditer(pattern, text, flags=re.MULTILINE):
                line = text.count("\n", 0, hit.start()) + 1
                found.append(f"{path.relative_to(ROOT)}:{line}: {what}: {hit.group()!r}")
    assert found == []


def test_readme_has_two_commands_and_the_machine_runs_the_second():
    blocks = re.findall(
        r"```sh\n(.*?)```", (ROOT / "README.md").read_text("utf-8"), flags=re.DOTALL
    )
    commands = blocks[0].strip().splitlines() + blocks[1].strip().splitlines()
    assert commands == ["sh app/setup.sh demo", "sh app/setup.sh test"]
    assert commands[1] in (ROOT / ".ci" / "run").read_text("utf-8").splitlines()[-1]


def test_readme_carries_the_cautions_that_the_sheet_prints():
    from core.words.cautions import CAUTIONS

    readme = " ".join((ROOT / "README.md").read_text("utf-8").replace("> ", "").split())
    assert " ".join(CAUTIONS.split()) in readme


def test_what_developers_are_told_is_short_and_names_what_is_there():
    told = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    assert len(told.encode()) <= 10_240
    named = set(re.findall(r"`([\w./]+)`", told))
    paths = {n for n in named if re.fullmatch(r"(?:core|app|tests)/[\w/]*(?:\.\w+)?", n)}
    modules = {n for n in named if re.match(r"(?:core|app)\.\w", n) and "/" not in n}
    assert len(paths) > 10
    assert len(modules) > 10
    assert [p for p in sorted(paths) if not (ROOT / p).exists()] == []
    assert [m for m in sorted(modules) if not is_there(m)] == []


def test_a_name_of_a_file_that_a_recipe_touches_is_defined_there():
    told = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    named = re.findall(r"`(\w+)` of `([\w/]+\.py)`", told)
    assert len(named) >= 5
    for name, path in named:
        tree = ast.parse((ROOT / path).read_text("utf-8"))
        targets = [t for n in tree.body if isinstance(n, ast.Assign) for t in n.targets]
        targets += [n.target for n in tree.body if isinstance(n, ast.AnnAssign)]
        known = {t.id for t in targets if isinstance(t, ast.Name)}
        known |= {n.name for n in tree.body if isinstance(n, ast.FunctionDef | ast.ClassDef)}
        assert name in known, f"{path} has no {name}"


def is_there(dotted: str) -> bool:
    """True for a module, a package, or a name that a module defines."""
    place = ROOT.joinpath(*dotted.split("."))
    if place.is_dir() or place.with_suffix(".py").exists():
        return True
    home = place.parent.with_suffix(".py")
    return home.exists() and re.search(rf"\b{place.name}\b", home.read_text("utf-8")) is not None


def hazard_rows() -> list[list[str]]:
    text = (ROOT / "tests" / "HAZARDS.md").read_text("utf-8")
    rows = [line.strip("| ").split(" | ") for line in text.splitlines() if line[:2] == "| "]
    return rows[1:]


def test_every_hazard_names_tests_that_exist():
    rows = hazard_rows()
    assert len(rows) >= 25
    for row in rows:
        assert len(row) == 5, row
        named = re.findall(r"`(tests/[\w/]+\.py)::(\w+)`", row[3])
        assert named, f"no test guards: {row[0]}"
        for path, test in named:
            tree = ast.parse((ROOT / path).read_text("utf-8"))
            known = {n.name for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)}
            assert test in known, f"{path}::{test} guards '{row[0]}' but does not exist"


def test_every_module_says_in_its_first_line_what_it_is_for():
    tree = runpy.run_path(str(ROOT / "tests" / "studies" / "tree.py"))
    silent = [line for line in tree["picture"]().splitlines() if len(line.split(maxsplit=1)) < 2]
    assert silent == []


def test_files_that_begin_first_are_there():
    assert [name for name in LONGEST if not (ROOT / "tests" / name).is_file()] == []
