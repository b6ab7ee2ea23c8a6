"""What unfolds below a ledger row: definition, doubt, limit, placement by hand, place; as text."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from app.widgets.shared_texts import short_time
from core.arch import Arch, station_words
from core.identity import Tooth
from core.measurement import Measurement
from core.measurement_kinds import ClearanceDetails, WidthDetails
from core.measuring.row_names import undercut_words
from core.pictures.budget_plot import shares
from core.plans.limits import row_for
from core.plans.plan import Plan
from core.trust.figures import down, nearest, plain, up
from core.words.catalogue import say
from core.words.sheet import BY_HAND, BY_HAND_MEANS, TERMS


@dataclass(frozen=True, slots=True, kw_only=True)
class Detail:
    """One paragraph, or one bar of the uncertainty budget.

    Parameters
    ----------
    head : str
        A quiet word in front: ``definition``, ``limit`` ...
    text : str
    share : float or None
        For a bar: its part of the combined variance, 0 to 1.
    """

    head: str
    text: str
    share: float | None = None


def details(row: Measurement, plan: Plan, arch: Arch | None) -> tuple[Detail, ...]:
    """Everything that stands behind a row, in the order in which it is asked."""
    means = str(row.kind.row.definition)
    found = [Detail(head=say("panels.ledger_details.means"), text=means)]
    found += _limit(row, plan)
    found += _doubt(row)
    found += _by_hand(row)
    if words := undercut_words(row):
        found.append(Detail(head=say("panels.ledger_details.type"), text=words))
    found += [
        Detail(head=say("panels.ledger_details.note"), text=note.message)
        for note in row.reading.notes
    ]
    if row.reading.witness is not None and arch is not None:
        station = arch.station(row.reading.witness[0])
        where = f"{station_words(arch, station, plan.midline)}"
        found.append(Detail(head=say("panels.ledger_details.measured-at"), text=where))
    return tuple(found)


def _limit(row: Measurement, plan: Plan) -> Iterator[Detail]:
    limit = row.limit
    if limit is None:
        return
    named = [f.tooth for f in plan.fixtures if f.id == row.fixture and f.tooth]
    # A molar's limit holds elsewhere than a front tooth's of the same key.
    zone = row_for(limit.key, tooth=Tooth.of(named[0]) if named else None).zone
    value, source = plain(limit.value), limit.source
    text = (
        say("panels.ledger_details.limit-mm", limit=value, zone=zone, source=source)
        if limit.lower_line is None
        else say(
            "panels.ledger_details.limit-and-least-mm",
            limit=value,
            zone=zone,
            least=plain(limit.lower_line),
            source=source,
        )
    )
    yield Detail(head=say("panels.ledger_details.limit"), text=text)
    if limit.changed:
        by = limit.changed_by or say("panels.ledger_details.nobody-named")
        words = say(
            "panels.ledger_details.default-mm-changed-by",
            default=plain(limit.default),
            by=by,
            at=short_time(limit.changed_at),
            reason=limit.reason or "–",
        )
        yield Detail(head=say("panels.ledger_details.changed"), text=words)


def _doubt(row: Measurement) -> Iterator[Detail]:
    budget = row.budget
    if budget is None:
        return
    degrees = row.reading.unit == "deg"
    unit = "°" if degrees else " mm"
    yield Detail(head="± U", text=f"{up(budget.expanded, 1 if degrees else 2)}{unit} (k = 2)")
    of = {term.name: term for term in budget.terms}
    for name, share in shares(budget).items():
        yield Detail(
            head=str(TERMS[name]),
            text=f"{nearest(of[name].u, 2)}{unit}  {of[name].source}",
            share=share,
        )


def _by_hand(row: Measurement) -> Iterator[Detail]:
    placed = row.details.by_hand_mm if isinstance(row.details, ClearanceDetails) else {}
    figures = [
        say("panels.ledger_details.at-least", words=words, placed=down(placed[key], 1))
        for key, words in BY_HAND.items()
        if key in placed
    ]
    if figures:
        yield Detail(
            head=say("panels.ledger_details.by-hand"),
            text=f"{'; '.join(figures)} mm. {BY_HAND_MEANS}",
        )
    least = row.details.least_over_turn_mm if isinstance(row.details, WidthDetails) else None
    if least is not None:
        yield Detail(
            head=say("panels.ledger_details.turned"),
            text=say("panels.ledger_details.least-over-10-of-turn", least=down(least, 1)),
        )
