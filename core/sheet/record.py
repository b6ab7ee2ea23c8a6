"""The record beside the sheet: card, pages, archive objects and meshes, all or none of it.

Everything is made in memory first and then written, each file whole; names of files hold nothing
of the patient.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import cast

from core.atomic import write_whole
from core.drawing import window_of_volume
from core.errors import OutputError
from core.image.radiograph import Tube
from core.image.volume import Volume
from core.measuring.drill_table import Drill
from core.measuring.ledger import Ledger
from core.plans.plan import Plan
from core.pseudonym import pseudonymous
from core.sheet.case import Case, case_of
from core.sheet.check_film import Pin, check_film_pdf
from core.sheet.checklist import checklist_pdf
from core.sheet.drill_card import drill_card
from core.sheet.page import SIZES_MM, PaperName
from core.sheet.patient_page import patient_page
from core.sheet.pdf import sheet_pdf

PARTS = ("card", "film", "checklist", "patient", "report", "pdf object", "laboratory", "meshes")
"""What can be asked for; the sheet itself is `write_sheet`'s."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordSettings:
    """How the record is made.

    Parameters
    ----------
    paper : {'A4', 'Letter'}
        Of the pages; the drill card is A5.
    without_viewing : bool
        Made by the command line: the band then says so.
    drills : sequence of Drill
        The user's own; empty: a drill of which nothing is known.
    tube, pin
        Of the expected check radiograph.
    risks : str
        The practice's own text, see `core.sheet.patient_page.read_risks`.
    patient_words : mapping, optional
        A translation of the patient's page.
    secret : bytes
        Not empty: the pseudonymous variant, see `core.pseudonym`.
    """

    paper: str = "A4"
    without_viewing: bool = False
    drills: Sequence[Drill] = ()
    tube: Tube = field(default_factory=Tube)
    pin: Pin = field(default_factory=Pin)
    risks: str = ""
    patient_words: Mapping[str, str] | None = None
    secret: bytes = b""


DEFAULTS = RecordSettings()


def write_record(
    plan: Plan,
    volume: Volume,
    ledger: Ledger,
    folder: str | Path,
    *,
    parts: Sequence[str] = PARTS,
    settings: RecordSettings = DEFAULTS,
    sheet: bytes | None = None,
) -> tuple[Path, ...]:
    """Write the parts of the record into a folder.

    Parameters
    ----------
    plan, volume, ledger
        The ledger is that of this plan on this volume.
    folder : path
        Made where it is missing.
    parts : sequence of str
        Some of `PARTS`. A part that the case has nothing for (a card without a fixture) is left
        out.
    settings : RecordSettings
    sheet : bytes, optional
        The sheet's PDF for the archive, where it was made already; of the same case and variant.

    Returns
    -------
    tuple of Path
        ``drill-card.pdf``, ``check-film.pdf``, ``checklist.pdf``, ``patient.pdf``,
        ``measurements.dcm``, ``sheet.dcm``, ``laboratory.pdf`` and ``*_LPS-mm.stl``.

    Raises
    ------
    OutputError
        Before anything is written where a part cannot be made; else those of `write_whole`.
    """
    files = record_files(plan, volume, ledger, parts=parts, settings=settings, sheet=sheet)
    target = Path(folder)
    try:
        target.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError("output-folder", path=folder) from error
    for name, data in files:
        write_whole(target / name, data)
    return tuple(target / name for name, _ in files)


def record_files(
    plan: Plan,
    volume: Volume,
    ledger: Ledger,
    *,
    parts: Sequence[str] = PARTS,
    settings: RecordSettings = DEFAULTS,
    sheet: bytes | None = None,
) -> list[tuple[str, bytes]]:
    """Names and contents of the files, nothing written: what a preview shows."""
    for part in parts:
        if part not in PARTS:
            raise OutputError("record-part-unknown", found=part, known=", ".join(PARTS))
    if settings.paper not in SIZES_MM:
        raise OutputError("paper-unknown", found=settings.paper)
    if settings.secret:
        plan, volume, ledger = pseudonymous(plan, volume, ledger, secret=settings.secret)
    case = case_of(
        plan, volume, ledger, without_viewing=settings.without_viewing,
        window=window_of_volume(volume),
    )  # fmt: skip
    makers: dict[str, Callable[[], list[tuple[str, bytes]]]] = {
        "card": lambda: _named("drill-card.pdf", drill_card(case, settings.drills)),
        "film": lambda: _film(case, settings),
        "checklist": lambda: _named("checklist.pdf", checklist_pdf(case, paper=_paper(settings))),
        "patient": lambda: _patient(case, settings),
        "report": lambda: _report(ledger),
        "pdf object": lambda: _object(case, settings, sheet),
        "laboratory": lambda: _laboratory(case, settings),
        "meshes": lambda: _meshes(case),
    }
    return [file for part in PARTS if part in parts for file in makers[part]()]


def _paper(settings: RecordSettings) -> PaperName:
    return cast(PaperName, settings.paper)


def _named(name: str, data: bytes | None) -> list[tuple[str, bytes]]:
    return [] if data is None else [(name, data)]


def _film(case: Case, settings: RecordSettings) -> list[tuple[str, bytes]]:
    pdf = check_film_pdf(case, tube=settings.tube, pin=settings.pin, paper=_paper(settings))
    return _named("check-film.pdf", pdf)


def _patient(case: Case, settings: RecordSettings) -> list[tuple[str, bytes]]:
    page = patient_page(
        case, paper=_paper(settings), risks=settings.risks, words=settings.patient_words
    )
    return _named("patient.pdf", page)


def _report(ledger: Ledger) -> list[tuple[str, bytes]]:
    # Reading and writing DICOM reports takes seconds to import: only where it is asked for.
    from core.sheet.structured_report import structured_report

    if not ledger.plan.fixtures and not ledger.plan.sites:
        return []
    return [("measurements.dcm", structured_report(ledger))]


def _object(case: Case, settings: RecordSettings, sheet: bytes | None) -> list[tuple[str, bytes]]:
    from core.sheet.encapsulated import encapsulated_pdf

    pdf = sheet_pdf(case, paper=_paper(settings)) if sheet is None else sheet
    return [("sheet.dcm", encapsulated_pdf(case.ledger, pdf))]


def _laboratory(case: Case, settings: RecordSettings) -> list[tuple[str, bytes]]:
    from core.sheet.laboratory import laboratory_pdf

    return _named("laboratory.pdf", laboratory_pdf(case, paper=_paper(settings)))


def _meshes(case: Case) -> list[tuple[str, bytes]]:
    from core.sheet.mesh import stl_files

    return stl_files(case.plan, case.arch)
