"""The parts of sheet and record: their files, and what stands against making one of them."""

from __future__ import annotations

from collections.abc import Sequence
from fnmatch import fnmatchcase

from core.errors import OutputError, SoundingError
from core.measuring.depth_rule import depth_rule, names_of
from core.measuring.ledger import Ledger
from core.plans.plan_checks import side_findings
from core.plans.side import CONTRADICTIONS

LEDGER_FILE = "sheet.ledger.json"
"""In every folder, whatever else is asked for: it tells which scan and plan the rest is of."""

REPORT_FILE = "measurements.dcm"

FILES: dict[str, tuple[str, ...]] = {
    "sheet": (
        "sheet.pdf",
        "sheet.csv",
        "sheet.csv.schema.json",
        "sheet.ledger.schema.json",
        "section-*.png",
        "panorama.png",
    ),
    "basis": ("basis.pdf",),
    "card": ("drill-card.pdf",),
    "film": ("check-film.pdf",),
    "checklist": ("checklist.pdf",),
    "patient": ("patient.pdf",),
    "report": (REPORT_FILE,),
    "pdf object": ("sheet.dcm", "basis.dcm"),
    "key pictures": ("key-*.dcm",),
    "bodies": ("body-*.dcm",),
    "laboratory": ("laboratory.pdf",),
    "meshes": ("*_LPS-mm.stl", "meshes_mm.3mf", "meshes.csv"),
}
"""Names of the files of each part; a star stands for the id of a fixture or a body."""

PARTS = tuple(FILES)
THE_SHEET = ("sheet", "basis")
"""The sheet and what it rests on; all other parts stand beside it."""

WITH_FIXTURE = ("card", "film", "checklist", "patient", "bodies", "laboratory")
ARCHIVE = ("report", "pdf object", "key pictures", "bodies")
"""DICOM objects in the scan's study."""

_IN_SPACE = ("report", "bodies")

FOR_THE_CHAIR = ("card", "patient", "report", "bodies", "laboratory")
"""Parts that a reader takes for the truth without the sheet: none is made while the side is
contradicted."""


def part_of(name: str) -> str | None:
    """The part that a file of this name belongs to; None where it is none of ours."""
    for part, patterns in FILES.items():
        if any(fnmatchcase(name, pattern) for pattern in patterns):
            return part
    return None


def check_parts(parts: Sequence[str]) -> None:
    """Refuse a part that there is none of.

    Raises
    ------
    OutputError
        ``record-part-unknown``.
    """
    for part in parts:
        if part not in FILES:
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
    plan = ledger.plan
    nowhere = not plan.fixtures and not plan.sites
    if part in WITH_FIXTURE and not plan.fixtures:
        raise OutputError("record-needs-fixture")
    if part in FOR_THE_CHAIR:
        refuse_contradiction(ledger)
    if part == "card":
        _refuse_without_depth(ledger)
    if part == "report" and nowhere:
        raise OutputError("archive-nothing-to-report")
    if part in ARCHIVE:
        # Takes a moment to import: only where it is asked for.
        from core.sheet.study import check_study

        check_study(ledger.scan, with_space=part in _IN_SPACE)


def _refuse_without_depth(ledger: Ledger) -> None:
    """Refuse the card where the rule for depths leaves none on it."""
    plan = ledger.plan
    rules = [depth_rule(ledger.of(f.id), side_contradicted=False) for f in plan.fixtures]
    if all(rule.refused for rule in rules):
        obstacles = [m for rule in rules for m in rule.obstacles]
        raise OutputError("card-without-depth", what=names_of(obstacles, plan.known_jaw))


def refuse_contradiction(ledger: Ledger) -> None:
    """Refuse what a reader would take for the truth while side or tooth contradict each other.

    The report's finding sites are coded by tooth and side; a card is drilled by.

    Raises
    ------
    OutputError
        ``side-contradiction`` with the first contradiction in words.
    """
    for finding in (*side_findings(ledger.plan), *ledger.findings):
        if finding.code in CONTRADICTIONS:
            raise OutputError("side-contradiction", contradiction=finding.message)
