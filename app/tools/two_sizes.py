"""Two sizes in one place: one is planned, the other is looked at beside it."""

from __future__ import annotations

from app.case.session import Session
from app.tools.base import Desk
from core.errors import SoundingError
from core.fixture import FixtureSize
from core.identity import thing_words
from core.plans.edit import is_locked
from core.plans.edit_pose import sizes_exchanged, with_other_size
from core.plans.plausible import size_refusal
from core.plans.sizes import size_words
from core.words.catalogue import message, say


def lay_beside(session: Session, desk: Desk, size: FixtureSize) -> bool:
    """Look at another size in the chosen fixture's place; nothing that is planned changes."""
    fixture = session.fixture
    if fixture is None:
        desk.say(say("tools.two_sizes.no-fixture"))
        return False
    refusal = size_refusal(size, thing_words(fixture.id))
    if refusal is not None:
        desk.tell_error(refusal)
        return False
    words = message("tools.two_sizes.laid", id=fixture.id, size=size_words(size))
    return session.apply(words, with_other_size(session.plan, fixture.id, size))


def take_away(session: Session) -> bool:
    """Look at one size alone again."""
    fixture = session.fixture
    if fixture is None or fixture.other_size is None:
        return False
    words = message(
        "tools.two_sizes.taken-away", id=fixture.id, size=size_words(fixture.other_size)
    )
    return session.apply(words, with_other_size(session.plan, fixture.id, None))


def exchange(session: Session, desk: Desk) -> bool:
    """Plan the other size; the planned one is the other one from then on."""
    fixture = session.fixture
    if fixture is None or fixture.other_size is None:
        desk.say(say("tools.two_sizes.no-other"))
        return False
    if is_locked(session.plan, fixture.id):
        desk.say(say("tools.fixture_hands.fixture-is-locked-l-unlocks", id=fixture.id))
        return False
    words = message(
        "tools.two_sizes.exchanged",
        id=fixture.id,
        size=size_words(fixture.other_size),
        other=size_words(fixture.size),
    )
    try:
        return session.apply(words, sizes_exchanged(session.plan, fixture.id))
    except SoundingError as error:
        desk.tell_error(error)
        return False
