"""What a tool is: one thing that the mouse and the keys do on the pictures while it is chosen.

One tool is active at the bench. The pictures forward their events to it with a `Hit`, which
carries the patient point. A tool changes the case only through its `Session`: `apply` for one
step, `preview` ... `commit` / `abandon` for a drag. What it wants drawn while it works it returns
from `draft`; the bench asks again whenever the case or the place changes, or when the tool calls
`Desk.redraw`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import ClassVar, Literal, Protocol, TypeAlias

from PySide6.QtGui import QKeyEvent

from app.case.session import Session
from app.pictures.draft import NOTHING, Draft
from app.pictures.flat_view import FlatView
from app.pictures.hit import Hit
from app.pictures.panorama_view import PanoramaView
from core.kinds import KIND
from core.words.catalogue import Words
from core.words.values import capitalised

Group: TypeAlias = Literal["View", "Mark", "Place", "Measure"]
View: TypeAlias = FlatView | PanoramaView
"""A picture: `kind` ('section', 'neighbour', 'arch map', 'panorama'), `station_mm` (what it
shows; None for arch map and panorama), `uv_mm(points) -> (n, 3)` (u, v, off the picture) and
`mm_per_pixel()`."""


class Desk(Protocol):
    """What tools and panels may ask of the window around them."""

    def say(self, text: str, *, undo: bool = False) -> None:
        """Say one line at the foot of the window; with `undo` it offers to take it back."""

    def choose(self, title: str, question: str, answers: Sequence[str]) -> str | None:
        """Ask with a button an answer; None when the person turned away."""

    def ask_text(
        self,
        title: str,
        question: str,
        value: str = "",
        explain: Callable[[str], str] | None = None,
    ) -> str | None:
        """Ask for a line of text; None when the person turned away.

        `explain` says below the line what is typed means, at every letter.
        """

    def tell_error(self, error: Exception) -> None:
        """Say what happened, why it matters and what to do; details fold out."""

    def take_tool(self, name: str, wanted: str = "") -> None:
        """Make another tool the active one, as if its button had been pressed.

        `wanted` is what the person asked to mark with it, as plans name it: ``root-35``.
        """

    def lead_on(self) -> None:
        """What a person was led to is whole now: lead them to what is missing next, if anything."""

    def ask_about_side(self, *, only_if_open: bool = False) -> None:
        """Ask what tells left from right; with `only_if_open` not where it is settled."""

    def show_checks(self) -> None:
        """Unfold the scan checks."""

    def keys_to_section(self) -> None:
        """Let what is typed reach the section again."""

    def redraw(self) -> None:
        """Ask the active tool's `draft` again."""


class Tool:
    """A tool; every method may be left as it is.

    Class attributes
    ----------------
    name : str
        Unique; the id of a kind (`core.kinds`) for the tool that marks it by hand.
    words : Words
        On its button; empty for what is called as the kind that it marks.
    folded : bool
        Wanted rarely: under "More" at the end of its group.
    group : {'View', 'Mark', 'Place', 'Measure'}
    key_hint : str
        Shown in its tool tip.
    """

    name: ClassVar[str] = ""
    words: ClassVar[Words] = ""
    folded: ClassVar[bool] = False
    group: ClassVar[Group] = "View"
    key_hint: ClassVar[str] = ""

    def __init__(self, session: Session, desk: Desk) -> None:
        self.session = session
        self.desk = desk
        self.view: View | None = None
        """The picture that keys act on where none has the focus."""
        self.wanted = ""
        """What a person asked to mark when they took it, such as ``root-35``; mostly nothing."""

    @classmethod
    def title(cls) -> str:
        """What stands on its button."""
        return str(cls.words) or capitalised(KIND[cls.name].words)

    def hint(self) -> str:
        """One sentence, below the button that leads through the case: what a click does now."""
        return ""

    def start(self) -> None:
        """It was chosen."""

    def stop(self) -> None:
        """Another one was chosen, or the case is closed: end or abandon what is under way."""

    def press(self, view: View, hit: Hit) -> None:
        """A mouse button went down (never the middle one, which pans)."""

    def drag(self, view: View, hit: Hit) -> None:
        """The mouse moved with the button down."""

    def release(self, view: View, hit: Hit) -> None:
        """The button went up."""

    def double_click(self, view: View, hit: Hit) -> None:
        """The second press of a double click (in place of `press`; a `release` follows)."""

    def hover(self, view: View, hit: Hit | None) -> None:
        """The mouse moved with no button down; None: it left the picture."""

    def key(self, event: QKeyEvent) -> bool:
        """A key went down on a picture; True when the tool took it, else the bench has it.

        Esc, Return, Delete and modifier + arrows are the tool's; arrows alone always step.
        """
        return False

    def draft(self, view: View) -> Draft:
        """What is drawn over a picture while the tool is active."""
        return NOTHING
