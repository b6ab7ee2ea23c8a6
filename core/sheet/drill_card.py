"""The drill card: A5, large type, for the tray beside the chair; no birth date on it.

Type: nothing that is needed at the chair is set smaller than 12 pt; the depths are 30 pt. At 60
cm capitals of 12 pt (2.8 mm) stand 16 minutes of arc high, those of 30 pt 40; 16 is the least
that ISO 9241-303 allows for text that is to be read with ease (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

from core.fixture import Fixture
from core.measurement import Measurement
from core.measurement_kinds import ClearanceDetails, MeasurementKind
from core.measuring.drill_table import Drill, DrillPlan, drilling_plan
from core.pictures.ink import BLACK, VERMILION
from core.sheet.case import Case, Subject
from core.sheet.furniture import RULER_MM
from core.sheet.small_pages import CardPages, check_ruler, plain_head
from core.trust.figures import down, plain, shown
from core.trust.verdict import worst_first

LEAST_PT = 12.0
DEPTH_PT = 30.0
_TOP_MM = 31.0
_NAME_MM = 38.0
_HEADS = ("buccal rim", "highest rim", "gum", "stent top")
_RULER_MM = 16.0
_RULES = (
    "Depths: mm to the last mark that is not deeper, exact in brackets, along the axis to the "
    "apex. First check film with the pin, then widen."
)
_LAY = "Then lay each drill beside it: do its marks agree?"
_MISSING = {"gum": "not marked", "stent top": "not marked"}


def drill_card(case: Case) -> bytes | None:
    """The card as a PDF, a page or more a fixture; None where the plan holds no fixture."""
    if case.arch is None or not case.plan.fixtures:
        return None
    pages = CardPages(top_mm=_TOP_MM)
    for subject in case.subjects:
        if subject.fixture is not None:
            plans = drilling_plan(
                subject.fixture, case.plan, case.volume, case.ledger, case.arch, case.day.drills
            )
            _fixture(pages, case, subject, subject.fixture, plans)
    return pages.render(
        plain_head(case, "Drill card", with_birth_date=False),
        title="Drill card",
        subject=f"plan {case.ledger.plan_fingerprint}",
    )


def _fixture(
    pages: CardPages, case: Case, subject: Subject, fixture: Fixture, plans: Sequence[DrillPlan]
) -> None:
    _start(pages, case, subject)
    _heads(pages)
    for plan in plans:
        if pages.y + _height(pages, case, plan) > pages.bottom:
            _start(pages, case, subject)
            _heads(pages)
        _drill(pages, case, plan)
    _below(pages, case, fixture)


def _start(pages: CardPages, case: Case, subject: Subject) -> None:
    pages.new_page()
    top = pages.y
    side = {"1": "RIGHT", "2": "LEFT", "3": "LEFT", "4": "RIGHT"}.get(subject.tooth[:1], "")
    number_width = pages.text(pages.left, top + 12.0, subject.tooth or subject.id, size=40,
                              face="strong", width=30.0)  # fmt: skip
    x = pages.left + number_width + 4.0
    words = subject.words.partition(", ")[2] or subject.words
    pages.text(x, top + 5.5, words, size=14, face="strong", width=pages.right - x)
    where = f"patient’s {side} · {subject.size_words}" if side else subject.size_words
    pages.text(x, top + 12.5, where, size=16, width=pages.right - x)
    pages.y = top + 16.5
    if case.side_is_contradicted:
        words = (
            "LEFT AND RIGHT MAY BE SWAPPED: tooth, answers, arch and scan do not agree. Do not "
            "drill by this card."
        )
        pages.y = pages.block(pages.left, pages.y, pages.inner, words, size=14, face="strong") + 1.0
    not_met = _not_met(case, subject)
    if not_met:
        pages.y = pages.block(pages.left, pages.y, pages.inner, not_met, size=12,
                              face="strong") + 1.0  # fmt: skip
    if case.plan.side_check is None:
        words = "Side NOT YET compared with the patient or chart"
        pages.y = pages.block(pages.left, pages.y, pages.inner, words, size=12, face="strong") + 1.0


def _not_met(case: Case, subject: Subject) -> str:
    """The dangers and roots that the fixture itself does not meet, the worst two by name."""
    rows = [
        m
        for m in worst_first(case.rows(subject))
        if m.group in ("danger", "roots")
        and m.verdict in ("below limit", "not assessed")
        and not (isinstance(m.details, ClearanceDetails) and m.details.with_tip_mm)
    ]
    if not rows:
        return ""
    named = "; ".join(f"{case.name(m)} {shown(m)}: {m.verdict}" for m in rows[:2])
    more = f"; and {len(rows) - 2} more" if len(rows) > 2 else ""
    return f"NOT MET by the fixture: {named}{more}. See the sheet."


def _columns(pages: CardPages) -> list[float]:
    width = (pages.inner - _NAME_MM) / 4
    return [pages.left + _NAME_MM + (n + 0.5) * width for n in range(4)]


def _heads(pages: CardPages) -> None:
    y = pages.y
    pages.text(pages.left, y + 4.4, "drill to mark", size=12, face="strong", width=_NAME_MM - 2)
    width = (pages.inner - _NAME_MM) / 4 - 1.0
    for x, words in zip(_columns(pages), _HEADS, strict=True):
        pages.text(x, y + 4.4, words, size=12, face="strong", align="middle", width=width)
    pages.line(pages.left, y + 6.0, pages.right, y + 6.0, width=0.5)
    pages.y = y + 6.8


def _tip_words(drill: Drill) -> str:
    if drill.marks_include_tip == "yes":
        return "marks include the tip"
    if drill.marks_include_tip == "no":
        return f"tip reaches {plain(drill.beyond_mm)} beyond"
    return f"tip not known: {plain(drill.beyond_mm)} counted"


def _height(pages: CardPages, case: Case, plan: DrillPlan) -> float:
    height = 17.0 + pages.height_of(pages.inner, _tip_line(case, plan), size=12)
    for row in plan.worse:
        height += pages.height_of(pages.inner, _warning(case, row), size=12, face="strong") + 1.0
    return height


def _tip_line(case: Case, plan: DrillPlan) -> str:
    """How far the tip is counted to reach, and what it comes nearest to there."""
    words = _tip_words(plan.drill)
    judged = [m for m in plan.tip_rows if m.verdict is not None and m not in plan.worse]
    if not judged:
        return words
    row = worst_first(judged)[0]
    limit = "" if row.limit is None else f" (limit {plain(row.limit.value)})"
    return f"{words}; there {_short(case, row)} {shown(row)} mm{limit}: {row.verdict}"


def _short(case: Case, row: Measurement) -> str:
    return case.name(row).split(",")[0]


def _drill(pages: CardPages, case: Case, plan: DrillPlan) -> None:
    y, drill = pages.y, plan.drill
    pages.text(pages.left, y + 6.0, drill.name, size=15, face="strong", width=_NAME_MM - 2)
    if drill.diameter_mm is not None:
        pages.text(pages.left, y + 11.4, f"Ø {plain(drill.diameter_mm)} mm", size=12)
    width = (pages.inner - _NAME_MM) / 4 - 1.5
    for x, depth in zip(_columns(pages), plan.depths, strict=True):
        value = depth.reading.value
        if value is None:
            words = _MISSING.get(depth.counted_from, "not found")
            pages.text(x, y + 8.0, "–", size=DEPTH_PT, align="middle")
            pages.text(x, y + 13.4, words, size=12, align="middle", width=width)
            continue
        # The very mark, or none: a rounded mark is never shown.
        mark = "no mark" if depth.mark_mm is None else plain(depth.mark_mm)
        if drill.is_too_short(value):
            mark = "too short"
        size = DEPTH_PT if depth.mark_mm is not None else 15.0
        pages.text(x, y + 8.6, mark, size=size, face="strong", align="middle", width=width)
        pages.text(x, y + 14.0, f"({down(value, 2)})", size=12, align="middle", width=width)
    y = pages.block(pages.left, y + 15.4, pages.inner, _tip_line(case, plan), size=12) + 1.0
    for row in plan.worse:
        y = pages.block(
            pages.left, y, pages.inner, _warning(case, row), size=12, face="strong",
            colour=VERMILION if row.verdict == "below limit" else BLACK,
        ) + 1.0  # fmt: skip
    pages.line(pages.left, y, pages.right, y, width=0.2)
    pages.y = y + 1.0


def _warning(case: Case, row: Measurement) -> str:
    limit = "" if row.limit is None else f", limit {plain(row.limit.value)}"
    return (
        f"TIP: {_short(case, row)} {shown(row)} mm at the drill’s tip{limit}: {row.verdict}. "
        "The fixture itself meets it. Drill less deep."
    )


def _below(pages: CardPages, case: Case, fixture: Fixture) -> None:
    rows = [
        m
        for m in case.ledger.of(fixture.id)
        if m.kind in (MeasurementKind.ENTRY, MeasurementKind.ANGLE, MeasurementKind.OFFSET)
        and m.value is not None
    ]
    lines = [f"{case.name(m)}: {shown(m)}{'°' if m.reading.unit == 'deg' else ' mm'}" for m in rows]
    if not any(m.kind is MeasurementKind.ENTRY for m in rows):
        lines.append("Distances from the neighbours: their contacts are not marked.")
    heights = [pages.height_of(pages.inner, text, size=12) for text in lines]
    rules = pages.height_of(pages.inner, _RULES, size=12)
    pages.ensure(sum(heights) + 10.0 + rules)
    pages.text(pages.left, pages.y + 5.0, "Entry point and angles", size=13, face="strong")
    pages.y += 7.0
    for text in lines:
        pages.y = pages.block(pages.left, pages.y, pages.inner, text, size=12)
    pages.line(pages.left, pages.y + 1.0, pages.right, pages.y + 1.0, width=0.2)
    pages.y = pages.block(pages.left, pages.y + 2.0, pages.inner, _RULES, size=12)
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
    words = f"1 : 1? {'Each' if upright else 'This'} ruler must measure 50 mm. {_LAY}"
    width = pages.inner - 58.0 - (18.0 if upright else 0.0)
    height = pages.height_of(width, words, size=12)
    pages.block(pages.left + 58.0, pages.bottom - height, width, words, size=12)
    pages.y = pages.bottom
