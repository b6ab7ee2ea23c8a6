"""The checklist for the day: what the case holds and what only a person can answer.

The program ticks nothing: what is known stands beside the box, and somebody ticks it.
"""

from __future__ import annotations

from core.identity import thing_words
from core.measurement import Measurement
from core.sheet.case import Case
from core.sheet.page import Pages, PaperName
from core.sheet.small_pages import plain_head
from core.trust.verdict import verdict_words
from core.words.catalogue import message, say
from core.words.drilling import ORIGINS
from core.words.numbers import date_words
from core.words.values import against_words

QUESTIONS = (message("sheet.checklist.extracted"), message("sheet.checklist.opening"))
_TOP_MM = 34.0
_SIZE = 12.0


def checklist_items(case: Case) -> tuple[tuple[str, str], ...]:
    """What to check, and what the case says about it, in the order of the day."""
    plan = case.plan
    check = plan.side_check
    side = say("sheet.checklist.not-compared")
    if check is not None:
        key = "sheet.checklist.left" if check.side == "left" else "sheet.checklist.right"
        side = say(key, against=against_words(check.against), by=check.by or "–")
    if case.side_is_contradicted:
        side = say("sheet.checklist.contradicted", side=side)
    interpreted = say("sheet.basis.not-yet")
    if plan.interpreted_by:
        at = date_words(plan.interpreted_at[:10])
        interpreted = say("sheet.checklist.interpreted", by=plan.interpreted_by, at=at)
    sizes = "; ".join(f"{s.words}: {s.size_words}" for s in case.subjects if s.fixture)
    items = [
        (say("sheet.checklist.right-patient"), case.patient.line),
        (say("sheet.checklist.right-side"), side),
        (
            say("sheet.checklist.plan-signed"),
            case.band or say("sheet.checklist.rev-signed", revision=plan.revision),
        ),
        (say("sheet.checklist.volume"), interpreted),
        *((str(question), say("sheet.checklist.yes-no")) for question in QUESTIONS),
        (say("sheet.checklist.fixtures"), sizes or say("sheet.checklist.no-fixture")),
        (say("drilling.drills-laid-out"), _card_words(case)),
    ]
    if plan.stent_axes:
        marked = say("sheet.checklist.stent-marked", count=len(plan.stent_axes))
        items.append((say("sheet.checklist.stent"), marked))
    else:
        items.append((say("sheet.checklist.no-stent"), say("sheet.checklist.see-card")))
    removed = [
        str(thing_words(s.id)) for s in plan.structures if getattr(s, "to_be_removed", False)
    ]
    if removed:
        items.append((say("sheet.checklist.remove-first"), ", ".join(removed)))
    items += [
        (say("sheet.checklist.pin"), say("sheet.checklist.before-widening")),
        *(
            (say("sheet.checklist.looked-again", what=_named(case, m)), verdict_words(m.verdict))
            for m in _not_met(case)
        ),
    ]
    return tuple(items)


def _card_words(case: Case) -> str:
    """Whether there is a card: where no depth is given there is none."""
    rules = [case.depth_rule(s) for s in case.subjects if s.fixture is not None]
    if all(rule.refused for rule in rules):
        return say("drilling.no-card")
    if case.plan.depth_from is None:
        return say("drilling.choose")
    return say("drilling.chosen", origin=ORIGINS[case.plan.depth_from])


def _not_met(case: Case) -> list[Measurement]:
    """Danger and roots that are not met, worst first; never more than fit on the page."""
    order = ("below limit", "not assessed", "too near to tell")
    rows = [
        m
        for m in case.ledger.measurements
        if m.fixture and m.group in ("danger", "roots") and m.verdict in order
    ]
    return sorted(rows, key=lambda m: order.index(str(m.verdict)))


def _named(case: Case, m: Measurement) -> str:
    return f"{m.fixture or m.site}, {case.name(m)}"


def checklist_pdf(case: Case, *, paper: PaperName = "A4") -> bytes:
    """The checklist as a PDF."""
    pages = Pages(paper, top_mm=_TOP_MM)
    pages.new_page()
    pages.text(pages.left, pages.y + 6.0, say("sheet.checklist.on-the-day"), size=20, face="strong")
    pages.y += 11.0
    width = pages.inner - 10.0
    for what, known in checklist_items(case):
        height = pages.height_of(width, what, size=_SIZE, face="strong")
        height += pages.height_of(width, known, size=_SIZE)
        pages.ensure(height + 3.5)
        pages.rect(pages.left, pages.y + 0.6, 5.0, 5.0, edge=0.4)
        y = pages.block(pages.left + 9.0, pages.y, width, what, size=_SIZE, face="strong")
        pages.y = pages.block(pages.left + 9.0, y, width, known, size=_SIZE) + 3.5
    pages.ensure(16.0)
    pages.text(pages.left, pages.y + 10.0, say("sheet.checklist.checked-by"), size=_SIZE)
    title = say("sheet.checklist.title")
    return pages.render(plain_head(case, title, with_birth_date=True), case.facts(title))
