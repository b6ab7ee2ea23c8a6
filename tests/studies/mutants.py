"""Mutants by module: of how many small faults put into a module do its tests take notice?

Draws mutants of the packages where judgement sits, each one operator or number changed, and runs
the files of `tests/core` and `tests/reference` that pass through the changed line until one fails.
Which do is found first (``map``), each file in a process of its own under coverage; those that
are named for the module or import it are asked first, then the quicker ones, as far as their times
add up to ``--budget`` seconds of a processor, whatever else a machine does beside it: what no test
noticed by then has survived. A mutant's place in the
draw comes from its own line and the seed alone, so that work elsewhere leaves a draw as it was; a
run goes on where an earlier one ended, and ``again`` asks the tests, as they are now, about those
that lived.

    PYTHON tests/studies/mutants.py map --map map.json [--tests tests/core/bone ...]
    PYTHON tests/studies/mutants.py run --each 25 --seed 3 --map map.json --out rows.jsonl
    PYTHON tests/studies/mutants.py again --rows rows.jsonl --map map.json --out mended.jsonl
    PYTHON tests/studies/mutants.py report --draw "First draw" rows.jsonl mended.jsonl

PYTHON has what the tests need and beside it cosmic-ray (MIT), whose operators are used, and
coverage (Apache-2.0); neither is part of the project's environment. Operators that nearly always
end in a TypeError (``+`` to ``<<``) are left out, and so are mutants that change nothing a figure
rests on: inside annotations and decorators, and of the bare star in a list of parameters.
"""

from __future__ import annotations

import argparse
import ast
import compileall
import difflib
import hashlib
import json
import math
import os
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
REPORT = ROOT / "tests/studies/reports/mutants.md"
LEFT = ROOT / "tests/studies/reports/mutants_left.json"
PACKAGES = ("core/trust", "core/distances", "core/bone", "core/scan")
TESTS = (*(f"tests/{package}" for package in PACKAGES), "tests/core", "tests/reference")
SEED = 20261129
WANTED = 0.85
LONGEST_S = 240
"""Of a processor; a file of tests that takes longer is not asked."""

WAITED = 20
"""Times as long it may take by the clock, on a machine that is busy."""
HEAVY = (
    "numpy", "scipy.ndimage", "scipy.optimize", "scipy.spatial", "scipy.interpolate", "scipy.stats",
    "numba", "hypothesis", "pytest", "pydicom", "PIL.Image",
)  # fmt: skip
"""Imported once, before a process is forked for each file of tests."""

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
            star = lines[start[0] - 1][start[1] :].startswith("*,")
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


@contextmanager
def unpacked() -> Iterator[Path]:
    """A copy of what is committed, compiled once.

    Always at one place and each source as old as its content says, so that kernels which a run
    before has compiled are still there: only one run at a time.
    """
    folder = Path(tempfile.gettempdir()) / f"sounding-mutants-{os.getuid()}"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(mode=0o700)
    try:
        copy = folder / "copy"
        subprocess.run(["git", "clone", "-q", str(ROOT), str(copy)], check=True)
        shutil.rmtree(copy / ".git")
        for source in (copy / "core").rglob("*.py"):
            age = int.from_bytes(hashlib.sha256(source.read_bytes()).digest()[:3])
            os.utime(source, (age, age))
        compileall.compile_dir(copy / "core", quiet=1)
        yield copy
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def apart(
    task: Callable[[], int], root: Path, limit_s: float, log: Path
) -> tuple[int | None, float]:
    """Exit code of a task in a forked process with its folder in `root`, and what it took.

    Seconds of a processor, in it and in those that it waited for; no code where it runs on.
    """
    child = os.fork()
    if child == 0:
        code = 99
        try:
            os.setsid()
            resource.setrlimit(resource.RLIMIT_CPU, (math.ceil(limit_s), math.ceil(limit_s) + 5))
            os.chdir(root)
            os.environ["SOUNDING_WITHOUT_QT"] = "1"
            sys.path.insert(0, str(root))
            sys.dont_write_bytecode = True
            told = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
            os.dup2(told, 1)
            os.dup2(told, 2)
            code = task()
        finally:
            sys.stdout.flush()
            os._exit(code)
    end = time.monotonic() + WAITED * limit_s
    while time.monotonic() < end:
        pid, status, used = os.wait4(child, os.WNOHANG)
        if pid:
            code = os.waitstatus_to_exitcode(status)
            ran_on = code == -signal.SIGXCPU
            return None if ran_on else code, used.ru_utime + used.ru_stime
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None, limit_s


def asked(file: str) -> int:
    """Exit code of pytest for a file of tests."""
    return int(import_module("pytest").main(
        ["-x", "-q", "--tb=no", "-p", "no:pytest-qt", "-p", "no:cacheprovider", "-p", "no:xdist",
         file]))  # fmt: skip


def passed_through(file: str, out: Path) -> int:
    """Run a file of tests and write which lines of `core` it passes through."""
    watch = import_module("coverage").Coverage(
        data_file=None, config_file=False, include=[f"{Path.cwd()}/core/*"]
    )
    watch.start()
    code = asked(file)
    watch.stop()
    data, root = watch.get_data(), Path.cwd()
    lines = {
        str(Path(name).relative_to(root)): sorted(data.lines(name) or ())
        for name in data.measured_files()
    }
    out.write_text(json.dumps(lines), "utf-8")
    return code


def rests_on(root: Path, file: str, lines: dict[str, list[int]]) -> str:
    """What a file of tests passes through, by its contents: itself, and each module it runs."""
    told = hashlib.sha256((root / file).read_bytes())
    for module, passed in sorted(lines.items()):
        source = (root / module).read_text("utf-8") if (root / module).exists() else ""
        if not source or not bodies(source).isdisjoint(passed):
            told.update(source.encode())
    return told.hexdigest()


def git(*arguments: str) -> str:
    """What git says."""
    asked_of = ["git", "-C", str(ROOT), *arguments]
    return subprocess.run(asked_of, check=True, capture_output=True, encoding="utf-8").stdout


def carried(ways: dict[str, Any]) -> dict[str, Any]:
    """A map with its lines where they stand now, though modules were edited since it was made.

    Lines that took the place of others are passed through by what passed through those.
    """
    moves: dict[tuple[str, str], dict[int, list[int]]] = {}
    for commit in {str(way["commit"]) for way in ways.values()}:
        for module in git("diff", "--name-only", commit, "HEAD", "--", "core").split():
            if not (ROOT / module).exists():
                continue
            listed = git("ls-tree", "--name-only", commit, module).strip()
            before = git("show", f"{commit}:{module}").splitlines() if listed else []
            now = git("show", f"HEAD:{module}").splitlines()
            to = moves.setdefault((commit, module), {})
            same = difflib.SequenceMatcher(None, before, now, autojunk=False)
            for what, a, b, c, d in same.get_opcodes():
                for n in range(a, b):
                    to[n + 1] = [c + n - a + 1] if what == "equal" else list(range(c + 1, d + 1))
    return {
        file: way | {"lines": {
            module: sorted({new for line in lines for new in
                            moves.get((way["commit"], module), {}).get(line, [])})
            if (way["commit"], module) in moves else lines
            for module, lines in way["lines"].items()
        }}
        for file, way in ways.items()
    }  # fmt: skip


def mapped(path: Path, folders: Sequence[str]) -> None:
    """Seconds of every file of tests, and the lines that it passes through; kept ones stay."""
    known = json.loads(path.read_text("utf-8")) if path.exists() else {}
    with unpacked() as copy:
        commit = git("rev-parse", "HEAD").strip()
        found: dict[str, Any] = {}
        out, log = copy.parent / "lines.json", copy.parent / "log"
        for tests in folders:
            place = copy / tests
            for file in [place] if place.is_file() else sorted(place.rglob("test_*.py")):
                name = str(file.relative_to(copy))
                if name in found:
                    continue
                before = known.get(name)
                if before and before["of"] == rests_on(copy, name, before["lines"]):
                    found[name] = before | {"commit": commit}
                    continue
                code, took = apart(partial(passed_through, name, out), copy, LONGEST_S, log)
                print(
                    f"{took:6.1f} s {name}", "" if code == 0 else f"left out ({code})", flush=True
                )
                lines = json.loads(out.read_text("utf-8")) if code == 0 else {}
                found[name] = {
                    "of": rests_on(copy, name, lines), "seconds": took, "lines": lines,
                    "commit": commit,
                }  # fmt: skip
                path.write_text(json.dumps(known | found), "utf-8")


def extent(source: str, line: int) -> tuple[set[int], bool]:
    """Lines of the statement that holds a line (the head alone of a compound one); is it a body's?

    False where the statement runs at import.
    """
    best, inside = None, False

    def walk(node: ast.AST, deep: bool) -> None:
        nonlocal best, inside
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.stmt | ast.ExceptHandler | ast.match_case):
                first = child.pattern.lineno if isinstance(child, ast.match_case) else child.lineno
                body = getattr(child, "body", None)
                last = body[0].lineno - 1 if body else child.end_lineno
                if first <= line <= max(last, first):
                    best, inside = set(range(first, max(last, first) + 1)), deep
            walk(child, deep or isinstance(child, ast.FunctionDef | ast.Lambda))

    walk(ast.parse(source), False)
    return best or {line}, inside


def bodies(source: str) -> set[int]:
    """Lines inside functions."""
    inside = set[int]()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.FunctionDef):
            inside |= set(range(node.body[0].lineno, (node.end_lineno or 0) + 1))
    return inside


def tests_of(one: dict[str, Any], root: Path, ways: dict[str, Any], budget: float) -> list[str]:
    """Files of tests that pass through a line, in the order in which they are asked.

    Where the line runs at import, those that pass through any function of its module; where it is
    compiled, its module has no functions, or none of them is seen to run since they run in a
    process of their own, also those that pass through one that imports it.
    """
    module = str(one["module"])
    source = (root / module).read_text("utf-8")
    lines, inside = extent(source, int(one["line"]))
    through = {module: lines if inside else bodies(source)}
    dotted = re.compile(re.escape(module.removesuffix(".py").replace("/", ".")) + r"\b")
    own = bodies(source)
    unseen = all(own.isdisjoint(way["lines"].get(module, ())) for way in ways.values())
    if module.endswith("_kernels.py") or unseen:
        through |= {
            str(path.relative_to(root)): bodies(path.read_text("utf-8"))
            for path in (root / "core").rglob("*.py")
            if dotted.search(path.read_text("utf-8"))
        }

    def dear(file: str) -> float:
        named = Path(file).stem == f"test_{Path(module).stem}"
        imports = dotted.search((root / file).read_text("utf-8")) is not None
        return float(ways[file]["seconds"]) / (20.0 if named else 5.0 if imports else 1.0)

    near = [
        file
        for file, way in ways.items()
        if (root / file).exists()
        and any(not lines.isdisjoint(way["lines"].get(path, ())) for path, lines in through.items())
    ]
    chosen, sum_s = [], 0.0
    for file in sorted(near, key=dear):
        sum_s += float(ways[file]["seconds"])
        if chosen and sum_s > budget:
            break
        chosen.append(file)
    return chosen


def outcome(
    one: dict[str, Any], root: Path, ways: dict[str, Any], budget: float
) -> dict[str, object]:
    """Killed, survived or timed out (which is noticed too), and by which test."""
    mutating, plugins = import_module("cosmic_ray.mutating"), import_module("cosmic_ray.plugins")
    path = root / str(one["module"])
    source, stat = path.read_text("utf-8"), path.stat()
    mutated = mutating.mutate_code(
        source, plugins.get_operator(str(one["operator"]))(), one["occurrence"]
    )
    number = int(one["line"]) - 1
    files = tests_of(one, root, ways, budget)
    told = one | {
        "was": source.splitlines()[number].strip(),
        "is": mutated.splitlines()[number].strip(),
        "files": len(files),
    }
    log, kernels = root.parent / "log", root.parent / "kernels"

    def task(file: str) -> int:
        # What is compiled of a changed module must not stand in the way of the next one's.
        if path.name.endswith("_kernels.py"):
            import_module("numba").config.CACHE_DIR = str(kernels)
        return asked(file)

    try:
        for kept in (path.parent / "__pycache__").glob(f"{path.stem}.*.pyc"):
            kept.unlink()
        path.write_text(mutated, "utf-8")
        for file in files:
            limit_s = 60.0 + 6.0 * float(ways[file]["seconds"])
            code, _ = apart(partial(task, file), root, limit_s, log)
            if code is None:
                return told | {"outcome": "timed out", "by": file}
            if code != 0:
                by = re.search(r"^(?:FAILED|ERROR) (\S+)", log.read_text("utf-8"), re.MULTILINE)
                return told | {"outcome": "killed", "by": by.group(1) if by else f"{file}: {code}"}
        return told | {"outcome": "survived", "by": ""}
    finally:
        path.write_text(source, "utf-8")
        os.utime(path, ns=(stat.st_atime_ns, stat.st_mtime_ns))
        shutil.rmtree(kernels, ignore_errors=True)
        compileall.compile_file(path, quiet=1)


def run(draw: list[dict[str, Any]], out: Path, ways: dict[str, Any], budget: float) -> None:
    """Try a draw, one line of JSON a mutant, in a copy of what is committed."""
    keys = ("module", "operator", "occurrence")
    before = out.read_text("utf-8").splitlines() if out.exists() else []
    done = {tuple(json.loads(line)[k] for k in keys) for line in before}
    for name in HEAVY:
        import_module(name)
    with unpacked() as copy:
        for one in draw:
            if tuple(one[k] for k in keys) in done:
                continue
            begun = time.monotonic()
            told = outcome(one, copy, ways, budget)
            told["seconds"] = round(time.monotonic() - begun, 1)
            with out.open("a", encoding="utf-8") as file:
                file.write(json.dumps(told, ensure_ascii=False) + "\n")
            print(f"{told['seconds']:6} {told['outcome']:10} {told['module']}:{told['line']} "
                  f"{told['is']}", flush=True)  # fmt: skip


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


def table(heads: Sequence[str], rows: list[Sequence[object]]) -> list[str]:
    """Lines of a table."""
    cells = [heads, ["---"] * len(heads), *rows]
    return [f"| {' | '.join(map(str, row))} |" for row in cells]


def report(title: str, rows: list[dict[str, object]], after: list[dict[str, object]]) -> list[str]:
    """By package and by module, and every mutant that lived, with what became of it.

    Those that no test could notice are counted among the drawn, and told apart.
    """
    reasons = json.loads(LEFT.read_text("utf-8"))
    alike, left = reasons["alike"], reasons["left"]
    mended = {name_of(row) for row in after if row["outcome"] != "survived"}
    by_package, by_module = defaultdict(list), defaultdict(list)
    for row in rows:
        by_package[str(Path(str(row["module"])).parent)].append(row)
        by_module[str(row["module"])].append(row)

    def counted(some: list[dict[str, object]]) -> tuple[object, ...]:
        hits = sum(row["outcome"] != "survived" for row in some)
        same = sum(row["outcome"] == "survived" and name_of(row) in alike for row in some)
        low, high = wilson(hits, len(some))
        share = f"{hits / (len(some) - same):.0%}" if same < len(some) else "–"
        return len(some), hits, f"{hits / len(some):.0%}", f"{low:.0%} to {high:.0%}", same, share

    heads = ("package", "drawn", "noticed", "share", "95 % interval", "alike", "share without them")
    packages = [(f"`{name}`", *counted(some)) for name, some in sorted(by_package.items())]
    modules = [
        (f"`{name}`", *(sum(row["outcome"] == o for row in some)
                        for o in ("killed", "timed out", "survived")))
        for name, some in sorted(by_module.items())
    ]  # fmt: skip
    lived = [row for row in rows if row["outcome"] == "survived"]
    lines = [
        f"## {title}", "", *table(heads, [*packages, ("together", *counted(rows))]), "",
        *table(("module", "killed", "timed out", "survived"), modules), "",
    ]  # fmt: skip
    for head, kept in (("Survived", False), ("Alike to what they were made from", True)):
        some = [row for row in lived if (name_of(row) in alike) is kept]
        if not some:
            continue
        lines += [f"{head}:", ""]
        for row in some:
            name = name_of(row)
            told = "a test notices it now" if name in mended else "not looked at"
            lines.append(f"- `{row['module']}:{row['line']}` `{row['was']}` became `{row['is']}`: "
                         f"{alike.get(name) or left.get(name, told)}")  # fmt: skip
        lines.append("")
    return lines


def main() -> None:
    """Run or report."""
    arguments = argparse.ArgumentParser(description=__doc__)
    tasks = arguments.add_subparsers(dest="task", required=True)
    mapping, running, again, reporting = (
        tasks.add_parser(name) for name in ("map", "run", "again", "report")
    )
    mapping.add_argument("--tests", nargs="+", default=TESTS, help="folders and files, in turn")
    running.add_argument("--each", type=int, default=25)
    running.add_argument("--seed", type=int, default=SEED)
    running.add_argument("--packages", nargs="+", default=PACKAGES)
    again.add_argument("--rows", type=Path, required=True)
    for parser in (mapping, running, again):
        parser.add_argument("--map", type=Path, required=True)
    for parser in (running, again):
        parser.add_argument("--out", type=Path, required=True)
        parser.add_argument("--budget", type=float, default=120.0)
    reporting.add_argument("--draw", nargs="+", action="append", metavar="TITLE ROWS [AFTER]",
                           required=True)  # fmt: skip
    reporting.add_argument("--remark", default="", help="what is to be known of how it was run")
    told = arguments.parse_args()
    if told.task == "map":
        for name in HEAVY:
            import_module(name)
        mapped(told.map, told.tests)
    elif told.task in ("run", "again"):
        draw = (
            drawn(told.each, told.seed, told.packages)
            if told.task == "run"
            else survivors(read(told.rows))
        )
        run(draw, told.out, carried(json.loads(told.map.read_text("utf-8"))), told.budget)
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
