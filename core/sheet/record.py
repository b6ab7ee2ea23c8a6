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


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What a part is made of.

    Parameters
    ----------
    case : Case
        Under its pseudonym already, where one is wanted.
    settings : RecordSettings
    made : Made
        Saves making it once more.
    """

    case: Case
    settings: RecordSettings = DEFAULTS
    made: Made = NOTHING_MADE

    @property
    def paper(self) -> PaperName:
        """Of the pages."""
        return self.settings.paper_name


def sheet(task: Task) -> Files:
    """PDF, table, schemas and pictures of the sheet."""
    from core.sheet.writer import sheet_files

    pdf = sheet_pdf(task.case, paper=task.paper) if task.made.sheet is None else task.made.sheet
    return sheet_files(task.case, pdf)


def patient(task: Task) -> bytes | None:
    """The page for the patient, in the practice's own words where it has some."""
    own = task.settings
    return patient_page(task.case, paper=task.paper, risks=own.risks, words=own.patient_words)


def report(task: Task) -> bytes:
    """The structured report; it names the one before it."""
    # Reading and writing DICOM reports takes seconds to import: only where it is asked for.
    from core.sheet.structured_report import structured_report

    with speaking(SOURCE):
        return structured_report(task.case.ledger, predecessor=task.made.earlier_report)


def pdf_objects(task: Task) -> Files:
    """Sheet and basis as objects of the archive: the very bytes that lie in the folder."""
    from core.sheet.encapsulated import encapsulated_pdf

    case, made = task.case, task.made
    sheet = sheet_pdf(case, paper=task.paper) if made.sheet is None else made.sheet
    basis = basis_pdf(case, paper=task.paper) if made.basis is None else made.basis
    with speaking(SOURCE):
        return [
            ("sheet.dcm", encapsulated_pdf(case.ledger, sheet)),
            ("basis.dcm", encapsulated_pdf(case.ledger, basis, basis=True)),
        ]


def key_pictures(task: Task) -> Files:
    """The sheet's pictures as objects of the archive."""
    from core.sheet.key_pictures import key_picture_files
    from core.sheet.writer import pictures

    files = pictures(task.case) if task.made.pictures is None else task.made.pictures
    with speaking(SOURCE):
        return key_picture_files(task.case.ledger, files)


def bodies(task: Task) -> Files:
    """Meshes of fixtures and canals as objects of the archive."""
    from core.sheet.encapsulated import encapsulated_stl
    from core.sheet.mesh import planned_bodies, stl

    with speaking(SOURCE):
        found = planned_bodies(task.case.plan).items()
        return [
            (
                f"body-{name}.dcm",
                encapsulated_stl(task.case.ledger, name, stl(mesh, name), number=n),
            )
            for n, (name, mesh) in enumerate(found, start=1)
        ]


def laboratory(task: Task) -> bytes | None:
    """The laboratory's page."""
    from core.sheet.laboratory import laboratory_pdf

    return laboratory_pdf(task.case, paper=task.paper)


def meshes(task: Task) -> Files:
    """Meshes for the laboratory, and their list."""
    from core.sheet.mesh_files import mesh_files

    with speaking(SOURCE):
        return mesh_files(task.case)
