"""One click proposes one whole thing, found in the image; Enter makes it one like any other.

Nothing stands in the plan before it is confirmed: a proposal has no mark, no measurement and no
line in a file.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Callable
from typing import ClassVar, Generic, TypeVar

from app.background.tasks import Latest, Task
from app.case.session import Session
from app.pictures.hit import Hit
from app.tools.base import Desk, View
from app.tools.collect import Collect
from core.geometry import Array
from core.measurement import Note
from core.plans.plan import Jaw
from core.words.catalogue import Message, message, say

Found = TypeVar("Found")


class ProposeOne(Collect, Generic[Found]):
    """Looks for something around a click, proposes it, and puts it into the plan on Enter."""

    click_words: ClassVar[Message]
    confirm_words: ClassVar[Message]
    looking_words: ClassVar[Message]
    dropped_words: ClassVar[Message] = message("tools.follow_canal.dropped")

    def __init__(self, session: Session, desk: Desk) -> None:
        super().__init__(session, desk)
        self.proposed: Found | None = None
        self.is_looking = False
        self._finding = Latest(self._found, desk.tell_error, parent=session)
        session.scan_changed.connect(self._forget)

    # -- for subclasses ------------------------------------------------------------------

    @abstractmethod
    def search(self, jaw: Jaw, click_mm: Array) -> Callable[[Task], Found | Note] | None:
        """What looks for it around a click; None, having said why, where it cannot be there."""

    @abstractmethod
    def confirm(self, found: Found) -> bool:
        """Put it into the plan; False: the person turned away."""

    @abstractmethod
    def words_of(self, found: Found) -> str:
        """What was found, with its doubt."""

    @abstractmethod
    def station_of(self, found: Found) -> float:
        """Where along the arch it is shown best."""

    # -- what it is doing ----------------------------------------------------------------

    def hint(self) -> str:
        """What a click or Enter does now."""
        return str(self.click_words if self.proposed is None else self.confirm_words)

    def busy(self) -> bool:
        """While something is proposed, a click looks elsewhere."""
        return self.proposed is not None

    def start(self) -> None:
        """Nothing is left of another time."""
        self._forget()
        super().start()

    def stop(self) -> None:
        """Another tool: what was not confirmed was never there."""
        self._forget()
        super().stop()

    # -- clicks --------------------------------------------------------------------------

    def place(self, view: View, hit: Hit) -> None:
        """Look around the click."""
        session, jaw = self.session, self.session.plan.known_jaw
        self._forget()
        if session.volume is None or session.arch is None or jaw is None:
            self.desk.say(say("tools.propose_one.no-jaw"))
            return
        search = self.search(jaw, hit.point_mm)
        if search is not None:
            self.is_looking = True
            self.desk.say(str(self.looking_words))
            self._finding.ask(search)

    def finish(self) -> bool:
        """Enter: what is proposed is one."""
        if self.proposed is None:
            return False
        was_led = bool(self.wanted)
        if self.confirm(self.proposed):
            self.proposed = None
            if was_led:
                self.desk.lead_on()
        return True

    def give_up(self) -> bool:
        """Esc: drop what was not confirmed."""
        had = self.proposed is not None or self.is_looking
        if self.proposed is not None:
            self.desk.say(str(self.dropped_words))
        self._forget()
        return had

    def take_back(self) -> None:
        """Right click: drop the proposal."""
        self.give_up()

    # -- found ---------------------------------------------------------------------------

    def _found(self, found: Found | Note) -> None:
        self.is_looking = False
        if isinstance(found, Note):
            self.desk.say(found.message)
        else:
            self.proposed = found
            self.desk.say(self.words_of(found))
            self.session.go_to(station_mm=self.station_of(found), across=True)
        self.desk.redraw()

    def _forget(self) -> None:
        self._finding.drop()
        self.proposed, self.is_looking = None, False
