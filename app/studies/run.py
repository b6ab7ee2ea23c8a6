"""A study: measures what is not measured yet, keeps each case, then writes the table.

Beside the table a folder ``NAME.parts`` keeps the rows of each case as it is done, so that a run
that was stopped goes on where it stopped; it goes when the table is written. A case that failed is
measured again. Cases stand in the table in the order of the list, whoever was ready first.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from app.studies.cases import Case
from app.studies.cluster import on_cluster
from app.studies.one_case import Row
from app.studies.table import check_ending, write_table
from app.studies.workers import on_processes
from core.atomic import write_whole


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """What a study came to.

    Parameters
    ----------
    measured : int
        Cases of this run.
    before : int
        Cases that an earlier run had measured.
    rows : int
    faults : tuple of (case, reason)
    """

    measured: int
    before: int
    rows: int
    faults: tuple[tuple[str, str], ...]


def run_study(
    cases: Sequence[Case],
    out: Path,
    *,
    workers: int,
    memory_mb: int,
    scheduler: str = "",
    again: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Done:
    """Measure cases into a table.

    Parameters
    ----------
    cases : sequence of Case
    out : Path
        ``.parquet`` or ``.csv``.
    workers, memory_mb : int
        Processes of this machine, and the most memory of each.
    scheduler : str
        Address of a Dask cluster in their place.
    again : bool
        True: what an earlier run has measured is not taken over.
    progress : callable (done, total), optional

    Raises
    ------
    SoundingError
        ``study-ending``, ``study-not-installed``, ``study-no-cluster``; and those of
        `core.atomic.write_whole`.
    """
    check_ending(out)
    parts = out.with_name(f"{out.name}.parts")
    if again:
        shutil.rmtree(parts, ignore_errors=True)
    parts.mkdir(parents=True, exist_ok=True)
    keys = {case.name: parts / f"{case.key}.json" for case in cases}
    waiting = [case for case in cases if not _is_measured(keys[case.name])]
    before = done = len(cases) - len(waiting)
    results = (
        on_cluster(waiting, scheduler)
        if scheduler
        else on_processes(waiting, workers=workers, memory_mb=memory_mb)
    )
    for case, rows in results if waiting else ():
        write_whole(keys[case.name], json.dumps(rows, ensure_ascii=False).encode("utf-8"))
        done += 1
        if progress is not None:
            progress(done, len(cases))
    tally = _Tally()
    write_table(out, tally.counted(keys[case.name] for case in cases))
    shutil.rmtree(parts, ignore_errors=True)
    return Done(measured=len(waiting), before=before, rows=tally.rows, faults=tuple(tally.faults))


class _Tally:
    """Counts rows and faults as they pass into the table."""

    def __init__(self) -> None:
        self.rows = 0
        self.faults: list[tuple[str, str]] = []

    def counted(self, parts: Iterator[Path]) -> Iterator[Row]:
        for path in parts:
            for row in _read(path):
                self.rows += 1
                if row.get("fault_code"):
                    self.faults.append((str(row["case"]), str(row["fault"])))
                yield row


def _read(path: Path) -> list[Row]:
    rows: list[Row] = json.loads(path.read_text("utf-8"))
    return rows


def _is_measured(path: Path) -> bool:
    try:
        return not any(row.get("fault_code") for row in _read(path))
    except (OSError, ValueError, AttributeError):
        return False
