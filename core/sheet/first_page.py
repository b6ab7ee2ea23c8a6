"""Page 1: who, which tooth, which size, the section at true size, and what stands against it."""

from __future__ import annotations

from dataclasses import replace

from core.drawing import Chart
from core.pictures.chart import View, across_arch_chart, through_axis_chart
from core.pictures.ink import GLYPHS
from core.sheet.case import Case, Subject
from core.sheet.first_list import first_list
from core.sheet.fonts_found import Face
from core.sheet.furniture import ruler, scale_check, small_arch
from core.sheet.page import Pages
from core.trust.figures import shown
from core.words.cautions import CAUTIONS
from core.words.sheet import SIDE_CONTRADICTED

_QUIET = (0.33, 0.33, 0.33)
_MOST_OTHERS = 11
_LEAST_OTHERS = 3
_MOST_CHECKS = 3


def first_page(pages: Pages, case: Case) -> None:
    """Lay out page 1."""
    pages.new_page()
    subjects = case.subjects
    if not subjects:
        pages.y = pages.block(
            pages.left, pages.y, pages.inner,
            "The plan holds no fixture, no site and no ruler: nothing was measured.", size=12,
            face="strong",
        )  # fmt: skip
        _foot(pages, case)
        return
    lead = subjects[0]
    _title(pages, case, lead)
    below_picture = _picture(pages, case, lead, pages.y)
    below = sum(_heights(pages, case, subjects[1:]))
    lowest = _foot_top(pages) - below - 3.0
    below_list = first_list(pages, case, lead, pages.left + 66.0, pages.y, lowest)
    pages.y = max(below_picture, below_list) + 2.0
    _summary(pages, case)
    _checks(pages, case)
    _others(pages, case, subjects[1:])
    _enlarged(pages, case, lead)
    _foot(pages, case)


def _title(pages: Pages, case: Case, lead: Subject) -> None:
    marked = tuple(dict.fromkeys(s.tooth for s in case.subjects if s.tooth and _same_jaw(s, lead)))
    width = pages.inner - 40.0
    pages.text(pages.left, pages.y + 7.0, lead.words, size=19, face="strong", width=width)
    kind = "Fixture (implant) " if lead.fixture is not None else ""
    size = f"{kind}{lead.size_words}"
    pages.text(pages.left, pages.y + 15.0, size, size=16, width=width)
    plan = case.plan
    side, settled = _side_words(case)
    face: Face = "plain" if settled else "strong"
    pages.text(pages.left, pages.y + 21.5, side, size=9.5, width=width, face=face)
    if plan.interpreted_by:
        read = f"Whole volume interpreted by {plan.interpreted_by} on {plan.interpreted_at[:10]}"
        pages.text(pages.left, pages.y + 26.5, read, size=9.5, width=width)
    else:
        words = "Whole volume interpreted: NOT YET"
        pages.text(pages.left, pages.y + 26.5, words, size=9.5, face="strong", width=width)
    if marked:
        small_arch(pages, pages.right - 36.0, pages.y, marked)
    pages.y += 34.0


def _side_words(case: Case) -> tuple[str, bool]:
    """What a person answered about the side, and whether it agrees with the tooth."""
    check = case.plan.side_check
    if case.side_is_contradicted:
        answered = "" if check is None else f" Answered: the patient’s {check.side.upper()}."
        return f"{SIDE_CONTRADICTED}{answered}", False
    if check is None:
        return "Side NOT YET compared with the patient or chart", False
    words = f"Site on the patient’s {check.side.upper()}"
    by = f"by {check.by or '–'} {check.at[:10]}"
    return f"{words}, compared with {check.against or '–'} {by}", True


def _same_jaw(subject: Subject, lead: Subject) -> bool:
    upper = ("1", "2")
    return bool(lead.tooth) and (subject.tooth[:1] in upper) == (lead.tooth[:1] in upper)


def lead_chart(
    case: Case, subject: Subject, *, most_witnesses: int = 5, drawn_at: float = 1.0
) -> Chart | None:
    """The one picture that stands for a subject: bucco-lingual, true to size.

    Parameters
    ----------
    case : Case
    subject : Subject
    most_witnesses : int, optional
    drawn_at : float, optional
        Scale on the page: mm of paper to a mm.
    """
    station = case.station(subject)
    if case.arch is None or station is None:
        return None
    view = View(
        window=case.window, most_witnesses=most_witnesses, drawn_at=drawn_at, levels=case.levels
    )
    volume, plan, arch, ledger = case.volume, case.plan, case.arch, case.ledger
    if subject.fixture is not None:
        return through_axis_chart(volume, plan, arch, subject.fixture, ledger, view=view)
    return across_arch_chart(volume, plan, arch, station, ledger, view=view)


def _enlarged(pages: Pages, case: Case, lead: Subject) -> None:
    """Both planes at 2 : 1 with their numerals, where the page has room left."""
    room = min(_foot_top(pages) - pages.y - 10.0, 76.0)
    gap = 6.0
    size = ((pages.inner - gap) / 4, room / 2)
    if room < 34.0:
        return
    x = pages.left
    for chart in _enlarged_charts(case, lead, size):
        words = f"{chart.title} – enlarged 2 : 1"
        pages.text(x, pages.y + 4.4, words, size=9, face="strong", width=size[0] * 2)
        width, _ = pages.chart(chart, x, pages.y + 6.0, scale=2.0)
        x += width + gap
    pages.y += 6.0 + room


def _enlarged_charts(case: Case, lead: Subject, size_mm: tuple[float, float]) -> list[Chart]:
    station = case.station(lead)
    if case.arch is None or station is None:
        return []
    view = View(size_mm=size_mm, window=case.window, drawn_at=2.0, levels=case.levels)
    volume, plan, arch, ledger = case.volume, case.plan, case.arch, case.ledger
    if lead.fixture is None:
        return [across_arch_chart(volume, plan, arch, station, ledger, view=view)]
    # The apex and what lies beyond it matter more than the crown's space.
    deeper = replace(view, centre_depth_mm=lead.fixture.size.length_mm / 2 + 2.5)
    return [
        through_axis_chart(volume, plan, arch, lead.fixture, ledger, turn_deg=turn, view=deeper)
        for turn in (0.0, 90.0)
    ]


def _picture(pages: Pages, case: Case, lead: Subject, y: float) -> float:
    x = pages.left + 9.0
    chart = lead_chart(case, lead, most_witnesses=1)
    if chart is None:
        words = "No section: jaw plane, arch or side are not settled."
        pages.rect(x, y + 8.0, 46.0, 60.0)
        pages.block(x + 3.0, y + 30.0, 40.0, words, size=9)
        height = 60.0
    else:
        pages.text(x - 9.0, y + 3.2, chart.title, size=9, face="strong", width=63.0)
        pages.text(x - 9.0, y + 6.8, chart.subtitle, size=7.5, width=63.0, colour=_QUIET)
        _, height = pages.chart(chart, x, y + 8.0)
    ruler(pages, x - 1.5, y + 8.0 + height - 50.0, upright=True)
    ruler(pages, x - 1.5, y + 8.0 + height + 1.5, upright=False)
    scale_check(pages, x - 9.0, y + 8.0 + height + 8.5, 62.0)
    return y + 8.0 + height + 16.0


def _heights(pages: Pages, case: Case, others: tuple[Subject, ...]) -> tuple[float, float, float]:
    """Room that summary, scan checks and the other subjects take."""
    words = pages.height_of(pages.inner - 6.0, case.ledger.summary, size=11, face="strong") + 6.0
    grave = [f for f in case.findings if f.severity != "note"]
    checks = (
        sum(
            pages.height_of(pages.inner, f"! {f.message}", size=8.5, face="strong")
            for f in grave[:_MOST_CHECKS]
        )
        + (1.0 if grave else 0.0)
        + (4.0 if len(grave) > _MOST_CHECKS else 0.0)
    )
    return words, checks, 4.6 + 4.0 * min(len(others), _MOST_OTHERS) if others else 0.0


def _summary(pages: Pages, case: Case) -> None:
    words = case.ledger.summary
    height = pages.height_of(pages.inner - 6.0, words, size=11, face="strong")
    pages.rect(pages.left, pages.y, pages.inner, height + 4.0, edge=0.4)
    pages.block(pages.left + 3.0, pages.y + 2.0, pages.inner - 6.0, words, size=11, face="strong")
    pages.y += height + 6.0


def _checks(pages: Pages, case: Case) -> None:
    """What makes every number doubtful stands on page 1, not only at the end."""
    grave = [f for f in case.findings if f.severity != "note"]
    if not grave:
        return
    for finding in grave[:_MOST_CHECKS]:
        words = f"! {finding.message}"
        pages.y = pages.block(pages.left, pages.y, pages.inner, words, size=8.5, face="strong")
    if len(grave) > _MOST_CHECKS:
        more = f"and {len(grave) - _MOST_CHECKS} more scan checks on the last pages"
        pages.y = pages.block(pages.left, pages.y, pages.inner, more, size=8.5, face="slant")
    pages.y += 1.0


def _others(pages: Pages, case: Case, others: tuple[Subject, ...]) -> None:
    if not others:
        return
    pages.text(pages.left, pages.y + 3.2, "Also on this sheet", size=9, face="strong")
    pages.y += 4.6
    # The arch above marks all of them, and each has pages of its own.
    room = int((_foot_top(pages) - pages.y) / 4.0)
    most = len(others) if len(others) <= room else max(room - 1, _LEAST_OTHERS)
    for subject in others[:most]:
        tight = case.tightest(subject)
        left = f"{subject.words}, {subject.size_words}"
        pages.text(pages.left, pages.y + 3.0, left, size=8.5, width=pages.inner * 0.55)
        if tight is not None:
            right = f"{GLYPHS[tight.verdict]} {case.name(tight)} {shown(tight)} ({tight.verdict})"
            pages.text(pages.right, pages.y + 3.0, right, size=8.5, align="right",
                       width=pages.inner * 0.43)  # fmt: skip
        pages.y += 4.0
    if len(others) > most:
        more = f"and {len(others) - most} more on the following pages"
        pages.text(pages.left, pages.y + 3.0, more, size=8.5, face="slant")
        pages.y += 4.0


def _foot_top(pages: Pages) -> float:
    """Where cautions and signatures begin, counted from the bottom of the page."""
    return pages.bottom - 21.0 - pages.height_of(pages.inner - 6.0, CAUTIONS, size=8.5)


def _foot(pages: Pages, case: Case) -> None:
    """Cautions and signatures stand at the bottom of the page."""
    height = pages.height_of(pages.inner - 6.0, CAUTIONS, size=8.5)
    top = _foot_top(pages)
    if pages.y > top:
        pages.new_page()
    pages.rect(pages.left, top, pages.inner, height + 3.0, edge=0.2)
    pages.block(pages.left + 3.0, top + 1.5, pages.inner - 6.0, CAUTIONS, size=8.5)
    sign = case.plan.sign_off if case.signed else None
    third = pages.inner / 3
    line = pages.bottom - 6.0
    for n, words in enumerate(("treating clinician", "date", "signature")):
        x = pages.left + n * third
        pages.line(x, line, x + third - 5.0, line, width=0.2)
        pages.text(x, line + 3.4, words, size=8, colour=_QUIET)
        if sign is not None and n < 2:
            filled = sign.name if n == 0 else sign.at[:10]
            pages.text(x, line - 1.2, filled, size=10, width=third - 6.0)
    pages.y = pages.bottom
