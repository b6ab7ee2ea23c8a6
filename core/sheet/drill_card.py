"""The drill card: A5, large type, for the tray beside the chair; no birth date on it.

Type: nothing that is needed at the chair is set smaller than 12 pt; the depths are 30 pt. At 60
cm capitals of 12 pt (2.8 mm) stand 16 minutes of arc high, those of 30 pt 40; 16 is the least
that ISO 9241-303 allows for text that is to be read with ease (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

from core.distances.drilling import ORIGINS
from core.fixture import Fixture
from core.measurement import Measurement
from core.measurement_kinds import ClearanceDetails, MeasurementKind
from core.measuring.depth_rule import DepthRule
from core.measuring.drill_table import Drill, DrillPlan, drilling_plan
from core.pictures.ink import BLACK, VERMILION
from core.sheet.case import Case, Subject, closest_vital, first_title, seen_first
from core.sheet.day_part import tip_warning
from core.sheet.fonts_found import Face
from core.sheet.page_frame import RULER_MM
from core.sheet.small_pages import CardPages, check_ruler, plain_head
from core.trust.figures import down, plain, shown, told
from core.trust.verdict import verdict_words
from core.words.catalogue import say, together
from core.words.drilling import ORIGINS as ORIGIN_WORDS

LEAST_PT = 12.0
DEPTH_PT = 30.0
OTHER_PT = 15.0
"""Depths that are counted from another place than the chosen one."""

_TOP_MM = 31.0
_NAME_MM = 38.0
_RULER_MM = 16.0
_HEAD_MM = 4.9
"""A line of the columns' heads."""


def drill_card(case: Case) -> bytes | None:
    """The card as a PDF, a page or more a fixture.

    None where the plan holds no fixture, its side is contradicted, or no fixture has a depth.
    """
    if case.arch is None or case.side_is_contradicted:
        return None
    if all(case.depth_rule(s).refused for s in case.subjects if s.fixture is not None):
        return None
    pages = CardPages(top_mm=_TOP_MM)
    for subject in case.subjects:
        if subject.fixture is not None:
            plans = drilling_plan(
                subject.fixture, case.plan, case.volume, case.ledger, case.arch, case.day.drills
            )
            _fixture(pages, case, subject, subject.fixture, plans)
    title = say("drilling.drill-card")
    return pages.render(plain_head(case, title, with_birth_date=False), case.facts(title))


def _fixture(
    pages: CardPages, case: Case, subject: Subject, fixture: Fixture, plans: Sequence[DrillPlan]
) -> None:
    _start(pages, case, subject)
    if plans[0].rule.refused:
        _no_depth(pages, case, plans[0].rule)
        return
    _heads(pages, case)
    for plan in plans:
        if pages.y + _height(pages, case, subject, plan) > pages.bottom:
            _start(pages, case, subject)
            _heads(pages, case)
        _drill(pages, case, subject, plan)
    _below(pages, case, fixture)


def _no_depth(pages: CardPages, case: Case, rule: DepthRule) -> None:
    """A fixture that the rule for depths refuses, beside others that it does not."""
    large = say("drilling.no-depth-large")
    y = pages.block(pages.left, pages.y + 2.0, pages.inner, large, size=DEPTH_PT, face="strong")
    words = rule.reason(case.plan.known_jaw).message
    pages.y = pages.block(pages.left, y + 2.0, pages.inner, words, size=14)


def _start(pages: CardPages, case: Case, subject: Subject) -> None:
    pages.new_page()
    top = pages.y
    number_width = pages.text(pages.left, top + 12.0, subject.tooth or subject.id, size=40,
                              face="strong", width=30.0)  # fmt: skip
    x = pages.left + number_width + 4.0
    words = subject.words.partition(", ")[2] or subject.words
    pages.text(x, top + 5.5, words, size=14, face="strong", width=pages.right - x)
    where = _where(subject)
    pages.text(x, top + 12.5, where, size=16, width=pages.right - x)
    pages.y = top + 16.5
    if case.plan.side_check is None:
        pages.y = (
            pages.block(
                pages.left,
                pages.y,
                pages.inner,
                say("drilling.not-compared"),
                size=12,
                face="strong",
            )
            + 1.0
        )


def _where(subject: Subject) -> str:
    size = subject.size_words
    match subject.tooth[:1]:
        case "2" | "3":
            return say("drilling.patients-left", size=size)
        case "1" | "4":
            return say("drilling.patients-right", size=size)
    return size


def _columns(pages: CardPages) -> list[float]:
    width = (pages.inner - _NAME_MM) / 4
    return [pages.left + _NAME_MM + (n + 0.5) * width for n in range(4)]


def _heads(pages: CardPages, case: Case) -> None:
    chosen = case.plan.depth_from
    width = (pages.inner - _NAME_MM) / 4 - 1.0
    words = say("drilling.choose")
    if chosen is not None:
        words = say("drilling.chosen", origin=ORIGIN_WORDS[chosen])
    pages.y = pages.block(pages.left, pages.y, pages.inner, words, size=12, face="strong") + 0.6
    lines = {name: _lines(pages, str(ORIGIN_WORDS[name]), width) for name in ORIGINS}
    boxes = 4.4 if chosen is None else 0.0
    height = boxes + _HEAD_MM * max(map(len, lines.values()))
    y = pages.y
    words = say("drilling.drill-to-mark")
    pages.text(pages.left, y + height - 0.8, words, size=12, face="strong", width=_NAME_MM - 2)
    for x, name in zip(_columns(pages), ORIGINS, strict=True):
        face: Face = "strong" if name == chosen else "plain"
        # The last line of each stands upon the rule, and the boxes in a row above them.
        top = y + height - _HEAD_MM * len(lines[name])
        for number, line in enumerate(lines[name], start=1):
            pages.text(x, top + _HEAD_MM * number - 0.8, line, size=12, face=face, align="middle",
                       width=width)  # fmt: skip
        if chosen is None:
            pages.rect(x - 1.7, y + 0.4, 3.4, 3.4, edge=0.3)
    pages.line(pages.left, y + height + 0.6, pages.right, y + height + 0.6, width=0.5)
    pages.y = y + height + 1.4


def _lines(pages: CardPages, words: str, width: float) -> list[str]:
    """Words in as many lines as a column needs: nothing at the chair is set smaller."""
    lines: list[str] = []
    for word in words.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and pages.width_of(longer, size=12, face="strong") <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _tip_words(drill: Drill) -> str:
    match drill.marks_include_tip:
        case "yes":
            return say("drilling.tip-included")
        case "no":
            return say("drilling.tip-beyond", mm=plain(drill.beyond_mm))
    return say("drilling.tip-unknown", mm=plain(drill.beyond_mm))


def _height(pages: CardPages, case: Case, subject: Subject, plan: DrillPlan) -> float:
    height = 17.0 + pages.height_of(pages.inner, _tip_line(case, subject, plan), size=12)
    for row in plan.worse:
        height += pages.height_of(pages.inner, _warning(case, row), size=12, face="strong") + 1.0
    return height


def _tip_line(case: Case, subject: Subject, plan: DrillPlan) -> str:
    """How far the tip is counted to reach, and what page 1 names first, with this drill's tip.

    Where that is no vital structure, the closest of those as well.
    """
    bare = [m for m in case.rows(subject) if not _with_tip(m)]
    rows = (*bare, *plan.tip_rows)
    first, vital = seen_first(rows), closest_vital(rows)
    told_rows = [] if first is None else [(first_title(first), first)]
    if vital is not None and vital is not first:
        told_rows.append(("sheet.closest", vital))
    # What this drill's tip misses stands below, in a sentence of its own.
    lines = [_nearest(case, title, m) for title, m in told_rows if m not in plan.worse]
    return together(_tip_words(plan.drill), *lines)


def _with_tip(row: Measurement) -> bool:
    return isinstance(row.details, ClearanceDetails) and row.details.with_tip_mm is not None


def _nearest(case: Case, title: str, row: Measurement) -> str:
    what, value, verdict = _short(case, row), told(row), verdict_words(row.verdict)
    if row.value is None:
        return say("drilling.nearest-not-measured", title=say(title), what=what, verdict=verdict)
    if row.limit is None:
        return say("drilling.nearest", title=say(title), what=what, value=value, verdict=verdict)
    return say(
        "drilling.nearest-limit",
        title=say(title),
        what=what,
        value=value,
        mm=plain(row.limit.value),
        verdict=verdict,
    )


def _short(case: Case, row: Measurement) -> str:
    return case.name(row).split(",")[0]


def _drill(pages: CardPages, case: Case, subject: Subject, plan: DrillPlan) -> None:
    y, drill = pages.y, plan.drill
    pages.text(pages.left, y + 6.0, str(drill.name), size=15, face="strong", width=_NAME_MM - 2)
    if drill.diameter_mm is not None:
        pages.text(pages.left, y + 11.4, f"Ø {plain(drill.diameter_mm)} mm", size=12)
    width = (pages.inner - _NAME_MM) / 4 - 1.5
    if plan.barred:
        room = pages.inner - _NAME_MM
        words = say("drilling.none-for-this-drill")
        pages.text(pages.left + _NAME_MM, y + 7.0, words, size=15, face="strong", width=room)
    for x, depth in zip(_columns(pages), () if plan.barred else plan.depths, strict=False):
        value = depth.reading.value
        chosen = depth.counted_from == case.plan.depth_from
        if value is None:
            by_hand = depth.counted_from in ("gum", "stent top")
            words = say("drilling.no-mark-there" if by_hand else "drilling.not-found")
            pages.text(x, y + 8.0, "–", size=DEPTH_PT if chosen else OTHER_PT, align="middle")
            pages.text(x, y + 13.4, words, size=12, align="middle", width=width)
            continue
        # The very mark, or none: a rounded mark is never shown.
        mark = say("drilling.no-mark") if depth.mark_mm is None else plain(depth.mark_mm)
        if drill.is_too_short(value):
            mark = say("drilling.too-short")
        large = chosen and depth.mark_mm is not None
        size = DEPTH_PT if large else OTHER_PT
        face: Face = "strong" if large else "plain"
        pages.text(x, y + 8.6, mark, size=size, face=face, align="middle", width=width)
        pages.text(x, y + 14.0, f"({down(value, 2)})", size=12, align="middle", width=width)
    y = (
        pages.block(pages.left, y + 15.4, pages.inner, _tip_line(case, subject, plan), size=12)
        + 1.0
    )
    for row in plan.worse:
        y = pages.block(
            pages.left, y, pages.inner, _warning(case, row), size=12, face="strong",
            colour=VERMILION if row.verdict == "below limit" else BLACK,
        ) + 1.0  # fmt: skip
    pages.line(pages.left, y, pages.right, y, width=0.2)
    pages.y = y + 1.0


def _warning(case: Case, row: Measurement) -> str:
    return tip_warning(row, _short(case, row))


def _below(pages: CardPages, case: Case, fixture: Fixture) -> None:
    rows = [m for m in case.ledger.of(fixture.id) if m.kind.row.for_entry and m.value is not None]
    lines = [f"{case.name(m)}: {shown(m)}{'°' if m.reading.unit == 'deg' else ' mm'}" for m in rows]
    if not any(m.kind is MeasurementKind.ENTRY for m in rows):
        lines.append(say("drilling.no-contacts"))
    heights = [pages.height_of(pages.inner, text, size=12) for text in lines]
    rules = pages.height_of(pages.inner, say("drilling.card-rules"), size=12)
    pages.ensure(sum(heights) + 10.0 + rules)
    pages.text(pages.left, pages.y + 5.0, say("drilling.entry"), size=13, face="strong")
    pages.y += 7.0
    for text in lines:
        pages.y = pages.block(pages.left, pages.y, pages.inner, text, size=12)
    pages.line(pages.left, pages.y + 1.0, pages.right, pages.y + 1.0, width=0.2)
    words = say("drilling.card-rules")
    pages.y = pages.block(pages.left, pages.y + 2.0, pages.inner, words, size=12)
    _own_ruler(pages)


def _own_ruler(pages: CardPages) -> None:
    """50 mm at the foot of the last page, where there is room: for a drill laid beside it.

    Upright as well where the room is 50 mm high.
    """
    top = pages.bottom - _RULER_MM
    if pages.y + 2.0 > top:
        return
    tall = pages.bottom - RULER_MM
    upright = pages.y + 2.0 <= tall
    check_ruler(pages, pages.left, top + 2.0)
    if upright:
        check_ruler(pages, pages.right - 12.0, tall, upright=True)
    words = say("drilling.card-ruler-two" if upright else "drilling.card-ruler-one")
    width = pages.inner - 58.0 - (18.0 if upright else 0.0)
    height = pages.height_of(width, words, size=12)
    pages.block(pages.left + 58.0, pages.bottom - height, width, words, size=12)
    pages.y = pages.bottom
