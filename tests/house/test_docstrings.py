"""Whoever calls `core` reads what each parameter is: shape, unit and frame stand with it."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
LEAST = 3
"""With fewer parameters the summary says what they are."""


@cache
def functions() -> tuple[tuple[str, ast.FunctionDef], ...]:
    """Public functions and methods of core with so many parameters.

    Kernels are left out: flat loops that one function of their own package calls.
    """
    return tuple(_functions())


def _functions() -> Iterator[tuple[str, ast.FunctionDef]]:
    for path in sorted((ROOT / "core").rglob("*.py")):
        if path.name.endswith("_kernels.py"):
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(node, ast.Module | ast.ClassDef):
                continue
            if isinstance(node, ast.ClassDef) and node.name.startswith("_"):
                continue
            for found in node.body:
                if isinstance(found, ast.FunctionDef) and not found.name.startswith("_"):
                    where = f"{path.relative_to(ROOT)}:{found.name}"
                    if len(parameters(found)) >= LEAST:
                        yield where, found


def parameters(function: ast.FunctionDef) -> dict[str, str]:
    every = (*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs)
    return {
        a.arg: "" if a.annotation is None else ast.unparse(a.annotation)
        for a in every
        if a.arg not in ("self", "cls")
    }


def described(function: ast.FunctionDef) -> dict[str, str]:
    """Name → type, as the section says it."""
    text = ast.get_docstring(function) or ""
    parts = re.split(r"\n\n(?=\w+\n-+\n)", text)
    section = next((p for p in parts if p.startswith("Parameters\n")), "")
    found: dict[str, str] = {}
    for line in section.split("\n")[2:]:
        if line and not line.startswith(" "):
            names, _, kind = line.partition(" : ")
            found |= dict.fromkeys(names.split(", "), kind)
    return found


def test_every_parameter_is_described():
    """All of them, or only those that their own type does not say, under their own names."""
    wrong, count = [], 0
    for where, function in functions():
        count += 1
        told, names = described(function), parameters(function)
        if not told:
            wrong.append(f"{where}: no section")
        if set(told) - set(names):
            wrong.append(f"{where}: {set(told) - set(names)} is no parameter")
    assert count > 200
    assert wrong == []


SCALARS = {"float", "int", "bool", "str", "bytes", "tuple"}


def test_a_described_type_is_none_but_the_annotated_one():
    """A class or mapping described as a number or a text misleads whoever calls."""
    wrong = [
        f"{where}: {name} : {told[name]}, annotated {kind}"
        for where, function in functions()
        for told in (described(function),)
        for name, kind in parameters(function).items()
        if name in told and told[name].split(",")[0] in SCALARS
        # Names of unions of literals and of plain types are written in lower case or by values.
        if not re.search(rf"\b{told[name].split(',')[0]}\b", kind.partition("[")[0])
        if not kind.startswith(("Literal", "Annotated"))
    ]
    assert wrong == []


def test_arrays_are_described_with_their_shape():
    wrong = [
        f"{where}: {name} : {told[name]}"
        for where, function in functions()
        for told in (described(function),)
        for name, kind in parameters(function).items()
        if name in told and re.match(r"(Array|ArrayLike|NDArray)\b", kind)
        if not re.match(r"(\(|array|sequence|tuple)", told[name])
    ]
    assert wrong == []
