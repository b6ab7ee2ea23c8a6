"""What the program is made of on this computer: every part, its version and its licence.

As one page of the help, and as a software bill of materials after CycloneDX 1.6 (ECMA-424), which
a hospital's or a practice's computer people can hold against lists of known weaknesses.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import Distribution, PackageNotFoundError, distribution, requires
from uuid import uuid4

from core.version import PROGRAM

OWN = "sounding"
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
_EXTRA = re.compile(r"""extra\s*==\s*['"]([^'"]+)['"]""")
_WITH_WINDOW = "bench"
_NOT_STATED = "not stated"


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """One installed part.

    Parameters
    ----------
    name, version : str
    licence : str
        As the part itself says; ``not stated`` where it does not.
    needs : tuple of str
        Names of the parts that it is built on, as far as they are installed.
    """

    name: str
    version: str
    licence: str
    needs: tuple[str, ...]

    @property
    def reference(self) -> str:
        """Its package URL."""
        return f"pkg:pypi/{self.name}@{self.version}"


def components() -> tuple[Component, ...]:
    """Every part that the program needs and that is installed here, by name."""
    found: dict[str, Component] = {}
    waiting = list(_needed_by_program())
    while waiting:
        name = waiting.pop()
        if name in found:
            continue
        try:
            part = distribution(name)
        except PackageNotFoundError:
            continue  # for another system, or the window where only the command line is installed
        needs = tuple(sorted(n for n in set(_needed(part.requires or (), "")) if _installed(n)))
        found[name] = Component(
            name=name, version=part.version, licence=licence_of(part), needs=needs
        )
        waiting += needs
    return tuple(found[name] for name in sorted(found))


def licence_of(part: Distribution) -> str:
    """The licence as a part's own metadata states it, in one line."""
    meta = part.metadata
    expression = _first(meta.get_all("License-Expression"))
    if expression:
        return expression
    named = [
        line.rsplit("::", 1)[1].strip()
        for line in meta.get_all("Classifier") or ()
        if line.startswith("License ::")
    ]
    named = [name for name in named if name not in {"OSI Approved", "DFSG approved"}]
    # The free field holds a name, or the whole text of a licence: then its first line names it.
    first = _first(meta.get_all("License")).partition("\n")[0]
    return ", ".join(named) or first or _NOT_STATED


def _first(values: list[str] | None) -> str:
    return values[0].strip() if values else ""


def licence_lines() -> tuple[str, ...]:
    """One line a part, for people."""
    return tuple(f"{part.name} {part.version}: {part.licence}" for part in components())


def bill_of_materials() -> str:
    """The parts as a CycloneDX 1.6 document (JSON)."""
    name, _, version = PROGRAM.partition(" ")
    own = {
        "type": "application",
        "bom-ref": OWN,
        "name": name,
        "version": version or "unknown",
    }
    parts = components()
    top = sorted({part.reference for part in parts if part.name in set(_needed_by_program())})
    references = {part.name: part.reference for part in parts}
    document = {
        "$schema": "http://cyclonedx.org/schema/bom-1.6.schema.json",
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "serialNumber": f"urn:uuid:{uuid4()}",
        "version": 1,
        "metadata": {
            "timestamp": datetime.now(UTC).isoformat(timespec="seconds"),
            "component": own,
        },
        "components": [
            {
                "type": "library",
                "bom-ref": part.reference,
                "name": part.name,
                "version": part.version,
                "purl": part.reference,
                "licenses": [{"license": {"name": part.licence}}],
            }
            for part in parts
        ],
        "dependencies": [
            {"ref": OWN, "dependsOn": top},
            *(
                {"ref": part.reference, "dependsOn": sorted(references[n] for n in part.needs)}
                for part in parts
            ),
        ],
    }
    return json.dumps(document, indent=1, ensure_ascii=False)


def _needed_by_program() -> Iterator[str]:
    try:
        yield from _needed(requires(OWN) or (), _WITH_WINDOW)
    except PackageNotFoundError:
        return


def _needed(lines: list[str] | tuple[str, ...], extra: str) -> Iterator[str]:
    for line in lines:
        wanted, _, marker = line.partition(";")
        asked = _EXTRA.search(marker)
        name = _NAME.match(wanted.strip())
        if name is not None and (asked is None or asked.group(1) == extra):
            yield re.sub(r"[-_.]+", "-", name.group()).lower()


def _installed(name: str) -> bool:
    try:
        distribution(name)
    except PackageNotFoundError:
        return False
    return True
