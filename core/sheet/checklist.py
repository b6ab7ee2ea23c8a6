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
from core.words.drilling import CHOOSE, CHOSEN, DRILLS_LAID_OUT, NO_CARD, ORIGINS
from core.words.sheet import SIDE_CONTRADICTED

QUESTIONS = (
    "Anything extracted or grafted since the scan?",
    "Mouth opening enough for handpiece, drill and stent?",
)
_TOP_MM = 34.0
_SIZE = 12.0


def checklist_items(case: Case) -> tuple[tuple[str, str], ...]:
    """What to check, and what the case says about it, in the order of the day."""
    plan = case.plan
    check = plan.side_check
    side = "not yet compared"
    if check is not None:
        side = f"{check.side.upper()}, compared with {check.against or '–'} by {check.by or '–'}"
    if case.side_is_contradicted:
        side = f"{SIDE_CONTRADICTED} Answered: {side}"
    interpreted = "NOT YET"
    if plan.interpreted_by:
        interpreted = f"by {plan.interpreted_by} on {plan.interpreted_at[:10]}"
    sizes = "; ".join(f"{s.words}: {s.size_words}" for s in case.subjects if s.fixture)
    items = [
        ("Right patient: name, birth date and ID agree with the person", case.patient.line),
        ("Right side and tooth, asked of the patient and seen in the mouth", side),
        ("The plan is signed, and it is this one", case.band or f"rev {plan.revision}, signed"),
        ("The whole volume was interpreted", interpreted),
        *((question, "yes / no, what: ______________________________") for question in QUESTIONS),
        ("The fixtures of the plan are here", sizes or "no fixture in the plan"),
        (DRILLS_LAID_OUT, _card_words(case)),
    ]
    if plan.stent_axes:
        items.append(("The stent sits without rocking, as it did in the scan",
                      f"{len(plan.stent_axes)} stent axis marked"))  # fmt: skip
    else:
        items.append(("No stent axis is marked: the entry point is measured from the neighbours",
                      "see the card"))  # fmt: skip
    removed = [
        str(thing_words(s.id)) for s in plan.structures if getattr(s, "to_be_removed", False)
    ]
    if removed:
        items.append(("To be removed first", ", ".join(removed)))
    items += [
        ("Pin in the first hole, check film, compared with the expected one", "before widening"),
        *(
            (f"Looked at again: {_named(case, m)}", verdict_words(m.verdict))
            for m in _not_met(case)
        ),
    ]
    return tuple(items)


def _card_words(case: Case) -> str:
    """Whether there is a card: where no depth is given there is none."""
    rules = [case.depth_rule(s) for s in case.subjects if s.fixture is not None]
    if all(rule.refused for rule in rules):
        return NO_CARD
    if case.plan.depth_from is None:
        return CHOOSE
    return CHOSEN.format(origin=ORIGINS[case.plan.depth_from])


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
    pages.text(pages.left, pages.y + 6.0, "On the day", size=20, face="strong")
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
    pages.text(pages.left, pages.y + 10.0, "Checked by ____________________   at __________",
               size=_SIZE)  # fmt: skip
    return pages.render(
        plain_head(case, "Checklist", with_birth_date=True), case.facts("Checklist")
    )
