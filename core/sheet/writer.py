"""The sheet's own files: PDF, table and pictures; and one section as a picture by itself."""

from __future__ import annotations

from pathlib import Path

from core.atomic import write_whole
from core.direction import question_code
from core.errors import PlanError
from core.image.volume import Volume
from core.measuring.ledger import Ledger
from core.pictures.chart import View, across_arch_chart
from core.pictures.map_chart import panorama_chart
from core.plans.plan import Plan
from core.plans.side import contradictions, open_question, traced
from core.sheet.case import Case
from core.sheet.csv_table import ledger_csv
from core.sheet.first_page import lead_chart
from core.sheet.patient_words import patient_words
from core.sheet.png import chart_png
from core.sheet.schemas import schema_files
from core.words import sentence
from core.words.catalogue import say

_PICTURE_SCALE = 2.0
"""Pictures in files are looked at on a screen: twice life size, letters and lines as on paper."""

MOST_OFF_ARCH_MM = 5.0
"""How far beyond the traced arch a section is still drawn."""


def sheet_files(case: Case, pdf: bytes) -> list[tuple[str, bytes]]:
    """Names and contents of the sheet's own files, the PDF as it was made.

    ``sheet.pdf``, ``sheet.csv``, the schemas of table and ledger, ``section-ID.png`` a subject and
    ``panorama.png``.
    """
    return [
        ("sheet.pdf", pdf),
        ("sheet.csv", ledger_csv(case.ledger, signed=case.signed)),
        *schema_files(),
        *pictures(case),
    ]


def section_png(
    volume: Volume,
    plan: Plan,
    ledger: Ledger | None,
    station_mm: float,
    path: str | Path,
    *,
    px_per_mm: float = 8.0,
) -> None:
    """Write one section across the arch with its chart as a PNG.

    Parameters
    ----------
    volume : Volume
    plan : Plan
    ledger : Ledger or None
    station_mm : float
        Along the arch, mm.
    path : str or Path
    px_per_mm : float, optional

    Raises
    ------
    PlanError
        ``chart-needs-arch``, ``side-open``, or ``station-off-arch``.
    OutputError
        See `core.atomic.write_whole`.
    """
    if plan.level is None or plan.arch_points is None:
        raise PlanError("chart-needs-arch")
    arch = traced(plan)
    question = open_question(plan, arch)
    if question is not None:
        raise PlanError("side-open", question=sentence(question_code(question)))
    if not -MOST_OFF_ARCH_MM <= station_mm <= arch.length_mm + MOST_OFF_ARCH_MM:
        raise PlanError(
            "station-off-arch", station=f"{station_mm:g}", most=f"{MOST_OFF_ARCH_MM:g}",
            length=f"{arch.length_mm:.1f}",
        )  # fmt: skip
    view = View(drawn_at=_PICTURE_SCALE)
    chart = across_arch_chart(volume, plan, arch, station_mm, ledger, view=view)
    made = "" if ledger is None else ledger.made_at
    who = patient_words(volume.identity, made)
    swapped = bool(contradictions(plan, arch))
    line = f"{who.line} · {say('sheet.side-contradicted')}" if swapped else who.line
    data = chart_png(chart, identity=line, px_per_mm=px_per_mm, scale=_PICTURE_SCALE)
    write_whole(path, data)


def pictures(case: Case) -> list[tuple[str, bytes]]:
    """Names and PNGs: the section of each subject and the panorama; none without an arch."""
    if case.arch is None:
        return []
    identity = f"{case.patient.line} · {case.band}" if case.band else case.patient.line
    files: list[tuple[str, bytes]] = []
    for subject in case.subjects:
        chart = lead_chart(case, subject, drawn_at=_PICTURE_SCALE)
        if chart is not None:
            data = chart_png(chart, identity=identity, scale=_PICTURE_SCALE)
            files.append((f"section-{subject.id}.png", data))
    panorama = panorama_chart(case.volume, case.plan, case.arch, window=case.window)
    files.append(("panorama.png", chart_png(panorama, identity=identity)))
    return files
