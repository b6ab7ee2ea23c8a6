"""What a plan says that contradicts itself, or that a reader must know before trusting it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from core.findings import Finding
from core.identity import Tooth, declared_name, structure_words, thing_words
from core.kinds import KINDS
from core.plans.history import history_findings, sign_off_state
from core.plans.limits import KEYS, limit_words, row_for
from core.plans.plan import Plan
from core.words.catalogue import message
from core.words.numbers import Figure

NEAR_MIDLINE_MM = 2.0
"""A central incisor may stand this far beyond the marked midline (common practice, no source)."""

DECLARABLE = tuple(
    kind.declared_as for kind in KINDS if kind.declared_as and not kind.declared_as.endswith("-")
)
"""Names that a declaration can have, beside those of single teeth's roots."""


def plan_findings(plan: Plan) -> tuple[Finding, ...]:
    """Findings about a plan by itself, without a scan."""
    return (
        *side_findings(plan),
        *_limit_findings(plan),
        *_declaration_findings(plan),
        *_reason_findings(plan),
        *history_findings(plan),
        *_sign_off_findings(plan),
    )


def side_findings(plan: Plan) -> tuple[Finding, ...]:
    """Contradictions between tooth numbers, jaw, the answered side and the patient coordinates.

    Left and right come from the patient coordinates: LPS x grows towards the patient's left.
    """
    found: list[Finding] = []
    for tooth in _teeth(plan):
        words = tooth.words()
        if plan.jaw is not None and tooth.jaw != plan.jaw:
            found.append(Finding("tooth-against-jaw", "caution", {"tooth": words, "jaw": plan.jaw}))
        if plan.side_check is not None and tooth.side != plan.side_check.side:
            fields = {"tooth": words, "side": plan.side_check.side, "by": plan.side_check.by}
            found.append(Finding("tooth-against-side-check", "caution", fields))
    if plan.side_check is not None and len({tooth.side for tooth in _teeth(plan)}) > 1:
        # One answer cannot hold for sites of both sides, whichever it is.
        found.append(Finding("teeth-of-both-sides", "caution", {"side": plan.side_check.side}))
    found += _place_findings(plan)
    if plan.side_check is None and (plan.fixtures or plan.sites):
        found.append(Finding("side-not-answered", "caution"))
    return tuple(found)


def side_of_x(plan: Plan, x_mm: float) -> float | None:
    """How far towards the patient's left of the marked midline, mm; None without a midline."""
    return None if plan.midline is None else x_mm - float(plan.midline[0])


def _teeth(plan: Plan) -> tuple[Tooth, ...]:
    named = [f.tooth for f in plan.fixtures] + [s.tooth for s in plan.sites]
    return tuple(Tooth.of(number) for number in dict.fromkeys(named) if number)


def _place_findings(plan: Plan) -> Iterator[Finding]:
    for fixture in plan.fixtures:
        left = side_of_x(plan, float(np.asarray(fixture.platform)[0]))
        if left is None or not fixture.tooth:
            continue
        tooth = Tooth.of(fixture.tooth)
        wrong_way = -left if tooth.side == "left" else left
        if wrong_way > (NEAR_MIDLINE_MM if tooth.position == 1 else 0.0):
            fields = {
                "tooth": tooth.words(),
                "fixture": fixture.id,
                "mm": Figure(f"{abs(left):.1f}"),
                "side": "left" if left > 0 else "right",
            }
            yield Finding("tooth-against-place", "caution", fields)


def _limit_findings(plan: Plan) -> Iterator[Finding]:
    raw = plan.document.get("limits")
    for key in raw if isinstance(raw, dict) else ():
        if key not in KEYS:
            yield Finding("limit-unknown", "caution", {"key": key, "known": ", ".join(KEYS)})
    for key, changed in plan.limits.items():
        row = row_for(key)
        fields = {
            "key": limit_words(key),
            "value": Figure(f"{changed.value:.2f}"),
            "default": Figure(f"{row.value:.2f}"),
            "lower_line": Figure(f"{row.lower_line:.2f}"),
            "by": changed.by or message("plans.said.nobody-named"),
            "at": changed.at or message("plans.said.no-date"),
            "reason": changed.reason or message("plans.said.none-given"),
        }
        loosened = changed.value < row.value
        yield Finding("limit-changed", "caution" if loosened else "note", fields)
        if changed.value < row.lower_line:
            yield Finding("limit-under-lower-line", "caution", fields)


def _reason_findings(plan: Plan) -> Iterator[Finding]:
    """An unusual size is told wherever the plan is told, with the reason that was given."""
    for thing, reason in plan.reasons.items():
        fields = {"id": thing_words(thing), "reason": reason}
        yield Finding("unusual-size-kept", "note", fields)


def _declaration_findings(plan: Plan) -> Iterator[Finding]:
    ids = {s.id for s in plan.structures}
    for declaration in plan.declared:
        name = declaration.structure
        if name in ids or name in DECLARABLE or name.startswith("root-"):
            continue
        yield Finding(
            "declaration-of-nothing",
            "caution",
            {"structure": name, "known": ", ".join((*DECLARABLE, "root-37"))},
        )
    marked = {declared_name(s) for s in plan.structures}
    for declaration in plan.declared:
        if declaration.structure in marked:
            fields = {
                "structure": structure_words(declaration.structure),
                "state": declaration.state,
            }
            yield Finding("declared-and-marked", "note", fields)


def _sign_off_findings(plan: Plan) -> Iterator[Finding]:
    if plan.sign_off is not None and sign_off_state(plan) == "void":
        yield Finding(
            "sign-off-void",
            "caution",
            {
                "name": plan.sign_off.name,
                "signed": plan.sign_off.revision,
                "revision": plan.revision,
            },
        )
