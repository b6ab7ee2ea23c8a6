"""Questions that several tools ask, and how their answers are read."""

from __future__ import annotations

import math

from app.tools.base import Desk
from core.errors import PlanError
from core.identity import Tooth


def ask_tooth(
    desk: Desk, question: str, start: str = "", *, may_be_empty: bool = False
) -> str | None:
    """A permanent tooth's two-digit number; empty where that is allowed; None: turned away."""
    words = desk.ask_text("Tooth", f"{question} Two digits, such as 36.", start)
    if words is None:
        return None
    number = words.strip()
    if not number and may_be_empty:
        return ""
    try:
        return Tooth.of(number).iso
    except PlanError as error:
        desk.tell_error(error)
        return None


def ask_length(desk: Desk, title: str, question: str, start: float) -> float | None:
    """A length in mm above 0, written with point or comma; None: turned away or no such length."""
    words = desk.ask_text(title, question, f"{start:g}")
    if words is None:
        return None
    length = read_length(words)
    if length is None:
        desk.say("A length is a number of mm above 0, such as 3.0.")
    return length


def read_length(words: str) -> float | None:
    """A number of mm above 0 and below 100; None for anything else."""
    try:
        value = float(words.strip().removesuffix("mm").replace(",", "."))
    except ValueError:
        return None
    return value if math.isfinite(value) and 0 < value < 100 else None
