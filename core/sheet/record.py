"""How sheet and record are made, and what makes the parts that take more than one call.

Names of files hold nothing of the patient.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from typing import cast

from core.sheet.basis_pages import basis_pdf
from core.sheet.case import Case
from core.sheet.day import Day
from core.sheet.page import PaperName
from core.sheet.patient_page import patient_page
from core.sheet.pdf import sheet_pdf
from core.words.catalogue import SOURCE, speaking

Files = list[tuple[str, bytes]]

REPORT_FILE = "measurements.dcm"


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


def sheet(case: Case, settings: RecordSettings, made: Made) -> Files:
    """PDF, table, schemas and pictures of the sheet."""
    from core.sheet.writer import sheet_files

    pdf = sheet_pdf(case, paper=settings.paper_name) if made.sheet is None else made.sheet
    return sheet_files(case, pdf)


def patient(case: Case, settings: RecordSettings, _made: Made) -> bytes | None:
    """The page for the patient, in the practice's own words where it has some."""
    return patient_page(
        case, paper=settings.paper_name, risks=settings.risks, words=settings.patient_words
    )


def report(case: Case, _settings: RecordSettings, made: Made) -> bytes:
    """The structured report; it names the one before it."""
    # Reading and writing DICOM reports takes seconds to import: only where it is asked for.
    from core.sheet.structured_report import structured_report

    with speaking(SOURCE):
        return structured_report(case.ledger, predecessor=made.earlier_report)


def pdf_objects(case: Case, settings: RecordSettings, made: Made) -> Files:
    """Sheet and basis as objects of the archive: the very bytes that lie in the folder."""
    from core.sheet.encapsulated import encapsulated_pdf

    paper = settings.paper_name
    sheet = sheet_pdf(case, paper=paper) if made.sheet is None else made.sheet
    basis = basis_pdf(case, paper=paper) if made.basis is None else made.basis
    with speaking(SOURCE):
        return [
            ("sheet.dcm", encapsulated_pdf(case.ledger, sheet)),
            ("basis.dcm", encapsulated_pdf(case.ledger, basis, basis=True)),
        ]


def key_pictures(case: Case, _settings: RecordSettings, made: Made) -> Files:
    """The sheet's pictures as objects of the archive."""
    from core.sheet.key_pictures import key_picture_files
    from core.sheet.writer import pictures

    files = pictures(case) if made.pictures is None else made.pictures
    with speaking(SOURCE):
        return key_picture_files(case.ledger, files)


def bodies(case: Case, _settings: RecordSettings, _made: Made) -> Files:
    """Meshes of fixtures and canals as objects of the archive."""
    from core.sheet.encapsulated import encapsulated_stl
    from core.sheet.mesh import planned_bodies, stl

    with speaking(SOURCE):
        found = planned_bodies(case.plan).items()
        return [
            (f"body-{name}.dcm", encapsulated_stl(case.ledger, name, stl(mesh, name), number=n))
            for n, (name, mesh) in enumerate(found, start=1)
        ]


def laboratory(case: Case, settings: RecordSettings, _made: Made) -> bytes | None:
    """The laboratory's page."""
    from core.sheet.laboratory import laboratory_pdf

    return laboratory_pdf(case, paper=settings.paper_name)


def meshes(case: Case, _settings: RecordSettings, _made: Made) -> Files:
    """Meshes for the laboratory, and their list."""
    from core.sheet.mesh_files import mesh_files

    with speaking(SOURCE):
        return mesh_files(case)
