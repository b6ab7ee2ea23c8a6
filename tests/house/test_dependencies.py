"""What is installed: licences, what is declared against what is imported, and the locked parts."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from importlib.metadata import Distribution, distribution, packages_distributions
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
EXTRAS = ("bench", "archive", "study")
OWN = {"app", "core", "sample_volumes", "tests"}


def declared(*extras: str) -> list[Requirement]:
    lines = list(PROJECT["dependencies"])
    for extra in extras:
        lines += PROJECT["optional-dependencies"][extra]
    return [Requirement(line) for line in lines]


def closure(*extras: str) -> dict[str, Distribution]:
    """Everything that installing the project with these extras brings in, as installed here."""
    found: dict[str, Distribution] = {}
    waiting = declared(*extras)
    seen = set()
    while waiting:
        wanted = waiting.pop()
        name = canonicalize_name(wanted.name)
        extras = frozenset(wanted.extras or {""})
        if (name, extras) in seen:
            continue
        seen.add((name, extras))
        found[name] = distribution(name)
        for line in found[name].requires or ():
            further = Requirement(line)
            marker = further.marker
            if marker is None or any(marker.evaluate({"extra": e}) for e in extras):
                waiting.append(further)
    return found


def licences(dist: Distribution) -> list[str]:
    """Alternatives that a distribution may be used under, as its metadata says."""
    meta = dist.metadata
    named = [
        c.rsplit("::", 1)[1].strip() for c in meta.get_all("Classifier") or () if "License" in c
    ]
    named = [name for name in named if name not in {"OSI Approved", "DFSG approved"}]
    # The free-text field holds a name, or the whole licence: then its first line names it.
    text = (meta.get("License") or "").strip().splitlines()[:1]
    said = meta.get("License-Expression") or (" AND ".join(named) or "".join(text))
    return [choice for choice in re.split(r"\s+OR\s+", said) if choice]


def is_copyleft(licence: str) -> bool:
    """GPL or AGPL without the exception for compiler libraries; LGPL is another thing."""
    text = re.sub(r"[\w.-]*GPL[\w.-]* WITH GCC-exception[\w.-]*", "", licence)
    text = re.sub(r"(?i)lesser general public|library general public|\bLGPL[\w.+-]*", "", text)
    return re.search(r"(?i)\bA?GPL|general public|affero", text) is not None


@pytest.mark.parametrize(
    ("licence", "bad"),
    [
        ("MIT", False),
        ("LGPL-3.0-only", False),
        ("GNU Lesser General Public License v3 (LGPLv3)", False),
        ("BSD-3-Clause AND GPL-3.0-or-later WITH GCC-exception-3.1", False),
        ("GPL-3.0-only", True),
        ("AGPL-3.0", True),
        ("GNU General Public License v3 (GPLv3)", True),
        ("GNU Affero General Public License v3", True),
        ("MIT AND GPL-2.0-only", True),
    ],
)
def test_copyleft_is_told_from_the_rest(licence, bad):
    assert is_copyleft(licence) is bad


def test_no_gpl_or_agpl_reaches_the_user():
    silent, bad = [], []
    for name, dist in closure(*EXTRAS).items():
        choices = licences(dist)
        if not choices:
            silent.append(name)
        elif all(is_copyleft(choice) for choice in choices):
            bad.append(f"{name}: {choices}")
    assert bad == []
    assert silent == [], "no licence in the metadata: read it by hand and say so in DEVELOPERS.md"


def imported(folder: str) -> dict[str, Path]:
    """Top-level name of every third-party module that a folder's code imports."""
    found: dict[str, Path] = {}
    for path in sorted((ROOT / folder).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom) and node.module:
                names = [node.module]
            for name in names:
                top = name.split(".")[0]
                if top not in OWN and top not in sys.stdlib_module_names:
                    found.setdefault(top, path)
    return found


def distributions_of(modules: dict[str, Path]) -> dict[str, str]:
    """Distribution → module, for modules that are installed here."""
    known = packages_distributions()
    return {canonicalize_name(d): m for m in modules for d in known.get(m, ())}


@pytest.mark.parametrize(
    ("folder", "extras"),
    [("core", ()), ("sample_volumes", ()), ("app", ("bench", "archive", "study"))],
)
def test_what_is_imported_is_declared(folder, extras):
    allowed = {canonicalize_name(r.name) for r in declared(*extras)}
    allowed |= {"shiboken6"} if extras else set()  # the binding's own half of PySide6
    known = packages_distributions()
    missing = {
        module: str(path.relative_to(ROOT))
        for module, path in imported(folder).items()
        if not {canonicalize_name(d) for d in known.get(module, ())} & allowed
    }
    assert missing == {}


def test_what_the_tests_import_is_declared_or_comes_with_it():
    own = {path.stem for path in (ROOT / "tests").rglob("*.py")}
    allowed = set(closure(*EXTRAS, "test"))
    known = packages_distributions()
    missing = {
        module: str(path.relative_to(ROOT))
        for module, path in imported("tests").items()
        if module not in own and not {canonicalize_name(d) for d in known.get(module, ())} & allowed
    }
    assert missing == {}


def test_what_is_declared_is_imported():
    everywhere = {**imported("core"), **imported("app"), **imported("sample_volumes")}
    used = set(distributions_of(everywhere))
    idle = {canonicalize_name(r.name) for r in declared(*EXTRAS)} - used
    assert idle == set()


def locked(name: str) -> dict[str, tuple[str, list[str]]]:
    """Version and sums of each part of a list, with those of the list that it builds on."""
    found: dict[str, tuple[str, list[str]]] = {}
    text = (ROOT / "app" / "locked" / f"{name}.txt").read_text("utf-8")
    for entry in re.split(r"\n(?=\S)", text):
        if entry.startswith("-r "):
            found |= locked(entry.removeprefix("-r ").removesuffix(".txt").strip())
        elif not entry.startswith("#"):
            part, _, version = entry.split()[0].partition("==")
            found[canonicalize_name(part)] = version, re.findall(r"sha256:([0-9a-f]{64})", entry)
    return found


@pytest.mark.parametrize(
    ("name", "extras"),
    [("run", ()), ("bench", ("bench", "archive")), ("study", EXTRAS), ("test", (*EXTRAS, "test"))],
)
def test_every_part_is_installed_by_the_sum_of_its_file(name, extras):
    parts = locked(name)
    assert set(closure(*extras)) - set(parts) == set(), "run tests/studies/lock_parts.py"
    assert [part for part, (_, sums) in parts.items() if not sums] == []
    for requirement in declared(*extras):
        version, _ = parts[canonicalize_name(requirement.name)]
        assert requirement.specifier.contains(version), f"{requirement} excludes {version}"


def test_the_tests_ran_with_the_versions_that_are_installed_elsewhere():
    """What is locked is what stands here: else other parts than these would be handed out."""
    parts = locked("test")
    here = {name: found.version for name, found in closure(*EXTRAS, "test").items()}
    assert {name: version for name, version in here.items() if parts[name][0] != version} == {}


def test_set_up_takes_nothing_past_the_sums():
    setup = (ROOT / "app" / "setup.sh").read_text("utf-8").replace("\\\n", " ")
    installs = [line for line in setup.splitlines() if "pip install" in line]
    assert len(installs) == 2
    assert all(
        "--require-hashes" in line or ("--no-deps" in line and "--no-build-isolation" in line)
        for line in installs
    )
    readme = (ROOT / "README.md").read_text("utf-8")
    for line in (line for line in readme.splitlines() if "pip install" in line):
        assert "--require-hashes" in line or "--no-deps --no-build-isolation" in line, line
