"""The parts of the record beside the sheet: what each is made of, as names and contents of files.

Names of files hold nothing of the patient.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from typing import cast

from core.errors import OutputError
from core.measuring.ledger import Ledger
from core.sheet.basis_pages import basis_pdf
from core.sheet.case import Case
from core.sheet.check_film import check_film_pdf
from core.sheet.checklist import checklist_pdf
from core.sheet.day import Day
from core.sheet.drill_card import drill_card
from core.sheet.page import PaperName
from core.sheet.parts import REPORT_FILE
from core.sheet.patient_page import patient_page
from core.sheet.pdf import sheet_pdf
from core.words.catalogue import SOURCE, speaking

Files = list[tuple[str, bytes]]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordSettings:
    """How sheet and record are made.

    Parameters
    ----------
    paper : {'A4', 'Letter'}
        Of the pages; the drill card is A5.
    without_viewing : bool
        Made by the command line: the band then says so.
    day : Day
        Drills, tube and pin of the practice.
    risks : str
        The practice's own text, see `core.sheet.patient_page.read_risks`.
    language : str
        Of all pages and pictures; files for machines are never translated.
    patient_language : str
        Of the patient's page; empty: that of the others.
    patient_words : mapping, optional
        The practice's own translation of the patient's page.
    secret : bytes
        Not empty: the pseudonymous variant, see `core.pseudonym`.
    """

    paper: str = "A4"
    without_viewing: bool = False
    day: Day = field(default_factory=Day)
    risks: str = ""
    language: str = SOURCE
    patient_language: str = ""
    patient_words: Mapping[str, str] | None = None
    secret: bytes = b""

    def speaking(self, part: str = "sheet") -> AbstractContextManager[None]:
        """Speak the language that the pages of a part are written in, within a block."""
        of_patient = part == "patient" and self.patient_language
        return speaking(self.patient_language if of_patient else self.language)

    @property
    def paper_name(self) -> PaperName:
        """`paper`, for the functions that lay out pages."""
        return cast(PaperName, self.paper)


DEFAULTS = RecordSettings()


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """What was made before, of the same case.

    Parameters
    ----------
    sheet, basis : bytes, optional
        The sheet's PDF and its basis, for the archive.
    pictures : Files, optional
        The sheet's pictures.
    earlier_report : bytes, optional
        The report of an earlier state of the plan, for the new one to name.
    """

    sheet: bytes | None = None
    basis: bytes | None = None
    pictures: Files | None = None
    earlier_report: bytes | None = None


NOTHING_MADE = Made()


def part_files(
    part: str, case: Case, settings: RecordSettings = DEFAULTS, made: Made = NOTHING_MADE
) -> Files:
    """Names and contents of one part's files; none of the sheet's own.

    Parameters
    ----------
    part : str
        One of `core.sheet.parts.PARTS`, but for ``sheet``.
    case : Case
        Under its pseudonym already, where one is wanted.
    settings : RecordSettings
    made : Made
        Saves making it once more.

    Raises
    ------
    OutputError
        Where the part cannot be made; `core.sheet.parts.hindrance` tells most of that before.
    """
    paper = settings.paper_name
    makers: dict[str, Callable[[], Files]] = {
        "basis": lambda: _named("basis.pdf", basis_pdf(case, paper=paper)),
        "card": lambda: _named("drill-card.pdf", drill_card(case)),
        "film": lambda: _named("check-film.pdf", check_film_pdf(case, paper=paper)),
        "checklist": lambda: _named("checklist.pdf", checklist_pdf(case, paper=paper)),
        "patient": lambda: _named("patient.pdf", _patient(case, settings)),
        "report": lambda: _report(case.ledger, made.earlier_report),
        "pdf object": lambda: _objects(case, settings, made),
        "key pictures": lambda: _key_pictures(case, made.pictures),
        "bodies": lambda: _bodies(case),
        "laboratory": lambda: _laboratory(case, settings),
        "meshes": lambda: _meshes(case),
    }
    with settings.speaking(part):
        return makers[part]()


def _named(name: str, data: bytes | None) -> Files:
    # What needs a fixture or a place was refused before: what is left is an open side.
    if data is None:
        raise OutputError("record-needs-arch")
    return [(name, data)]


def _patient(case: Case, settings: RecordSettings) -> bytes | None:
    return patient_page(
        case, paper=settings.paper_name, risks=settings.risks, words=settings.patient_words
    )


def _report(ledger: Ledger, earlier: bytes | None) -> Files:
    # Reading and writing DICOM reports takes seconds to import: only where it is asked for.
    from core.sheet.structured_report import structured_report

    with speaking(SOURCE):
        return [(REPORT_FILE, structured_report(ledger, predecessor=earlier))]


def _objects(case: Case, settings: RecordSettings, made: Made) -> Files:
    from core.sheet.encapsulated import encapsulated_pdf

    paper = settings.paper_name
    sheet = sheet_pdf(case, paper=paper) if made.sheet is None else made.sheet
    basis = basis_pdf(case, paper=paper) if made.basis is None else made.basis
    with speaking(SOURCE):
        return [
            ("sheet.dcm", encapsulated_pdf(case.ledger, sheet)),
            ("basis.dcm", encapsulated_pdf(case.ledger, basis, basis=True)),
        ]


def _key_pictures(case: Case, drawn: Files | None) -> Files:
    from core.sheet.key_pictures import key_picture_files
    from core.sheet.writer import pictures

    files = pictures(case) if drawn is None else drawn
    with speaking(SOURCE):
        return key_picture_files(case.ledger, files)


def _bodies(case: Case) -> Files:
    from core.sheet.encapsulated import encapsulated_stl
    from core.sheet.mesh import planned_bodies, stl

    with speaking(SOURCE):
        bodies = planned_bodies(case.plan).items()
        return [
            (f"body-{name}.dcm", encapsulated_stl(case.ledger, name, stl(mesh, name), number=n))
            for n, (name, mesh) in enumerate(bodies, start=1)
        ]


def _laboratory(case: Case, settings: RecordSettings) -> Files:
    from core.sheet.laboratory import laboratory_pdf

    return _named("laboratory.pdf", laboratory_pdf(case, paper=settings.paper_name))


def _meshes(case: Case) -> Files:
    from core.sheet.mesh_files import mesh_files

    with speaking(SOURCE):
        return mesh_files(case)
