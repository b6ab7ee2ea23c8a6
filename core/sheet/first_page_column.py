"""The column beside the picture of page 1: what stands against it, how deep, and what is met."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from core.distances.drilling import MARK_STEP_MM, UNKNOWN_TIP_MM
from core.measurement import Measurement
from core.measurement_kinds import MeasurementKind, WidthDetails
from core.measuring.depth_rule import DepthRule, names_of
from core.measuring.rows_drilling import counted_from, drill_rows_of, mark_words
from core.pictures.ink import GLYPHS, VERMILION
from core.sheet.case import Case, Subject, first_title, surface_title
from core.sheet.page import Pages
from core.trust.figures import (
    is_overlap,
    is_to_surface,
    nearest,
    plain,
    shown,
    shown_at_least,
    told,
    up,
)
from core.trust.verdict import is_judged, is_missed, verdict_words, worst_first
from core.words.catalogue import message, say, together
from core.words.drilling import (
    ORIGINS,
)
from core.words.numbers import Figure
from core.words.sheet import (
    OPEN_VERDICTS,
)

_MOST_ROWS = 7
_LEAST_ROWS = 3
_TITLE_MM, _ROW_MM, _MORE_MM = 5.0, 4.8, 4.6
_MOST_LARGE = 15


def first_page_column(  # noqa: PLR0917 - place and room, as for every part of a page
    pages: Pages, case: Case, lead: Subject, x: float, y: float, lowest: float
) -> float:
    """What must be seen first, how near the bone's surface is, then what is not met, and is met.

    Parameters
    ----------
    x, y : float
        Upper left corner.
    lowest : float
        Below it nothing is set that the following pages have as well.
    """
    rows = [m for m in case.rows(lead) if is_judged(m)]
    tight = case.tightest(lead)
    above = [] if tight is None else [tight]
    if tight is not None:
        with pages.element("H2"):
            pages.text(x, y + 3.2, say(first_title(tight)), size=9, face="strong")
        y = _tightest(pages, tight, case.name(tight), x, y + 4.5)
    surface = case.nearest_surface(lead)
    beside = (
        ("sheet.closest", case.nearest_vital(lead)),
        ("" if surface is None else surface_title(surface), surface),
    )
    for title, near in beside:
        if near is None or near is tight or (title == "sheet.closest" and is_missed(near)):
            continue
        with pages.element("H2"):
            pages.text(x, y + 2.2, say(title), size=9, face="strong")
        y = _short_row(pages, near, case.name(near), x, y + 3.2) + 1.0
        # What is not met stands among its like as well.
        above += [] if is_missed(near) else [near]
    y = _depths(pages, case, lead, x, y)
    y = pages.block(x, y, pages.right - x, _assumed(case, lead), size=8) + 0.6
    others = [m for m in worst_first(rows) if not any(m is near for near in above)]
    # Nothing that is marked or declared would settle a side that is contradicted, or bone.
    helps = not case.side_is_contradicted and any(
        m.verdict == "not assessed" and m.kind is MeasurementKind.CLEARANCE and not is_to_surface(m)
        for m in others
    )
    plain_title = {"not assessed": message("sheet.not-assessed")}
    titles = {**OPEN_VERDICTS, **({} if helps else plain_title)}
    groups = [(str(title), [m for m in others if m.verdict == v]) for v, title in titles.items()]
    for number, (heading, found) in enumerate(groups):
        kept_mm = sum(_least_mm(len(later)) for _, later in groups[number + 1 :])
        y = _not_met(pages, case, heading, found, x, y, lowest - kept_mm)
    met = _smallest_of_each(m for m in others if m.verdict == "meets limit")
    if met:
        names = "; ".join(f"{case.name(m)} {shown(m)}" for m in met)
        words = f"{GLYPHS['meets limit']} {names} (mm)"
        # Of several rows of one structure the smallest stands here: the title says how many met.
        count = sum(m.verdict == "meets limit" for m in rows)
        y = _titled(pages, say("sheet.limits-met", count=count), words, x, y, lowest)
    ridge = _ridge_rows(case, lead)
    if ridge and lead.fixture is not None:
        y = _titled(pages, say("sheet.column.ridge"), _ridge_words(case, ridge), x, y, lowest)
    elif ridge:
        y = _large(pages, case, say("sheet.column.ridge"), ridge, x, y)
    by_hand = [m for m in case.rows(lead) if m.target in _by_hand(case)]
    if by_hand:
        y = _large(pages, case, say("sheet.column.rulers"), by_hand, x, y)
    if not rows and not ridge and not by_hand:
        width = pages.right - x
        y = pages.block(x, y, width, say("sheet.nothing-measured"), size=11, face="strong")
    return y


def _assumed(case: Case, lead: Subject) -> str:
    """What the numbers above and below rest on, that their boxes do not show."""
    rounded = say("sheet.column.rounded-down")
    if lead.fixture is None:
        return rounded
    has_depths = any(m.value is not None for m in drill_rows_of(case.rows(lead)))
    given = has_depths and not case.depth_rule(lead).refused
    mark = say("drilling.mark-above", mm=plain(MARK_STEP_MM)) if given else ""
    tip = say("sheet.column.tip-assumed", mm=plain(UNKNOWN_TIP_MM))
    return together(mark, rounded, _platform_words(case, lead), tip)


def _platform_words(case: Case, lead: Subject) -> str:
    """Between which depths the platform stands below the bone's edge around it, or above."""
    kind, of = MeasurementKind.DEPTH, "platform below bone"
    depths = [
        m.value
        for m in case.rows(lead)
        if m.kind is kind and m.details.of == of and m.value is not None
    ]
    if not depths:
        return ""
    least, most = min(depths), max(depths)
    if least >= 0:
        return say("sheet.column.platform-below", least=nearest(least, 1), most=nearest(most, 1))
    if most <= 0:
        return say("sheet.column.platform-above", least=nearest(-most, 1), most=nearest(-least, 1))
    return say("sheet.column.platform-across", above=nearest(-least, 1), below=nearest(most, 1))


def _not_met(  # noqa: PLR0917 - as above
    pages: Pages, case: Case, title: str, rows: list[Measurement], x: float, y: float,
    lowest: float,
) -> float:  # fmt: skip
    """Rows of one verdict under its own title: what was not assessed is not called not met."""
    if not rows:
        return y
    with pages.element("H2"):
        pages.text(x, y + 3.6, title, size=9, face="strong")
    y += _TITLE_MM
    room = int((lowest - y - _MORE_MM) / _ROW_MM)
    most = min(_MOST_ROWS, max(room, _LEAST_ROWS))
    for m in rows[:most]:
        y = _short_row(pages, m, case.name(m), x, y)
    if len(rows) > most:
        more = say("sheet.column.more", count=len(rows) - most)
        pages.text(x, y + 3.4, more, size=9, face="slant")
        y += _MORE_MM
    return y


def _least_mm(count: int) -> float:
    """Room that so many rows of one verdict need at least, with their title."""
    if count == 0:
        return 0.0
    more = _MORE_MM if count > _LEAST_ROWS else 0.0
    return _TITLE_MM + _ROW_MM * min(count, _LEAST_ROWS) + more


def _titled(  # noqa: PLR0917 - as above
    pages: Pages, title: str, words: str, x: float, y: float, lowest: float
) -> float:
    """A title and a block below it, where there is room for both."""
    width = pages.right - x
    if y + 5.0 + pages.height_of(width, words, size=8.5) > lowest:
        return y
    with pages.element("H2"):
        pages.text(x, y + 3.8, title, size=9, face="strong")
    return pages.block(x, y + 5.0, width, words, size=8.5)


def _ridge_rows(case: Case, lead: Subject) -> list[Measurement]:
    along = "axis" if lead.fixture is not None else "up"
    return [
        m
        for m in case.rows(lead)
        if m.limit is None
        and m.kind in (MeasurementKind.RIDGE_WIDTH, MeasurementKind.RIDGE_HEIGHT)
        and m.details.along == along
        and not m.details.of
    ]


def _ridge_words(case: Case, ridge: list[Measurement]) -> str:
    """Height and widths in few words: with a fixture they are not what decides."""
    widths = [(m, m.details.at_depth_mm) for m in ridge if isinstance(m.details, WidthDetails)]
    parts = [
        say("sheet.column.not-assessed", name=case.name(m))
        if m.value is None
        else say("sheet.column.height", name=case.name(m), value=shown(m))
        for m in ridge
        if m.kind is MeasurementKind.RIDGE_HEIGHT
    ]
    if widths:
        figures = [
            say("sheet.column.width-at", value=shown(m), depth=depth)
            for m, depth in widths
            if depth is not None and m.value is not None
        ]
        told = say("sheet.column.widths", widths=", ".join(figures)) if figures else ""
        parts.append(told or say("sheet.column.no-widths"))
    return "; ".join(parts)


def _by_hand(case: Case) -> set[str]:
    return {r.id for r in case.plan.rulers} | {a.id for a in case.plan.angles}


def _large(  # noqa: PLR0917 - as above
    pages: Pages, case: Case, title: str, rows: list[Measurement], x: float, y: float
) -> float:
    """Rows without a limit where they are the result: one a line, with their doubt."""
    with pages.element("H2"):
        pages.text(x, y + 3.8, title, size=9, face="strong")
    y += 5.2
    for m in rows[:_MOST_LARGE]:
        unit = "°" if m.reading.unit == "deg" else " mm"
        doubt = "" if m.budget is None else f" ± {up(m.budget.expanded, 1)}"
        value = say("sheet.bone.not-assessed") if m.value is None else f"{shown(m)}{doubt}{unit}"
        pages.text(x, y + 3.4, case.name(m), size=9.5, width=pages.right - x - 30)
        pages.text(pages.right, y + 3.4, value, size=10, face="strong", align="right")
        y += _ROW_MM
    if len(rows) > _MOST_LARGE:
        more = say("sheet.column.more", count=len(rows) - _MOST_LARGE)
        pages.text(x, y + 3.4, more, size=9, face="slant")
        y += 4.6
    return y


def _depths(pages: Pages, case: Case, lead: Subject, x: float, y: float) -> float:
    """How deep to drill; no number where the rule for depths refuses it."""
    rows = {counted_from(m): m for m in drill_rows_of(case.rows(lead))}
    rule = case.depth_rule(lead)
    known = any(m.value is not None for m in rows.values())
    if not rows or not (known or rule.refused):
        return y
    width = pages.right - x
    title = say("drilling.maximum")
    if rule.borderline and not rule.refused:
        # Whether that depth is safe nobody knows: the number is only the plan's.
        what = names_of(rule.borderline, case.plan.known_jaw)
        title = say("drilling.maximum-borderline", what=what)
    height = pages.height_of(width, title, size=9, face="strong")
    with pages.element("H2"):
        pages.block(x, y + 0.6, width, title, size=9, face="strong")
    y += 1.2 + height
    if rule.refused:
        return _refused(pages, case, rule, x, y)
    chosen = case.plan.depth_from
    pages.rect(x, y, width, 12.5, edge=0.2)
    if chosen is None:
        _cells(pages, rows, tuple(rows), x, y, width, tick=True)
        return pages.block(x, y + 12.9, width, say("drilling.choose"), size=8) + 0.6
    large = width * 0.42
    found = rows.get(chosen)
    words = "–" if found is None or found.value is None else mark_words(found)
    pages.text(x + large / 2, y + 7.2, words, size=21, face="strong", align="middle")
    pages.text(x + large / 2, y + 11.5, _origin_words(chosen, found), size=8, face="strong",
               align="middle", width=large - 2.0)  # fmt: skip
    others = tuple(name for name in rows if name != chosen)
    _cells(pages, rows, others, x + large, y, width - large, tick=False)
    return y + 13.5


def _refused(pages: Pages, case: Case, rule: DepthRule, x: float, y: float) -> float:
    width = pages.right - x
    pages.rect(x, y, width, 12.5, edge=0.2)
    words = say("drilling.not-given-side")
    if not rule.side_contradicted:
        words = say("drilling.not-given", what=names_of(rule.obstacles, case.plan.known_jaw))
    pages.text(x + 5.0, y + 8.6, "–", size=22, face="strong", align="middle")
    size = next(
        (s for s in (10.0, 9.0, 8.0) if pages.height_of(width - 12, words, size=s) <= 12.0), 7.0
    )
    pages.block(x + 10.0, y + 0.8, width - 12.0, words, size=size, face="strong")
    return y + 13.5


def _cells(  # noqa: PLR0917 - place and room, as for every part of a page
    pages: Pages, rows: Mapping[str, Measurement], names: Sequence[str], x: float, y: float,
    width: float, *, tick: bool,
) -> None:  # fmt: skip
    """Depths that nobody chose, small; with a box each where one is still to be ticked."""
    if not names:
        return
    cell = width / len(names)
    for n, name in enumerate(names):
        middle = x + (n + 0.5) * cell
        m = rows[name]
        words = "–" if m.value is None else mark_words(m)
        pages.text(middle, y + 5.2, words, size=14 if tick else 10, align="middle")
        left = x + n * cell + (4.6 if tick else 1.2)
        origin = say("sheet.column.from", origin=ORIGINS[name])
        pages.block(left, y + 5.9, x + (n + 1) * cell - 0.8 - left, origin, size=7)
        if tick:
            pages.rect(left - 3.2, y + 6.4, 2.3, 2.3, edge=0.2)


def _origin_words(origin: str, found: Measurement | None) -> str:
    words = ORIGINS[origin]
    if found is None:
        return say("sheet.column.origin-not-marked", origin=words)
    if found.value is None:
        return say("sheet.column.origin-not-found", origin=words)
    return say("sheet.column.from", origin=words)


def _smallest_of_each(rows: Iterable[Measurement]) -> list[Measurement]:
    """The smallest row of each target and kind, in ledger order."""
    least: dict[tuple[str, str, str], Measurement] = {}
    for m in rows:
        key = (m.kind, m.target, m.details.side)
        if key not in least or (m.value or 0.0) < (least[key].value or 0.0):
            least[key] = m
    return list(least.values())


def _tightest(pages: Pages, m: Measurement, name: str, x: float, y: float) -> float:
    width = pages.right - x
    below = m.verdict == "below limit"
    pages.rect(x, y, width, 16.5, edge=0.6 if m.verdict != "meets limit" else 0.2)
    colour = VERMILION if below else (0.0, 0.0, 0.0)
    pages.text(x + 7.0, y + 11.2, GLYPHS[m.verdict], size=26, face="strong", align="middle",
               colour=colour)  # fmt: skip
    value = say("drilling.no-value") if m.value is None else gap_words(m)
    taken = pages.text(x + width - 3.0, y + 6.8, value, size=15, face="strong", align="right",
                       width=48)  # fmt: skip
    pages.text(x + 14.0, y + 6.6, name, size=13, face="strong", width=width - taken - 20.0)
    pages.text(x + 14.0, y + 12.6, _against(m), size=9, width=width - 48)
    pages.text(
        x + width - 3.0, y + 12.6, verdict_words(m.verdict), size=9, face="strong", align="right"
    )
    return y + 18.0


def _against(m: Measurement) -> str:
    limit = say("sheet.column.no-limit")
    if m.limit is not None:
        limit = say("sheet.column.limit", mm=plain(m.limit.value))
    if m.reading.upper_bound:
        if is_to_surface(m):
            return say("sheet.column.upper-bound-of-bone", limit=limit)
        return say("sheet.column.upper-bound", limit=limit)
    if m.value is None:
        return say("sheet.column.see-measurements", limit=limit)
    if is_overlap(m):
        most = Figure(shown_at_least(m).lstrip("-"))
        return say("sheet.column.as-much-as", most=most, limit=limit)
    return say("sheet.column.as-little-as", least=shown_at_least(m), limit=limit)


def gap_words(m: Measurement) -> str:
    """A gap as it is told; an overlap in words, for a minus sign is easily passed over."""
    return f"{told(m)} mm"


def _short_row(pages: Pages, m: Measurement, name: str, x: float, y: float) -> float:
    width = pages.right - x
    colour = VERMILION if m.verdict == "below limit" else (0.0, 0.0, 0.0)
    pages.text(x + 2.5, y + 3.6, GLYPHS[m.verdict], size=12, face="strong", align="middle",
               colour=colour)  # fmt: skip
    if m.value is None:
        detail = say("sheet.column.row-not-assessed")
    elif m.verdict == "not assessed":
        detail = say("sheet.column.row-value-not-assessed", value=told(m))
    elif m.limit is None:
        detail = say("sheet.column.row", value=shown(m), least=shown_at_least(m))
    else:
        limit = plain(m.limit.value)
        if is_overlap(m):
            detail = say("sheet.column.row-overlaps", overlap=told(m), limit=limit)
        else:
            detail = say(
                "sheet.column.row-limit", value=shown(m), least=shown_at_least(m), limit=limit
            )
    taken = pages.text(x + width, y + 3.4, detail, size=9, align="right", width=width * 0.58 - 8.0)
    pages.text(x + 6.5, y + 3.4, name, size=9.5, face="strong", width=width - taken - 9.0)
    return y + _ROW_MM
