"""Mutants by module: of how many small faults put into a module do its tests take notice?

Draws mutants of the packages where judgement sits, each one operator or number changed, runs the
tests of `tests/core` and `tests/reference` that import the module, then the rest of its package's
tests, until one fails, and writes reports/mutants.md. A mutant's place in the draw comes from its
own line and the seed alone, so that work elsewhere leaves a draw as it was; a run goes on where an
earlier one ended, and ``again`` asks the tests, as they are now, about those that lived.

    PYTHON tests/studies/mutants.py run --each 25 --out rows.jsonl --python .venv/bin/python
    PYTHON tests/studies/mutants.py again --rows rows.jsonl --out mended.jsonl --python ...
    PYTHON tests/studies/mutants.py report --draw "First draw" rows.jsonl mended.jsonl

PYTHON is one that has cosmic-ray (MIT), whose operators are used; it is no part of the project's
environment. Operators that nearly always end in a TypeError (``+`` to ``<<``) are left out, and so
are mutants that change nothing a figure rests on: inside annotations and decorators, and of the
bare star in a list of parameters.
"""

from __future__ import annotations

import argparse
import ast
import hashlib
import json
import re
import shutil
import subprocess
import tempfile
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from importlib import import_module
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
REPORT = ROOT / "tests/studies/reports/mutants.md"
LEFT = ROOT / "tests/studies/reports/mutants_left.json"
PACKAGES = ("core/trust", "core/distances", "core/bone", "core/scan")
SEED = 20261129
LIMIT_S = 900
WANTED = 0.85

OPERATORS = tuple(
    f"core/{name}"
    for name in (
        "ReplaceBinaryOperator_Add_Sub", "ReplaceBinaryOperator_Sub_Add",
        "ReplaceBinaryOperator_Mul_Div", "ReplaceBinaryOperator_Div_Mul",
        "ReplaceBinaryOperator_BitOr_BitAnd", "ReplaceBinaryOperator_BitAnd_BitOr",
        "ReplaceComparisonOperator_Lt_LtE", "ReplaceComparisonOperator_LtE_Lt",
        "ReplaceComparisonOperator_Gt_GtE", "ReplaceComparisonOperator_GtE_Gt",
        "ReplaceComparisonOperator_Lt_Gt", "ReplaceComparisonOperator_Gt_Lt",
        "ReplaceComparisonOperator_Eq_NotEq", "ReplaceComparisonOperator_NotEq_Eq",
        "ReplaceComparisonOperator_Is_IsNot", "ReplaceComparisonOperator_IsNot_Is",
        "ReplaceUnaryOperator_USub_UAdd", "ReplaceUnaryOperator_Delete_Not",
        "ReplaceUnaryOperator_Delete_Invert", "AddNot", "ReplaceTrueWithFalse",
        "ReplaceFalseWithTrue", "ReplaceAndWithOr", "ReplaceOrWithAnd",
        "ReplaceBreakWithContinue", "ReplaceContinueWithBreak", "NumberReplacer",
        "ZeroIterationForLoop",
    )
)  # fmt: skip


def idle(source: str) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    """Where annotations and decorators stand, as pairs of (line, column)."""
    parts: list[ast.expr | None] = []
    for node in ast.walk(ast.parse(source)):
        parts += [getattr(node, "annotation", None), getattr(node, "returns", None)]
        parts += getattr(node, "decorator_list", [])
    return [
        ((p.lineno, p.col_offset), (p.end_lineno or 0, p.end_col_offset or 0)) for p in parts if p
    ]


def mutants(module: Path) -> Iterator[tuple[str, int, int]]:
    """Operator, occurrence and line of each mutant of a module."""
    trees, plugins = import_module("cosmic_ray.ast"), import_module("cosmic_ray.plugins")
    tree = trees.get_ast_from_path(module)
    source = module.read_text("utf-8")
    beside, lines = idle(source), source.splitlines()
    for name in OPERATORS:
        operator = plugins.get_operator(name)()
        places = (p for node in trees.ast_nodes(tree) for p in operator.mutation_positions(node))
        for occurrence, (start, _) in enumerate(places):
            star = lines[start[0] - 1][start[1] :].startswith("*, ")
            if not star and not any(first <= tuple(start) < last for first, last in beside):
                yield name, occurrence, start[0]


def drawn(each: int, seed: int, packages: Sequence[str]) -> list[dict[str, object]]:
    """The draw: for each package the first `each` of a fixed order, taken in turn."""
    order = []
    for package in packages:
        every = []
        for module in sorted((ROOT / package).glob("*.py")):
            lines, alike = module.read_text("utf-8").splitlines(), Counter[str]()
            path = str(module.relative_to(ROOT))
            for name, n, at in mutants(module):
                told = f"{seed} {path} {name} {lines[at - 1].strip()}"
                alike[told] += 1
                rank = hashlib.sha256(f"{told} {alike[told]}".encode()).hexdigest()
                every.append(
                    (rank, {"module": path, "operator": name, "occurrence": n, "line": at})
                )
        every.sort(key=lambda ranked: ranked[0])
        order.append([one for _, one in every[:each]])
    return [one for turn in zip(*order, strict=True) for one in turn]


def tests_of(module: str, root: Path) -> list[str]:
    """Test files in the order in which they are asked: those that import it, then its package's."""
    dotted = re.compile(re.escape(module.removesuffix(".py").replace("/", ".")) + r"\b")
    package = root / "tests" / Path(module).parent
    own = sorted(package.glob("test_*.py"))
    importing = [
        path
        for tests in ("core", "reference")
        for path in sorted((root / "tests" / tests).rglob("test_*.py"))
        if dotted.search(path.read_text("utf-8"))
    ]
    near = [path for path in importing if path.parent == package]
    rest = [path for path in own if path not in near]
    far = [path for path in importing if path.parent != package]
    return [str(path.relative_to(root)) for path in (*near, *far, *rest)]


def outcome(one: dict[str, object], root: Path, python: str) -> dict[str, object]:
    """Killed, survived or timed out (which is noticed too), and by which test."""
    mutating, plugins = import_module("cosmic_ray.mutating"), import_module("cosmic_ray.plugins")
    path = root / str(one["module"])
    source = path.read_text("utf-8")
    operator = plugins.get_operator(str(one["operator"]))()
    mutated = mutating.mutate_code(source, operator, one["occurrence"])
    number = int(str(one["line"])) - 1
    told = one | {"was": source.splitlines()[number].strip()}
    try:
        path.write_text(mutated, "utf-8")
        told["is"] = mutated.splitlines()[number].strip()
        command = [python, "-m", "pytest", "-x", "-q", "-p", "no:pytest-qt", "-p",
                   "no:cacheprovider", "--tb=no", *tests_of(str(one["module"]), root)]  # fmt: skip
        try:
            done = subprocess.run(
                command, cwd=root, capture_output=True, text=True, check=False, timeout=LIMIT_S
            )
        except subprocess.TimeoutExpired:
            return told | {"outcome": "timed out"}
        by = re.search(r"^(?:FAILED|ERROR) (\S+)", done.stdout, re.MULTILINE)
        return told | {
            "outcome": "survived" if done.returncode == 0 else "killed",
            "by": by.group(1) if by else "",
        }
    finally:
        path.write_text(source, "utf-8")


def run(draw: list[dict[str, object]], out: Path, python: str) -> None:
    """Try a draw, one line of JSON a mutant, in a copy of what is committed."""
    keys = ("module", "operator", "occurrence")
    before = out.read_text("utf-8").splitlines() if out.exists() else []
    done = {tuple(json.loads(line)[k] for k in keys) for line in before}
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy"
        subprocess.run(["git", "clone", "-q", str(ROOT), str(copy)], check=True)
        shutil.rmtree(copy / ".git")
        for one in draw:
            if tuple(one[k] for k in keys) in done:
                continue
            told = outcome(one, copy, str(Path(python).absolute()))
            with out.open("a", encoding="utf-8") as file:
                file.write(json.dumps(told, ensure_ascii=False) + "\n")
            print(f"{told['outcome']:10} {told['module']}:{told['line']} {told.get('is', '')}")


def wilson(hits: int, count: int) -> tuple[float, float]:
    """Wilson's interval of a share, 95 % (E. B. Wilson 1927)."""
    if count == 0:
        return 0.0, 1.0
    z, share = 1.959964, hits / count
    middle = (share + z * z / (2 * count)) / (1 + z * z / count)
    half = z / (1 + z * z / count) * (share * (1 - share) / count + z * z / (4 * count**2)) ** 0.5
    return max(middle - half, 0.0), min(middle + half, 1.0)


def read(path: Path) -> list[dict[str, object]]:
    """Rows of a run."""
    return [json.loads(line) for line in path.read_text("utf-8").splitlines()]


def survivors(rows: list[dict[str, object]]) -> list[dict[str, object]]:
    """Those that lived, where they stand now; those whose line is gone are left out."""
    mutating, plugins = import_module("cosmic_ray.mutating"), import_module("cosmic_ray.plugins")
    found = []
    for row in rows:
        if row["outcome"] != "survived":
            continue
        source = (ROOT / str(row["module"])).read_text("utf-8")
        lines = source.splitlines()
        operator = plugins.get_operator(str(row["operator"]))()
        for name, n, at in mutants(ROOT / str(row["module"])):
            if name == row["operator"] and lines[at - 1].strip() == row["was"]:
                changed = mutating.mutate_code(source, operator, n).splitlines()[at - 1].strip()
                if changed == row["is"]:
                    found.append({"module": row["module"], "operator": name, "occurrence": n,
                                  "line": at})  # fmt: skip
    return found


def name_of(row: dict[str, object]) -> str:
    """A mutant by what it changes, wherever its line stands."""
    return f"{row['module']}: {row['was']} -> {row['is']}"


def report(title: str, rows: list[dict[str, object]], after: list[dict[str, object]]) -> list[str]:
    """By package and by module, and every mutant that lived, with what became of it."""
    why = json.loads(LEFT.read_text("utf-8")) if LEFT.exists() else {}
    mended = {name_of(row) for row in after if row["outcome"] != "survived"}
    lines = [
        f"## {title}",
        "",
        "| package | drawn | noticed | share | 95 % interval |",
        "|---|---|---|---|---|",
    ]
    by_package, by_module = defaultdict(list), defaultdict(list)
    for row in rows:
        by_package[str(Path(str(row["module"])).parent)].append(row)
        by_module[str(row["module"])].append(row)
    for package, some in sorted(by_package.items()):
        hits = sum(row["outcome"] != "survived" for row in some)
        low, high = wilson(hits, len(some))
        cells = (
            f"`{package}`",
            len(some),
            hits,
            f"{hits / len(some):.0%}",
            f"{low:.0%} to {high:.0%}",
        )
        lines.append(f"| {' | '.join(map(str, cells))} |")
    lines += ["", "| module | killed | timed out | survived |", "|---|---|---|---|"]
    for module, some in sorted(by_module.items()):
        counts = [
            sum(row["outcome"] == o for row in some) for o in ("killed", "timed out", "survived")
        ]
        lines.append(f"| `{module}` | {counts[0]} | {counts[1]} | {counts[2]} |")
    lived = [row for row in rows if row["outcome"] == "survived"]
    noticed = len(rows) - len(lived)
    now = noticed + sum(name_of(row) in mended for row in lived)
    lines += ["", f"Together {noticed} of {len(rows)} ({noticed / len(rows):.0%})"
              + (f", with the tests since then {now} ({now / len(rows):.0%})." if after else "."),
              "", "Survived:", ""]  # fmt: skip
    for row in lived:
        told = "a test notices it now" if name_of(row) in mended else "not looked at"
        lines.append(f"- `{row['module']}:{row['line']}` `{row['was']}` became `{row['is']}`: "
                     f"{why.get(name_of(row), told)}")  # fmt: skip
    return [*lines, ""]


def main() -> None:
    """Run or report."""
    asked = argparse.ArgumentParser(description=__doc__)
    tasks = asked.add_subparsers(dest="task", required=True)
    running, again, reporting = (tasks.add_parser(name) for name in ("run", "again", "report"))
    running.add_argument("--each", type=int, default=25)
    running.add_argument("--seed", type=int, default=SEED)
    running.add_argument("--packages", nargs="+", default=PACKAGES)
    again.add_argument("--rows", type=Path, required=True)
    for parser in (running, again):
        parser.add_argument("--out", type=Path, required=True)
        parser.add_argument("--python", required=True)
    reporting.add_argument("--draw", nargs="+", action="append", metavar="TITLE ROWS [AFTER]",
                           required=True)  # fmt: skip
    reporting.add_argument("--remark", default="", help="what is to be known of how it was run")
    told = asked.parse_args()
    if told.task == "run":
        run(drawn(told.each, told.seed, told.packages), told.out, told.python)
    elif told.task == "again":
        run(survivors(read(told.rows)), told.out, told.python)
    else:
        REPORT.write_text("\n".join([
            "# Mutants by module",
            "",
            "Draws from every mutant of each package; `tests/studies/mutants.py` tells how.",
            f"*Noticed*: a test failed or did not end. Wanted: {WANTED:.0%}.",
            "",
            *((told.remark, "") if told.remark else ()),
            *(line for title, *files in told.draw
              for line in report(title, read(Path(files[0])),
                                 [row for name in files[1:] for row in read(Path(name))])),
        ]), "utf-8")  # fmt: skip


if __name__ == "__main__":
    main()
