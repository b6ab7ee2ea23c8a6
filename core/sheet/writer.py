"""Writes the sheet's files: all are made in memory first, then written together or not at all."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import cast

from core.arch import Arch
from core.atomic import write_together, write_whole
from core.drawing import window_of_volume
from core.errors import OutputError, PlanError
from core.image.volume import Volume
from core.measuring.basis import Basis
from core.measuring.ledger import Ledger
from core.pictures.chart import View, across_arch_chart, panorama_chart
from core.plans.plan import Plan
from core.plans.plan_dump import plan_fingerprint
from core.plans.sizes import ListedSize, default_sizes
from core.sheet.case import Case, case_of, ready
from core.sheet.csv_table import ledger_csv
from core.sheet.first_page import lead_chart
from core.sheet.page import SIZES_MM, PaperName
from core.sheet.pdf import sheet_pdf
from core.sheet.png import chart_png
from core.sheet.who import who_is

_PICTURE_SCALE = 2.0
"""Pictures in files are looked at on a screen: twice life size, letters and lines as on paper."""

MOST_OFF_ARCH_MM = 5.0
"""How far beyond the traced arch a section is still drawn."""


def write_sheet(
    plan: Plan,
    volume: Volume,
    ledger: Ledger,
    folder: str | Path,
    *,
    paper: str = "A4",
    without_viewing: bool = False,
    basis: Basis | None = None,
    sizes: tuple[ListedSize, ...] | None = None,
    progress: Callable[[float], None] | None = None,
) -> tuple[Path, ...]:
    """Write the sheet of a plan into a folder.

    Parameters
    ----------
    plan, volume, ledger
        The ledger is that of this plan on this volume; every figure comes from it.
    folder : path
        Made where it is missing. File names hold no patient data.
    paper : {'A4', 'Letter'}
    without_viewing : bool
        True from the command line: the band then says that nobody looked at the pictures.
    basis : Basis, optional
        That of the measuring, where it is at hand: saves making it once more.
    sizes : tuple of ListedSize, optional
        The user's list, tried at each fixture's pose; the shipped one when left out.
    progress : callable, optional
        Gets numbers that grow to 1.

    Returns
    -------
    tuple of Path
        ``sheet.pdf``, ``sheet.csv``, ``sheet.ledger.json``, ``section-ID.png`` a subject and
        ``panorama.png``.

    Raises
    ------
    OutputError
        ``paper-unknown``, ``output-folder``, ``ledger-of-other-plan``, ``ledger-of-other-scan``,
        or those of `core.atomic.write_together`.
    """
    if paper not in SIZES_MM:
        raise OutputError("paper-unknown", found=paper)

    _refuse_mixed(plan, volume, ledger)

    def tell(share: float) -> None:
        if progress is not None:
            progress(share)

    case = ready(
        case_of(
            plan, volume, ledger, without_viewing=without_viewing,
            window=window_of_volume(volume), basis=basis,
            sizes=default_sizes() if sizes is None else sizes,
        )
    )  # fmt: skip
    pdf = sheet_pdf(case, paper=cast(PaperName, paper), progress=lambda s: tell(0.8 * s))
    files = [
        ("sheet.pdf", pdf),
        ("sheet.csv", ledger_csv(ledger, signed=case.signed)),
        ("sheet.ledger.json", ledger.to_json().encode("utf-8")),
        *_pictures(case),
    ]
    tell(0.9)
    written = write_together(folder, files)
    tell(1.0)
    return written


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

    Raises
    ------
    PlanError
        ``chart-needs-arch``, the plan's own side doubt, or ``station-off-arch``.
    OutputError
        See `core.atomic.write_whole`.
    """
    if plan.level is None or plan.arch_points is None:
        raise PlanError("chart-needs-arch")
    arch = Arch.trace(plan.arch_points, level=plan.level, starts=plan.arch_starts)
    if arch.side_is_open and arch.side_doubt is not None:
        raise PlanError(arch.side_doubt.code, **dict(arch.side_doubt.fields))
    if not -MOST_OFF_ARCH_MM <= station_mm <= arch.length_mm + MOST_OFF_ARCH_MM:
        raise PlanError(
            "station-off-arch", station=f"{station_mm:g}", most=f"{MOST_OFF_ARCH_MM:g}",
            length=f"{arch.length_mm:.1f}",
        )  # fmt: skip
    view = View(drawn_at=_PICTURE_SCALE)
    chart = across_arch_chart(volume, plan, arch, station_mm, ledger, view=view)
    made = "" if ledger is None else ledger.made_at
    who = who_is(volume.identity, made)
    data = chart_png(chart, identity=who.line, px_per_mm=px_per_mm, scale=_PICTURE_SCALE)
    write_whole(path, data)


def _refuse_mixed(plan: Plan, volume: Volume, ledger: Ledger) -> None:
    """Figures of one plan or scan must never stand beside pictures of another."""
    if plan is not ledger.plan and plan_fingerprint(plan) != plan_fingerprint(ledger.plan):
        raise OutputError("ledger-of-other-plan")
    if volume.identity.series_uid != ledger.scan.series_uid:
        raise OutputError("ledger-of-other-scan")


def _pictures(case: Case) -> list[tuple[str, bytes]]:
    if case.arch is None:
        return []
    identity = f"{case.who.line} · {case.band}" if case.band else case.who.line
    files: list[tuple[str, bytes]] = []
    for subject in case.subjects:
        chart = lead_chart(case, subject, drawn_at=_PICTURE_SCALE)
        if chart is not None:
            data = chart_png(chart, identity=identity, scale=_PICTURE_SCALE)
            files.append((f"section-{subject.id}.png", data))
    panorama = panorama_chart(case.volume, case.plan, case.arch, window=case.window)
    files.append(("panorama.png", chart_png(panorama, identity=identity)))
    return files
