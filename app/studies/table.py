"""The table of a study: its columns and types, and how it is written, Parquet or CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from importlib.util import find_spec
from itertools import islice
from pathlib import Path
from typing import Any

from app.studies.one_case import LEFT_OUT, Row
from core.atomic import write_whole
from core.errors import SoundingError
from core.sheet.csv_table import safe
from core.sheet.schemas import column_type
from core.words.columns import COLUMNS as OF_LEDGER
from core.words.study import COLUMNS as OWN

COLUMNS = (*OWN, *(name for name in OF_LEDGER if name not in LEFT_OUT))
GROUP = 50_000
"""Rows held at a time while Parquet is written."""


def check_ending(path: Path) -> None:
    """Refuse a form that cannot be written, before anything is measured.

    Raises
    ------
    SoundingError
        ``study-ending``, ``study-not-installed``.
    """
    if path.suffix not in (".parquet", ".csv"):
        raise SoundingError("study-ending", path=path)
    if path.suffix == ".parquet" and find_spec("pyarrow") is None:
        raise SoundingError("study-not-installed", what="Parquet")


def write_table(path: Path, rows: Iterable[Row]) -> None:
    """Write the rows in their order; the same rows give the same bytes.

    Raises
    ------
    OutputError
        See `core.atomic.write_whole`.
    """
    write_whole(path, (_parquet if path.suffix == ".parquet" else _csv)(rows))


def _csv(rows: Iterable[Row]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({name: safe(row.get(name)) for name in COLUMNS})
    return out.getvalue().encode("utf-8-sig")


def _parquet(rows: Iterable[Row]) -> bytes:
    import pyarrow as pa
    from pyarrow import parquet

    types: dict[str, Any] = {"string": pa.string(), "number": pa.float64(), "integer": pa.int64()}
    schema = pa.schema([(name, types[_type(name)]) for name in COLUMNS])
    out = io.BytesIO()
    with parquet.ParquetWriter(out, schema, compression="zstd") as writer:
        for group in _groups(rows):
            whole = [{name: _typed(name, row.get(name)) for name in COLUMNS} for row in group]
            writer.write_table(pa.Table.from_pylist(whole, schema=schema))
    return out.getvalue()


def _groups(rows: Iterable[Row]) -> Iterator[list[Row]]:
    source = iter(rows)
    while group := list(islice(source, GROUP)):
        yield group


def _type(name: str) -> str:
    return "string" if name in OWN else column_type(name)


def _typed(name: str, value: object) -> object:
    if value is None or value == "":
        return None
    return float(str(value)) if _type(name) == "number" else value
