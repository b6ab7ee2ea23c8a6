"""Which plans are measured on which scans: a list, or a folder in which both lie side by side."""

from __future__ import annotations

import csv
import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from core.errors import SoundingError
from core.version import PROGRAM
from core.words.catalogue import say

ENDING = ".plan.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A plan and its scan.

    Parameters
    ----------
    name : str
        Unique in a study.
    plan_file, scan_path : str
        As the list names them.
    plan, scan : Path
        Where they are; `scan` may be missing, which is told when the case is measured.
    series : str
        Empty: the only usable one.
    """

    name: str
    plan_file: str
    scan_path: str
    plan: Path
    scan: Path | None
    series: str = ""

    @property
    def key(self) -> str:
        """Changes with the program, the plan's content and the scan's files, and with nothing else.

        Files of the scan count by name, size and time: to read all of them takes as long as to
        measure.
        """
        parts: list[object] = [PROGRAM, self.name, self.series, self.scan_path, _content(self.plan)]
        if self.scan is not None:
            parts += [_stamp(path) for path in sorted(_files(self.scan))]
        return hashlib.sha256(json.dumps(parts).encode()).hexdigest()[:32]


def read_cases(path: Path) -> tuple[Case, ...]:
    """Cases of a list (CSV) or of a folder, in order.

    Raises
    ------
    SoundingError
        ``study-list``, ``study-empty``.
    """
    found = tuple(_of_folder(path) if path.is_dir() else _of_list(path))
    if not found:
        raise SoundingError("study-empty", path=path)
    names: set[str] = set()
    for case in found:
        if case.name in names:
            raise SoundingError(
                "study-list", path=path, reason=say("studies.cases.stands-twice", case=case.name)
            )
        names.add(case.name)
    return found


def _of_list(path: Path) -> Iterator[Case]:
    try:
        text = path.read_text("utf-8-sig")
        rows = list(csv.DictReader(text.splitlines(), strict=True))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise SoundingError("study-list", path=path, reason=error) from error
    for number, row in enumerate(rows, start=2):
        plan, scan = (str(row.get(column) or "").strip() for column in ("plan", "scan"))
        if not plan or not scan:
            raise SoundingError(
                "study-list",
                path=path,
                reason=say("studies.cases.row-lacks-plan-or-scan", number=number),
            )
        yield Case(
            name=str(row.get("case") or "").strip() or plan.removesuffix(ENDING),
            plan_file=plan,
            scan_path=scan,
            plan=path.parent / plan,
            scan=path.parent / scan,
            series=str(row.get("series") or "").strip(),
        )


def _of_folder(folder: Path) -> Iterator[Case]:
    for plan in sorted(folder.rglob(f"*{ENDING}")):
        shown = plan.relative_to(folder).as_posix()
        stem = plan.with_name(plan.name.removesuffix(ENDING))
        beside = [p for p in (stem, stem.with_name(f"{stem.name}.zip")) if p.exists()]
        scan = beside[0] if beside else None
        yield Case(
            name=shown.removesuffix(ENDING),
            plan_file=shown,
            scan_path="" if scan is None else scan.relative_to(folder).as_posix(),
            plan=plan,
            scan=scan,
        )


def _content(path: Path) -> str:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""


def _files(path: Path) -> list[Path]:
    return [p for p in path.rglob("*") if p.is_file()] if path.is_dir() else [path]


def _stamp(path: Path) -> tuple[str, int, int]:
    try:
        found = path.stat()
    except OSError:
        return (path.name, 0, 0)
    return (path.name, found.st_size, found.st_mtime_ns)
