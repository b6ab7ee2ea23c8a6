"""The one catalogue of sentences: a code plus fields becomes text for people.

Every finding, error, note and verdict is a code; its English sentence stands in one
of the tables of this package, one table a subject, so that a translation replaces tables
and no code.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from core.words import (
    archive,
    drilling,
    freehand,
    kept,
    ledger,
    marking,
    measuring,
    plan,
    program,
    record,
    scan,
    sheet,
    sizes,
    study,
    trust,
)

_TABLES = (
    archive.SENTENCES,
    scan.SENTENCES,
    plan.SENTENCES,
    ledger.SENTENCES,
    marking.SENTENCES,
    measuring.SENTENCES,
    freehand.SENTENCES,
    drilling.SENTENCES,
    sheet.SENTENCES,
    program.SENTENCES,
    sizes.SENTENCES,
    study.SENTENCES,
    record.SENTENCES,
    kept.SENTENCES,
    trust.SENTENCES,
)


def sentence(code: str, fields: Mapping[str, object] | None = None) -> str:
    """Return the sentence of a code with its fields filled in.

    Parameters
    ----------
    code : str
        Key of one of the tables.
    fields : mapping, optional
        Values for the sentence's ``{names}``.

    Raises
    ------
    KeyError
        When no table holds the code, or the sentence needs a field that is not given:
        both are faults of the program, found by the tests.
    """
    for table in _TABLES:
        if code in table:
            return table[code].format(**(fields or {}))
    raise KeyError(f"no sentence for the code {code!r}")


def every_sentence() -> Iterator[str]:
    """The sentences of all tables, their fields not filled in."""
    for table in _TABLES:
        yield from table.values()
