"""Part of a fixture's pages: the film to be expected at its own size, and the practice's drills."""

from __future__ import annotations

from core.distances.drilling import ORIGINS, DrillDepth
from core.measurement import Measurement
from core.measuring.depth_rule import bars_drilling
from core.measuring.drill_table import Drill, DrillPlan, drilling_plan
from core.pictures.ink import VERMILION
from core.sheet.case import Case, Subject
from core.sheet.check_film import film_chart
from core.sheet.fonts_found import Face
from core.sheet.page import Pages
from core.sheet.page_frame import RULER_MM, heading, ruler, scale_check
from core.trust.figures import down, plain, shown, up
from core.trust.verdict import verdict_words
from core.words import sentence
from core.words.catalogue import say
from core.words.drilling import ORIGINS as ORIGIN_WORDS

_QUIET = (0.33, 0.33, 0.33)
_ROW_MM = 4.8
_GAP_MM = 6.0
_COLUMN_MM = 28.0


def day_part(pages: Pages, case: Case, subject: Subject) -> None:
    """The expected film with what to compare on it, then a row for each drill of the practice.

    Parameters
    ----------
    pages : Pages
    case : Case
    subject : Subject
    """
    fixture = subject.fixture
    if fixture is None or case.arch is None:
        return
    chart, whole = film_chart(case, fixture, tube=case.day.tube, pin=case.day.pin)
    pages.ensure(RULER_MM + 14.0)
    heading(pages, say("sheet.day.film-and-entry"))
    top, left = pages.y + 0.5, pages.left + 9.0
    _, height = pages.chart(chart, left, top)
    ruler(pages, left - 1.5, top, upright=True)
    ruler(pages, left, top + height + 1.5, upright=False)
    x = left + RULER_MM + _GAP_MM
    y = top
    for words in _film_lines(case, whole):
        y = pages.block(x, y, pages.right - x, words, size=8.5) + 0.8
    y += 1.0
    for m in _entry_rows(case, subject):
        y = pages.block(x, y, pages.right - x, _entry_words(case, m), size=8.5) + 0.4
    scale_check(pages, x, y + 1.6, pages.right - x)
    pages.y = max(top + RULER_MM, y + 9.0) + 2.0
    if case.day.drills:  # without a table of its own a practice has the depths above
        drills = case.day.drills
        _drills(
            pages,
            case,
            drilling_plan(fixture, case.plan, case.volume, case.ledger, case.arch, drills),
        )


def _film_lines(case: Case, whole: bool) -> list[str]:
    tube, pin = case.day.tube, case.day.pin
    m, sid = tube.magnification, plain(tube.source_to_film_mm)
    if pin.depth_mm is None:
        scale = say("sheet.day.scale-own", m=m, sid=sid)
    else:
        scale = say("sheet.day.scale", m=m, sid=sid, depth=plain(pin.depth_mm))
    lines = [scale, say("sheet.film.true-depth")]
    return lines if whole else [*lines, sentence("film-partly-scanned")]


def _entry_rows(case: Case, subject: Subject) -> list[Measurement]:
    return [m for m in case.rows(subject) if m.kind.row.for_entry and m.value is not None]


def _entry_words(case: Case, m: Measurement) -> str:
    unit = "°" if m.reading.unit == "deg" else " mm"
    doubt = "" if m.budget is None else f" ± {up(m.budget.expanded, 1)}"
    return f"{case.name(m)}: {shown(m)}{doubt}{unit}"


def _columns(pages: Pages) -> list[float]:
    return [pages.right - _COLUMN_MM * n for n in (3, 2, 1, 0)]


def _drills(pages: Pages, case: Case, plans: tuple[DrillPlan, ...]) -> None:
    words = say("drilling.my-drills")
    rule = plans[0].rule
    if rule.refused:
        reason = rule.reason(case.plan.known_jaw).message
        pages.ensure(10.0 + pages.height_of(pages.inner, reason, size=9, face="strong"))
        heading(pages, words)
        pages.y = pages.block(pages.left, pages.y, pages.inner, reason, size=9, face="strong") + 2.0
        return
    pages.ensure(8.0 + _ROW_MM * 3)
    heading(pages, words)
    with pages.element("Table"):
        _table(pages, case, plans)
    pages.ensure(4.0)
    pages.y = (
        pages.block(
            pages.left,
            pages.y + 0.6,
            pages.inner,
            say("drilling.to-the-last-mark"),
            size=8,
            colour=_QUIET,
        )
        + 2.0
    )


def _table(pages: Pages, case: Case, plans: tuple[DrillPlan, ...]) -> None:
    with pages.element("TR", header=True):
        _head(pages)
    for plan in plans:
        warnings = [_warning(case, row) for row in plan.worse]
        height = _ROW_MM + sum(pages.height_of(pages.inner, w, size=8.5) for w in warnings)
        if pages.ensure(height):
            with pages.artifact():
                _head(pages)
        with pages.element("TR"):
            _row(pages, plan, case.plan.depth_from)
        for row, warning in zip(plan.worse, warnings, strict=True):
            with pages.element("TR"):
                pages.y = pages.block(
                    pages.left, pages.y, pages.inner, warning, size=8.5, face="strong",
                    colour=VERMILION if row.verdict == "below limit" else (0.0, 0.0, 0.0),
                )  # fmt: skip


def _head(pages: Pages) -> None:
    words = say("drilling.drill-to-mark-from")
    pages.text(pages.left, pages.y + 3.0, words, size=7.5, colour=_QUIET)
    for x, name in zip(_columns(pages), ORIGINS, strict=True):
        pages.text(
            x, pages.y + 3.0, str(ORIGIN_WORDS[name]), size=7.5, align="right", colour=_QUIET,
            width=_COLUMN_MM - 2.0,
        )  # fmt: skip
    pages.line(pages.left, pages.y + 4.2, pages.right, pages.y + 4.2, width=0.2)
    pages.y += 5.0


def _row(pages: Pages, plan: DrillPlan, chosen: str | None) -> None:
    y = pages.y + 3.6
    room = pages.inner - 4 * _COLUMN_MM
    pages.text(pages.left, y, _drill_words(plan.drill), size=9, width=room)
    for x, depth in zip(_columns(pages), plan.depths, strict=True):
        face: Face = "strong" if depth.counted_from == chosen else "plain"
        words = "–" if plan.barred else _depth_words(plan.drill, depth)
        pages.text(x, y, words, size=9.5, align="right", face=face, width=_COLUMN_MM - 1.5)
    pages.y += _ROW_MM


def _drill_words(drill: Drill) -> str:
    diameter = "" if drill.diameter_mm is None else f" Ø {plain(drill.diameter_mm)}"
    words = f"{drill.name}{diameter}"
    if drill.marks_include_tip == "yes":
        return say("drilling.marks-with-tip", drill=words)
    return say("drilling.tip-mm-beyond", drill=words, mm=plain(drill.beyond_mm))


def _depth_words(drill: Drill, depth: DrillDepth) -> str:
    value = depth.reading.value
    if value is None:
        by_hand = depth.counted_from in ("gum", "stent top")
        return say("drilling.no-mark-there" if by_hand else "drilling.not-found")
    if drill.is_too_short(value):
        return say("drilling.too-short-exact", exact=down(value, 2))
    if depth.mark_mm is None:
        return say("drilling.no-mark-exact", exact=down(value, 2))
    return f"{plain(depth.mark_mm)} ({down(value, 2)})"


def _warning(case: Case, row: Measurement) -> str:
    return tip_warning(row, case.name(row).split(",")[0])


def tip_warning(row: Measurement, name: str) -> str:
    """What a drill's tip comes close to, and what to do.

    Parameters
    ----------
    row : Measurement
        Of the clearance with the tip.
    name : str
        What it is to, in words.
    """
    limit = "" if row.limit is None else say("drilling.comma-limit", mm=plain(row.limit.value))
    value = say("drilling.no-value") if row.value is None else f"{shown(row)} mm"
    key = "drilling.tip-bars" if bars_drilling(row) else "drilling.tip-borderline"
    return say(key, what=name, value=value, limit=limit, verdict=verdict_words(row.verdict))
