"""Words beside a fixture's number boxes: its depth in the bone, its lean, what it can align to."""

from __future__ import annotations

from app.case.session import Session
from core.fixture import Fixture
from core.geometry import Array
from core.identity import inner_side, thing_words
from core.measuring.platform_depth import platform_depths
from core.plans.neighbour_axes import mean_axis, neighbour_axes
from core.plans.plan import Plan
from core.trust.figures import nearest
from core.words.catalogue import say, sentences_of, together
from core.words.values import listed, side_words

UNKNOWN = "–"


def platform_words(session: Session, fixture: Fixture | None) -> str:
    """How deep the platform stands in the bone at its cheek and its inner side, as measured.

    The box counts its height from the jaw plane, which tells nobody how deep it is.
    """
    ledger = session.ledger if session.ledger_is_current else None
    depths = {} if ledger is None or fixture is None else platform_depths(ledger, fixture.id)
    told: dict[str, str] = {}
    for side, mm in depths.items():
        # A minus sign is easily passed over: above the bone's edge is said.
        key = "panels.fixture.mm-below" if mm >= 0 else "panels.fixture.mm-above"
        told[side] = say(key, mm=nearest(abs(mm), 1))
    sides = []
    for side in ("buccal", "lingual"):
        called = inner_side(session.plan.known_jaw) if side == "lingual" else side
        sides.append(f"{side_words(called)} {told.get(side, UNKNOWN)}")
    return say("panels.fixture.platform-in-bone", sides=", ".join(sides))


def lean_words(session: Session, fixture: Fixture | None) -> str:
    """The caution that the axis leans far from the jaw plane's normal; empty: it does not."""
    ledger = session.ledger if session.ledger_is_current else None
    if ledger is None or fixture is None:
        return ""
    found = [
        f.message
        for f in ledger.findings
        if f.code == "plane-tilted" and f.fields.get("fixture") == fixture.id
    ]
    # What is so, and what to do; why it matters stands with the scan checks.
    parts = sentences_of(found[0]) if found else ("",)
    return together(parts[0], *parts[1:][-1:])


def align_targets(plan: Plan, fixture: Fixture | None) -> tuple[tuple[str, Array], ...]:
    """What a fixture can be laid parallel to, in words, with the direction."""
    found: list[tuple[str, Array]] = [
        (str(thing_words(axis.id)), axis.gingival - axis.occlusal) for axis in plan.stent_axes
    ]
    if plan.level is not None:
        found.append((say("panels.fixture.the-jaw-planes-normal"), plan.level.up))
    found += [
        (say("panels.fixture.fixture-2", id=other.id), other.towards_apex)
        for other in plan.fixtures
        if fixture is None or other.id != fixture.id
    ]
    axes = {} if fixture is None else neighbour_axes(plan, fixture)
    middle = mean_axis(axes)
    if middle is not None:
        found.append((say("panels.fixture.both-neighbours", teeth=listed(tuple(axes))), middle))
    found += [(say("panels.fixture.the-axis-of", tooth=tooth), way) for tooth, way in axes.items()]
    return tuple(found)
