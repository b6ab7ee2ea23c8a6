"""A look at one part before it is written: the very pages, or what its files hold."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from core.sheet.case import Case
from core.sheet.file_summary import file_summary
from core.sheet.parts import part_files, refuse_hindered
from core.sheet.pdf import sheet_pdf
from core.sheet.record import Made, RecordSettings


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What a part would be.

    Parameters
    ----------
    pdf : bytes or None
        Its pages; None where it has none.
    lines : tuple of str
        What its other files hold.
    """

    pdf: bytes | None
    lines: tuple[str, ...]


def look_at(
    part: str,
    case: Case,
    settings: RecordSettings,
    *,
    progress: Callable[[float], None] | None = None,
) -> Look:
    """Make one part in memory, nothing written.

    Parameters
    ----------
    part : str
    case : Case
    settings : RecordSettings
    progress : callable, optional
        Told how much is done, 0 to 1.

    Raises
    ------
    OutputError
        As when the part is written.
    """
    refuse_hindered(part, case.ledger)
    if part == "sheet":
        with settings.speaking():
            pdf = sheet_pdf(case, paper=settings.paper_name, progress=progress)
        return Look(pdf=pdf, lines=())
    if part == "pdf object":
        with settings.speaking():
            pdf = sheet_pdf(case, paper=settings.paper_name, progress=progress)
        files = part_files(part, case, settings, Made(sheet=pdf))
        return Look(pdf=pdf, lines=_lines(files))
    files = part_files(part, case, settings)
    pdfs = [data for name, data in files if name.endswith(".pdf")]
    others = [(name, data) for name, data in files if not name.endswith(".pdf")]
    return Look(pdf=pdfs[0] if pdfs else None, lines=_lines(others))


def _lines(files: list[tuple[str, bytes]]) -> tuple[str, ...]:
    return tuple(line for name, data in files for line in file_summary(name, data))
