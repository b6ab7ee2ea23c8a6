"""Questions that several tools ask, and how their answers are read."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

from app.case.session import Session
from app.case.settings import settings_of
from app.tools.base import Desk
from app.widgets.shared_texts import tooth_words
from core.geometry import Array
from core.identity import Tooth
from core.marking.likely_tooth import LikelyTooth, facing_tooth, likely_tooth
from core.plans.plan import Jaw
from core.plans.side import misfits
from core.tooth_entry import Numbering, number_of, read_entry
from core.words.catalogue import say, together

_BETWEEN = re.compile(r"\s*mm\b\s*|[\s;/]+")
"""Between two lengths; a comma is a decimal one."""
_FORM: dict[Numbering, str] = {
    "iso": "tools.prompts.two-digits-such-as",
    "1-32": "tools.prompts.1-to-32-such-as",
}
_EXAMPLE: dict[Jaw, Tooth] = {"lower": Tooth.of("36"), "upper": Tooth.of("26")}


def ask_tooth(
    session: Session,
    desk: Desk,
    question: str,
    start: str = "",
    *,
    at_mm: Array | None = None,
    replaces: str = "",
    may_be_empty: bool = False,
    likely: LikelyTooth | None = None,
) -> str | None:
    """A permanent tooth, typed in the chosen numbering.

    Parameters
    ----------
    start : str
        ISO 3950 number that is offered.
    at_mm : (3,) patient LPS mm, optional
        Where it is to stand: what does not fit there is said while it is typed.
    replaces : str
        Id of the fixture that is named anew, if it is one.
    likely : LikelyTooth, optional
        Offered where nothing else is, and said to be a proposal with what it rests on.

    Returns
    -------
    str or None
        ISO 3950; empty where that is allowed; None: turned away.
    """
    numbering = settings_of(session).value.numbering

    offered = start or ("" if likely is None else likely.tooth.iso)
    is_proposed = likely is not None and not start

    def explain(text: str) -> str:
        told = entry_words(session, text, at_mm=at_mm, replaces=replaces)
        if likely is None or not is_proposed or read_entry(text, numbering).tooth != likely.tooth:
            return told
        beside = number_of(likely.beside, numbering)
        return "\n".join((told, say("tools.prompts.proposed-beside", beside=beside)))

    shown = number_of(Tooth.of(offered), numbering) if offered else ""
    like = _EXAMPLE[session.plan.jaw or "lower"]
    form = say(_FORM[numbering], example=number_of(like, numbering))
    words = desk.ask_text("Tooth", together(question, form), shown, explain)
    if words is None:
        return None
    if not words.strip() and may_be_empty:
        return ""
    entry = read_entry(words, numbering)
    if entry.tooth is not None:
        return entry.tooth.iso
    if entry.other is not None:
        meant = tooth_words(entry.other.iso, numbering)
        yes = say("tools.prompts.yes", number_of=number_of(entry.other, numbering))
        asked = say("tools.prompts.is-no-tooth-number-in", words=words.strip(), meant=meant)
        return entry.other.iso if desk.choose("Tooth", asked, (yes,)) == yes else None
    if entry.problem is not None:
        desk.tell_error(entry.problem)
    return None


def likely_here(session: Session, at_mm: Array) -> LikelyTooth | None:
    """The tooth that named ones beside it tell for a place; None where it is not plain."""
    return None if session.arch is None else likely_tooth(session.plan, session.arch, at_mm)


def facing_here(session: Session, at_mm: Array) -> LikelyTooth | None:
    """The neighbour whose surface faces a planned tooth at a place; None where none does."""
    return None if session.arch is None else facing_tooth(session.plan, session.arch, at_mm)


def entry_words(
    session: Session, text: str, *, at_mm: Array | None = None, replaces: str = ""
) -> str:
    """What a number means while it is typed, and what it does not fit."""
    numbering = settings_of(session).value.numbering
    entry = read_entry(text, numbering)
    if entry.other is not None:
        return say(
            "tools.prompts.did-you-mean", tooth_words=tooth_words(entry.other.iso, numbering)
        )
    if entry.tooth is None:
        return ""
    words = [tooth_words(entry.tooth.iso, numbering)]
    arch = session.arch
    if at_mm is not None and arch is not None:
        words += misfits(session.plan, entry.tooth, at_mm, replaces=replaces)
    return "\n".join(words)


def ask_two_lengths(
    desk: Desk, title: str, question: str, start: tuple[float, float]
) -> tuple[float, float] | None:
    """Two lengths in mm in one line; a single one stands for both.

    None: turned away, or no such lengths.
    """
    wanted = "tools.prompts.two-lengths-are-numbers"
    offered = f"{start[0]:g}  {start[1]:g}"
    words = desk.ask_text(title, question, offered, unread_words(_read_lengths, wanted))
    if words is None:
        return None
    found = _read_lengths(words)
    if found is None:
        desk.say(say(wanted))
    return found


def unread_words(read: Callable[[str], object], wanted: str) -> Callable[[str], str]:
    """What stands below a line while what is typed in it cannot be read; empty where it can.

    Parameters
    ----------
    read : callable
        None for what it cannot read.
    wanted : str
        Key of the sentence that says what is wanted.
    """

    def explain(text: str) -> str:
        return say(wanted) if text.strip() and read(text) is None else ""

    return explain


def _read_lengths(words: str) -> tuple[float, float] | None:
    lengths = [read_length(part) for part in _BETWEEN.split(words.strip()) if part]
    found = [length for length in lengths if length is not None]
    if len(found) != len(lengths) or len(found) not in (1, 2):
        return None
    return found[0], found[-1]


def read_length(words: str) -> float | None:
    """A number of mm above 0 and below 100; None for anything else."""
    try:
        value = float(words.strip().removesuffix("mm").replace(",", "."))
    except ValueError:
        return None
    return value if math.isfinite(value) and 0 < value < 100 else None
