"""The ledger as plain text for a console: who, what limits the numbers, every row, the summary."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from core.identity import Tooth
from core.inert import one_line
from core.measuring.row_names import row_words
from core.measuring.shared_reasons import SharedReasons
from core.pictures.ink import GLYPHS
from core.plans.history import sign_off_state
from core.sheet.patient_words import patient_words
from core.trust.figures import plain, shown, shown_at_least, shown_group, up
from core.trust.verdict import judged_words, shown_verdict
from core.words.catalogue import message, say
from core.words.cautions import CAUTIONS
from core.words.sheet import GROUPS

if TYPE_CHECKING:
    from core.measurement import Measurement
    from core.measuring.ledger import Ledger
    from core.plans.plan import Plan

WIDTH = 100
NAME = 46


HEADS = (
    message("cli.measurement_table.value"),
    message("cli.measurement_table.at-least"),
    message("cli.measurement_table.u"),
    message("cli.measurement_table.limit"),
)


def as_text(ledger: Ledger) -> str:
    """Everything that a person at a console needs to see of a ledger, in the order of its rows."""
    lines = [
        one_line(patient_words(ledger.scan, ledger.made_at).line),
        f"{ledger.program}, {ledger.made_at}. {_signed(ledger.plan)}",
        "",
    ]
    widths = (9, 10, 8, 6)
    heads = "".join(f"{head!s:>{width}}" for head, width in zip(HEADS, widths, strict=True))
    for finding in ledger.findings:
        lines += _wrapped(f"{finding.severity}: ", finding.message)
    subjects = dict.fromkeys((m.fixture, m.site) for m in ledger.measurements)
    for fixture, site in subjects:
        lines += ["", _subject(ledger.plan, fixture, site)]
        rows = [m for m in ledger.measurements if (m.fixture, m.site) == (fixture, site)]
        shared = SharedReasons.of(rows)
        for reason in shared.all:
            lines += _wrapped(f"{reason.letter} ", reason.text.removeprefix(f"{reason.letter} "))
        for group, title in GROUPS.items():
            of_group = [row for row in rows if shown_group(row) == group]
            if of_group:
                lines += [f"{title!s:<{NAME + 2}}{heads}"]
            for row in of_group:
                lines += _row(row, ledger.plan.known_jaw, shared)
    return "\n".join([*lines, "", *_wrapped("", ledger.summary), "", *_wrapped("", CAUTIONS)])


def _signed(plan: Plan) -> str:
    if plan.sign_off is not None and sign_off_state(plan) == "signed":
        return say(
            "cli.measurement_table.plan-signed-by", sign_off=plan.sign_off.name, at=plan.sign_off.at
        )
    return say("cli.measurement_table.draft-not-signed-off-made")


def _subject(plan: Plan, fixture: str, site: str) -> str:
    things = plan.fixtures if fixture else plan.sites
    wanted = fixture or site
    tooth = next((thing.tooth for thing in things if thing.id == wanted), "")
    name = wanted.removeprefix("site-")
    words = Tooth.of(tooth).words() if tooth else say("cli.measurement_table.no-tooth-named")
    if fixture:
        return say("cli.measurement_table.fixture", name=name, tooth=words)
    return say("cli.measurement_table.site", name=name, tooth=words)


def _row(row: Measurement, jaw: str | None, shared: SharedReasons) -> list[str]:
    unit = "°" if row.reading.unit == "deg" else "mm"
    limit = "" if row.limit is None else plain(row.limit.value)
    value = shown(row, decimals=2) if row.value is None else f"{shown(row, decimals=2)} {unit}"
    judged = judged_words(row) or say("cli.measurement_table.no-limit")
    verdict = " ".join((judged, *shared.letters(row)))
    degrees = row.reading.unit == "deg"
    doubt = "" if row.budget is None else f"± {up(row.budget.expanded, 1 if degrees else 2)}"
    figures = f"{value:>9}{shown_at_least(row, decimals=2):>10}{doubt:>8}{limit:>6}"
    name = row_words(row, jaw=jaw)
    lines = [f"{GLYPHS[shown_verdict(row)]:1} {name:<{NAME}}{figures}  {verdict}"]
    if len(name) > NAME:  # a line of its own, so that the figures stay in their columns
        lines = [f"{GLYPHS[shown_verdict(row)]:1} {name}", f"{'':<{NAME + 2}}{figures}  {verdict}"]
    for told in shared.rest(row):
        lines += _wrapped("      ", told)
    return lines


def _wrapped(start: str, text: str) -> list[str]:
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=start,
        subsequent_indent=" " * len(start),
        break_on_hyphens=False,
    )
