"""The user's list of fixture sizes: read from and written to CSV, refused with the row named."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, TypeAlias

from core.errors import PlanError
from core.fixture import FixtureSize
from core.words.catalogue import message

COLUMNS = (
    "label",
    "diameter_mm",
    "length_mm",
    "platform_diameter_mm",
    "apical_diameter_mm",
    "taper_from_mm",
    "bone_level_mm",
)
"""Columns of the file; only diameter and length must be filled in."""

MOST_ROWS = 500
LARGEST_MM = 100.0
LARGEST_FILE = 1_000_000

Dimension: TypeAlias = Literal["length", "diameter"]

_NEEDED = ("diameter_mm", "length_mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedSize:
    """A size with the user's own name for it, which may be empty."""

    label: str = ""
    size: FixtureSize

    @property
    def words(self) -> str:
        """For people: ``Ø 4.0 × 10.0 mm``, with the label in front where there is one."""
        words = size_words(self.size)
        return f"{self.label}  {words}" if self.label else words


def size_words(size: FixtureSize) -> str:
    """Diameter and length for people: ``Ø 4.0 × 10.0 mm``."""
    return f"Ø {_number(size.diameter_mm)} × {_number(size.length_mm)} mm"


def default_sizes() -> tuple[ListedSize, ...]:
    """Round, neutral sizes to begin with; no maker's list."""
    return tuple(
        ListedSize(size=FixtureSize(diameter_mm=diameter, length_mm=length))
        for diameter in (3.5, 4.0, 4.5, 5.0)
        for length in (6.0, 8.0, 10.0, 12.0)
    )


def next_size(
    sizes: Sequence[FixtureSize], size: FixtureSize, dimension: Dimension, way: int
) -> FixtureSize | None:
    """The next size of a list that differs in one dimension alone.

    Parameters
    ----------
    sizes : sequence of FixtureSize
    size : FixtureSize
        That of now; it need not be of the list.
    dimension : {'length', 'diameter'}
    way : {1, -1}
        Up or down.

    Returns
    -------
    FixtureSize or None
        None where the list has no further one.
    """

    def both(each: FixtureSize) -> tuple[float, float]:
        mm = (each.length_mm, each.diameter_mm)
        return mm if dimension == "length" else (mm[1], mm[0])

    now, kept = both(size)
    further = [
        (way * (both(each)[0] - now), n)
        for n, each in enumerate(sizes)
        if both(each)[1] == kept and way * (both(each)[0] - now) > 0
    ]
    return sizes[min(further)[1]] if further else None


def read_sizes(text: str) -> tuple[ListedSize, ...]:
    """Sizes of a CSV file.

    The first row names the columns, in any order; comma, semicolon or tab part them, and with
    semicolon or tab a decimal comma is read too. Empty rows are passed over.

    Parameters
    ----------
    text : str
        The file's contents.

    Raises
    ------
    PlanError
        ``sizes-empty``, ``sizes-no-column``, ``sizes-unknown-column``, ``sizes-row`` (with the
        row, counted as a table program counts it), ``sizes-twice`` or ``sizes-too-many``.
    """
    text = text.removeprefix("\ufeff")
    lines = text.splitlines()
    head = next((line for line in lines if line.strip()), "")
    if not head:
        raise PlanError("sizes-empty")
    delimiter = max(";\t,", key=head.count)
    rows = list(csv.reader(io.StringIO(text), delimiter=delimiter, strict=False))
    start = next(i for i, row in enumerate(rows) if any(cell.strip() for cell in row))
    columns = _columns(rows[start])
    found: list[ListedSize] = []
    places: dict[ListedSize, int] = {}
    for number, row in enumerate(rows[start + 1 :], start=start + 2):
        if not any(cell.strip() for cell in row):
            continue
        listed = _listed(columns, row, number, decimal_comma=delimiter != ",")
        if listed in places:
            raise PlanError("sizes-twice", row=number, first=places[listed])
        if len(found) == MOST_ROWS:
            raise PlanError("sizes-too-many", most=MOST_ROWS)
        places[listed] = number
        found.append(listed)
    if not found:
        raise PlanError("sizes-empty")
    return tuple(found)


def load_sizes(path: str | Path) -> tuple[ListedSize, ...]:
    """Sizes of a CSV file on disk.

    Raises
    ------
    PlanError
        ``sizes-unreadable`` where it is no readable UTF-8 text, else those of `read_sizes`.
    """
    path = Path(path)
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise PlanError("sizes-too-many", most=MOST_ROWS)
        text = path.read_bytes().decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise PlanError("sizes-unreadable", name=path.name) from error
    return read_sizes(text)


def sizes_csv(sizes: tuple[ListedSize, ...]) -> str:
    """The list as CSV; `read_sizes` reads it back to the same list."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for listed in sizes:
        size = listed.size
        optional = (size.platform_diameter_mm, size.apical_diameter_mm, size.taper_from_mm)
        writer.writerow(
            [
                listed.label,
                repr(size.diameter_mm),
                repr(size.length_mm),
                *("" if value is None else repr(value) for value in optional),
                repr(size.bone_level_mm),
            ]
        )
    return out.getvalue()


def listed_size(values: dict[str, str], row: int) -> ListedSize:
    """One row's texts by column as a size; what an editor of the list uses too.

    Raises
    ------
    PlanError
        ``sizes-row`` with the row and what is wrong in it.
    """
    numbers = {name: _mm(name, values.get(name, ""), row) for name in COLUMNS[1:]}
    for name in _NEEDED:
        if numbers[name] is None:
            raise PlanError("sizes-row", row=row, reason=message("plans.sizes.empty", column=name))
    try:
        size = FixtureSize(
            diameter_mm=numbers["diameter_mm"] or 0.0,
            length_mm=numbers["length_mm"] or 0.0,
            platform_diameter_mm=numbers["platform_diameter_mm"],
            apical_diameter_mm=numbers["apical_diameter_mm"],
            taper_from_mm=numbers["taper_from_mm"],
            bone_level_mm=numbers["bone_level_mm"] or 0.0,
        )
    except ValueError as error:
        raise PlanError("sizes-row", row=row, reason=str(error)) from error
    return ListedSize(label=values.get("label", "").strip(), size=size)


def _columns(head: list[str]) -> list[str]:
    columns = [cell.strip().lower() for cell in head]
    for name in _NEEDED:
        if name not in columns:
            raise PlanError("sizes-no-column", name=name, known=", ".join(COLUMNS))
    for name in columns:
        if name and name not in COLUMNS:
            raise PlanError("sizes-unknown-column", name=name, known=", ".join(COLUMNS))
    return columns


def _listed(columns: list[str], row: list[str], number: int, *, decimal_comma: bool) -> ListedSize:
    if any(cell.strip() for cell in row[len(columns) :]):
        raise PlanError("sizes-row", row=number, reason=message("plans.sizes.more-cells"))
    values = dict(zip(columns, row, strict=False))
    if decimal_comma:
        values = {n: v if n == "label" else v.replace(",", ".") for n, v in values.items()}
    return listed_size(values, number)


def _mm(name: str, text: str, row: int) -> float | None:
    text = text.strip()
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        reason = message("plans.sizes.no-number", column=name, found=repr(text))
        raise PlanError("sizes-row", row=row, reason=reason) from None
    # Negated, so that not-a-number is refused too.
    if not -LARGEST_MM < value < LARGEST_MM:
        reason = message("plans.sizes.range", column=name, most=LARGEST_MM, found=repr(text))
        raise PlanError("sizes-row", row=row, reason=reason)
    return value


def _number(value: float) -> str:
    return f"{value:.1f}" if round(value, 1) == value else f"{value:g}"
