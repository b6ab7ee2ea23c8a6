"""One key each for what is done to every fixture: to the bone's edge, along the neighbours, a size.

The size list is the person's own; a key takes the next size of it.
"""

from __future__ import annotations

from PySide6.QtCore import Qt

from app.case.session import Session
from app.case.settings import settings_of
from app.tools.after_sink import AfterSink
from app.tools.base import Desk
from core.measuring.platform_depth import to_the_edge_mm
from core.plans.edit_pose import fixture_aligned, fixture_deepened, fixture_resized
from core.plans.neighbour_axes import mean_axis, neighbour_axes
from core.plans.sizes import Dimension, next_size, size_words
from core.words.catalogue import message, say
from core.words.numbers import Figure
from core.words.values import listed

_SIZES: dict[Qt.Key, tuple[Dimension, int]] = {
    Qt.Key.Key_BracketRight: ("length", 1),
    Qt.Key.Key_BracketLeft: ("length", -1),
    Qt.Key.Key_Greater: ("diameter", 1),
    Qt.Key.Key_Less: ("diameter", -1),
}


def act_on_fixture(key: Qt.Key, session: Session, desk: Desk) -> bool:
    """Do what a key does to the chosen fixture; False where it is none of these keys."""
    if session.fixture is None:
        return False
    if key == Qt.Key.Key_B:
        sink(session, desk)
    elif key == Qt.Key.Key_M:
        along_neighbours(session, desk)
    elif key in _SIZES:
        other_size(session, desk, *_SIZES[key])
    else:
        return False
    return True


def sink(session: Session, desk: Desk) -> None:
    """The platform level with the lowest edge of the bone around it."""
    fixture = session.fixture
    ledger = session.ledger if session.ledger_is_current else None
    if fixture is None:
        return
    by = None if ledger is None else to_the_edge_mm(ledger, fixture.id)
    if by is None:
        desk.say(say("tools.fixture_keys.edge-not-measured"))
    elif by == 0.0:
        desk.say(say("tools.fixture_keys.at-the-edge"))
        if ledger is not None and session.ledger_is_whole:
            # Nothing moves, so nothing will be measured anew: what is short is told of what is.
            AfterSink(session, desk, ledger).look()
    else:
        key = "tools.fixture_keys.sunk" if by > 0 else "tools.fixture_keys.raised"
        words = message(key, id=fixture.id, mm=Figure(f"{abs(by):.1f}"))
        whole = session.ledger_is_whole
        applied = session.apply(words, fixture_deepened(session.plan, fixture.id, by))
        if applied and ledger is not None and whole:
            # A limit that was met higher up or further down is not lost without a word.
            AfterSink(session, desk, ledger)


def along_neighbours(session: Session, desk: Desk) -> None:
    """The axis along the mean of both neighbours' roots, about the platform."""
    fixture = session.fixture
    axes = {} if fixture is None else neighbour_axes(session.plan, fixture)
    middle = mean_axis(axes)
    if fixture is None or middle is None:
        desk.say(say("tools.fixture_keys.neighbours-not-marked"))
        return
    teeth = say("panels.fixture.both-neighbours", teeth=listed(tuple(axes)))
    session.apply(
        message("panels.fixture.fixture-aligned-to", id=fixture.id, words=teeth),
        fixture_aligned(session.plan, fixture.id, middle, about="platform"),
    )


def other_size(session: Session, desk: Desk, dimension: Dimension, way: int) -> None:
    """The next longer, shorter, wider or narrower size of the person's own list."""
    fixture = session.fixture
    if fixture is None:
        return
    listed_sizes = [each.size for each in settings_of(session).value.sizes]
    other = next_size(listed_sizes, fixture.size, dimension, way)
    if other is None:
        desk.say(say("tools.fixture_keys.no-such-size", size=size_words(fixture.size)))
        return
    words = message("panels.fixture.fixture-set-to", id=fixture.id, size_words=size_words(other))
    session.apply(words, fixture_resized(session.plan, fixture.id, other))
