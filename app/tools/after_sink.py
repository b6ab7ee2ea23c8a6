"""After a fixture was set to the bone's edge: which limits it misses there.

What it met before, and of the bone all that it is short of: said as soon as it is measured, with
the depth that was measured to meet it.
"""

from __future__ import annotations

from PySide6.QtCore import QObject

from app.background.tasks import Latest
from app.case.session import Session
from app.tools.base import Desk
from core.fixture import Fixture
from core.measurement import Measurement
from core.measuring.depth_tried import FURTHEST_MM, DepthTried, depth_that_meets
from core.measuring.ledger import Ledger
from core.measuring.row_names import row_words
from core.plans.edit import find
from core.trust.figures import is_to_surface, plain, shown_lack, told
from core.trust.verdict import is_missed, verdict_words, worst_first
from core.words.catalogue import Message, message, say, together
from core.words.numbers import Figure


class AfterSink(QObject):
    """Listens until the fixture is measured where it was set; another pose ends it."""

    def __init__(self, session: Session, desk: Desk, before: Ledger) -> None:
        super().__init__(session)
        self._session, self._desk = session, desk
        self._fixture = session.fixture
        self._missed_before = _missed(before, self._fixture)
        self._trying = Latest(self._tried, lambda _error: self._end(), parent=self)
        self._lost: tuple[Measurement, ...] = ()
        session.ledger_changed.connect(self.look)
        session.scan_changed.connect(self._end)

    def look(self) -> None:
        """Say what is missed now, once all is measured."""
        session, fixture = self._session, self._fixture
        if fixture is None or find(session.plan, fixture.id) is not fixture:
            self._end()
            return
        ledger, volume = session.ledger, session.volume
        whole = session.ledger_is_current and session.ledger_is_whole
        if self._lost or ledger is None or volume is None or not whole:
            return
        missed = _missed(ledger, fixture)
        found = {
            name: row
            for name, row in missed.items()
            if name not in self._missed_before or _is_short_of_bone(row)
        }
        if not found:
            self._end()
            return
        self._lost = tuple(worst_first(found.values()))
        self._desk.say(self._words())
        basis = session.basis.at_hand(session.plan, volume)
        # What was not assessed has no depth at which it is known to be met.
        names = [name for name, row in found.items() if row.verdict != "not assessed"]
        plan, already = session.plan, [name for name in missed if name not in names]
        if basis is None or self._lost[0].id not in names:
            self._end()
            return
        self._trying.ask(
            lambda task: depth_that_meets(
                plan, fixture.id, names, basis, also_missed=already, cancelled=task.cancelled
            )
        )

    def _tried(self, tried: DepthTried | None) -> None:
        fixture = self._fixture
        if fixture is not None and find(self._session.plan, fixture.id) is fixture:
            self._desk.say(together(self._words(), str(self._depth_words(tried))))
        self._end()

    def _words(self) -> str:
        """What is missed first, by how much, and how many more are."""
        first, *others = self._lost
        name = row_words(first, jaw=self._session.plan.known_jaw)
        if first.verdict == "below limit" and first.limit is not None:
            said = say(
                "tools.after_sink.short", row=name, mm=told(first),
                limit=plain(first.limit.value), lack=shown_lack(first),
            )  # fmt: skip
        else:
            said = say("tools.after_sink.missed", row=name, verdict=verdict_words(first.verdict))
        more = say("tools.after_sink.more", count=len(others)) if others else ""
        return together(said, more)

    def _depth_words(self, tried: DepthTried | None) -> Message:
        if tried is None:
            return message("tools.after_sink.no-depth", mm=plain(FURTHEST_MM))
        key = "tools.after_sink.deeper" if tried.by_mm > 0 else "tools.after_sink.higher"
        by, there = Figure(f"{abs(tried.by_mm):.1f}"), tried.rows[self._lost[0].id]
        return message(key, by=by, mm=told(there))

    def _end(self) -> None:
        """Nothing is heard any more."""
        self._session.ledger_changed.disconnect(self.look)
        self._session.scan_changed.disconnect(self._end)
        self._trying.drop()
        self.deleteLater()


def _is_short_of_bone(row: Measurement) -> bool:
    """True where bone is measured to be lacking beside a fixture."""
    return is_to_surface(row) and row.verdict == "below limit"


def _missed(ledger: Ledger, fixture: Fixture | None) -> dict[str, Measurement]:
    """Rows of a fixture that miss their limit, by their ids."""
    if fixture is None:
        return {}
    return {row.id: row for row in ledger.of(fixture.id) if is_missed(row)}
