"""The parts of sheet and record, one table: what each is called, made of, and refused for.

A further part is one more row: the folder, the look at it, the window's list and the command line
read it here. What makes it is beside the row, or in `core.sheet.record` where it takes more.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from types import MappingProxyType
from typing import TypeAlias

from core.errors import OutputError, SoundingError
from core.measuring.depth_rule import depth_rule, names_of
from core.measuring.ledger import Ledger
from core.sheet import record
from core.sheet.basis_pages import basis_pdf
from core.sheet.case import Case
from core.sheet.check_film import check_film_pdf
from core.sheet.checklist import checklist_pdf
from core.sheet.drill_card import drill_card
from core.sheet.record import DEFAULTS, NOTHING_MADE, REPORT_FILE, Files, Made, RecordSettings, Task
from core.sheet.side_refusal import refuse_contradiction
from core.words.catalogue import Message, message

Maker: TypeAlias = Callable[[Task], Files | bytes | None]
"""Names and contents of a part's files, or the content of its only one; None: nothing to say."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part of sheet and record.

    Parameters
    ----------
    id : str
        As it is asked for.
    words : Message
        For people.
    what : Message
        What kind of files it is.
    files : tuple of str
        Names of its files; a star stands for the id of a fixture or a body.
    make : Maker
    for_the_chair : bool
        A reader takes it for the truth without the sheet: it is not made while the side is
        contradicted. To be said of every part; there is no default.
    needs_fixture : bool
        Refused where the plan holds none.
    needs_arch : bool
        Refused while jaw plane, arch or side are open.
    hinder : callable
        Raises an `OutputError` where something else of the ledger stands against it.
    archive : bool
        DICOM objects in the scan's study.
    in_space : bool
        It holds points in the scan's frame of reference.
    """

    id: str
    words: Message
    what: Message
    files: tuple[str, ...]
    make: Maker
    for_the_chair: bool
    needs_fixture: bool = False
    needs_arch: bool = False
    hinder: Callable[[Ledger], None] | None = None
    archive: bool = False
    in_space: bool = False


def _refuse_without_depth(ledger: Ledger) -> None:
    """Refuse the card where the rule for depths leaves none on it."""
    plan = ledger.plan
    rules = [depth_rule(ledger.of(f.id), side_contradicted=False) for f in plan.fixtures]
    if all(rule.refused for rule in rules):
        obstacles = [m for rule in rules for m in rule.obstacles]
        raise OutputError("card-without-depth", what=names_of(obstacles, plan.known_jaw))


def _refuse_nowhere(ledger: Ledger) -> None:
    if not ledger.plan.fixtures and not ledger.plan.sites:
        raise OutputError("archive-nothing-to-report")


_PDF = message("record.kind.pdf")

TABLE: tuple[Part, ...] = (
    Part(
        id="sheet",
        words=message("record.part.sheet"),
        what=message("record.kind.sheet"),
        files=(
            "sheet.pdf",
            "sheet.csv",
            "sheet.csv.schema.json",
            "sheet.ledger.schema.json",
            "section-*.png",
            "panorama.png",
        ),
        make=record.sheet,
        for_the_chair=False,
    ),
    Part(
        id="basis",
        words=message("record.part.basis"),
        what=message("record.kind.basis"),
        files=("basis.pdf",),
        make=lambda task: basis_pdf(task.case, paper=task.paper),
        for_the_chair=False,
    ),
    Part(
        id="card",
        words=message("record.part.card"),
        what=_PDF,
        files=("drill-card.pdf",),
        make=lambda task: drill_card(task.case),
        for_the_chair=True,
        needs_fixture=True,
        needs_arch=True,
        hinder=_refuse_without_depth,
    ),
    Part(
        id="film",
        words=message("record.part.film"),
        what=_PDF,
        files=("check-film.pdf",),
        make=lambda task: check_film_pdf(task.case, paper=task.paper),
        for_the_chair=False,
        needs_fixture=True,
        needs_arch=True,
    ),
    Part(
        id="checklist",
        words=message("record.part.checklist"),
        what=_PDF,
        files=("checklist.pdf",),
        make=lambda task: checklist_pdf(task.case, paper=task.paper),
        for_the_chair=False,
        needs_fixture=True,
    ),
    Part(
        id="patient",
        words=message("record.part.patient"),
        what=_PDF,
        files=("patient.pdf",),
        make=record.patient,
        for_the_chair=True,
        needs_fixture=True,
    ),
    Part(
        id="report",
        words=message("record.part.report"),
        what=message("record.kind.report"),
        files=(REPORT_FILE,),
        make=record.report,
        for_the_chair=True,
        hinder=_refuse_nowhere,
        archive=True,
        in_space=True,
    ),
    Part(
        id="pdf object",
        words=message("record.part.pdf-object"),
        what=message("record.kind.pdf-object"),
        files=("sheet.dcm", "basis.dcm"),
        make=record.pdf_objects,
        for_the_chair=False,
        archive=True,
    ),
    Part(
        id="key pictures",
        words=message("record.part.key-pictures"),
        what=message("record.kind.key-pictures"),
        files=("key-*.dcm",),
        make=record.key_pictures,
        for_the_chair=False,
        archive=True,
    ),
    Part(
        id="bodies",
        words=message("record.part.bodies"),
        what=message("record.kind.bodies"),
        files=("body-*.dcm",),
        make=record.bodies,
        for_the_chair=True,
        needs_fixture=True,
        archive=True,
        in_space=True,
    ),
    Part(
        id="laboratory",
        words=message("record.part.laboratory"),
        what=_PDF,
        files=("laboratory.pdf",),
        make=record.laboratory,
        for_the_chair=True,
        needs_fixture=True,
    ),
    Part(
        id="meshes",
        words=message("record.part.meshes"),
        what=message("record.kind.meshes"),
        files=("*_LPS-mm.stl", "meshes_mm.3mf", "meshes.csv"),
        make=record.meshes,
        for_the_chair=False,
    ),
)

PART: Mapping[str, Part] = MappingProxyType({part.id: part for part in TABLE})
PARTS = tuple(PART)
THE_SHEET = ("sheet", "basis")
"""The sheet and what it rests on; all other parts stand beside it."""


def part_of(name: str) -> str | None:
    """The part that a file of this name belongs to; None where it is none of ours."""
    for part in TABLE:
        if any(fnmatchcase(name, pattern) for pattern in part.files):
            return part.id
    return None


def check_parts(parts: Sequence[str]) -> None:
    """Refuse a part that there is none of.

    Raises
    ------
    OutputError
        ``record-part-unknown``.
    """
    for part in parts:
        if part not in PART:
            raise OutputError("record-part-unknown", found=part, known=", ".join(PARTS))


def hindrance(part: str, ledger: Ledger) -> SoundingError | None:
    """Why a part cannot be made of this case, before anybody tries; None where it can."""
    try:
        refuse_hindered(part, ledger)
    except OutputError as refusal:
        return refusal
    return None


def refuse_hindered(part: str, ledger: Ledger) -> None:
    """Refuse a part that this case cannot have.

    Raises
    ------
    OutputError
        ``record-needs-fixture``, ``archive-nothing-to-report``,
        ``archive-field-missing``, ``side-contradiction``, ``card-without-depth``.
    """
    row = PART[part]
    if row.needs_fixture and not ledger.plan.fixtures:
        raise OutputError("record-needs-fixture")
    if row.for_the_chair:
        refuse_contradiction(ledger)
    if row.hinder is not None:
        row.hinder(ledger)
    if row.archive:
        # Takes a moment to import: only where it is asked for.
        from core.sheet.study import check_study

        check_study(ledger.scan, with_space=row.in_space)


def part_files(
    part: str, case: Case, settings: RecordSettings = DEFAULTS, made: Made = NOTHING_MADE
) -> Files:
    """Names and contents of one part's files.

    Parameters
    ----------
    part : str
        One of `PARTS`.
    case : Case
        Under its pseudonym already, where one is wanted.
    settings : RecordSettings
    made : Made
        Saves making it once more.

    Raises
    ------
    OutputError
        ``record-needs-arch``; ``record-nothing-to-say``; others where the part cannot be made:
        `hindrance` tells most of them before.
    """
    row = PART[part]
    if row.needs_arch and case.arch is None:
        raise OutputError("record-needs-arch")
    with settings.speaking(part):
        found = row.make(Task(case=case, settings=settings, made=made))
    if not found:
        raise OutputError("record-nothing-to-say", part=row.words)
    return [(row.files[0], found)] if isinstance(found, bytes) else found
