"""How a number is shown: clearances, walls, widths and heights rounded down, doubts up.

The rounding itself is that of `core.trust.verdict`; which quantity is rounded which way stands
in `core.measurement_kinds`.
"""

from __future__ import annotations

from core.measurement import Measurement
from core.measurement_kinds import MeasurementKind
from core.trust.verdict import least_allowed, round_down, round_up
from core.words.catalogue import say
from core.words.numbers import Figure

SURFACE = "bone surface"
"""Target of the rows to the bone's outer surface."""


def shown_group(measurement: Measurement) -> str:
    """Under which title a row stands for people: the bone's surface is no vital structure.

    Its code may be that of a danger, since the rule for drilling depths guards it.
    """
    return "bone" if is_to_surface(measurement) else measurement.group


def down(value: float, decimals: int) -> Figure:
    """Decimal text of a number rounded towards minus infinity."""
    return Figure(f"{round_down(value, 10.0**-decimals):.{decimals}f}")


def up(value: float, decimals: int) -> Figure:
    """Decimal text of a number rounded towards plus infinity."""
    return Figure(f"{round_up(value, 10.0**-decimals):.{decimals}f}")


def nearest(value: float, decimals: int) -> Figure:
    """Decimal text of a number rounded to the nearest; no negative zero."""
    return Figure(f"{round(value, decimals) + 0.0:.{decimals}f}")


def shown(measurement: Measurement, *, decimals: int = 1) -> Figure:
    """The value as it is shown, without unit; ``–`` where there is none.

    At an open end (traced too short) the value is only an upper bound: it is rounded up and
    reads ``up to 6.8``; below zero it is an overlap of at least so much.

    Parameters
    ----------
    measurement : Measurement
    decimals : int
        1 on pictures and on the bench, 2 in tables.
    """
    if measurement.value is None:
        return Figure("–")
    if measurement.reading.upper_bound:
        if is_overlap(measurement):
            return Figure(_told_below_zero(measurement, decimals))
        return Figure(say("trust.figures.up-to", mm=up(measurement.value, decimals)))
    rounding = measurement.kind.row.rounding
    if measurement.reading.unit == "deg" or rounding == "nearest":
        return nearest(measurement.value, 1)
    if rounding == "up":
        return up(measurement.value, decimals)
    return down(measurement.value, decimals)


def told(measurement: Measurement) -> str:
    """The value as a line tells it, to 0.1 and without unit: ``2.3``, ``overlaps by 0.3``.

    A distance below zero is an overlap, or what stands outside the bone, and is said to be that
    rather than shown with a sign.
    """
    if not is_overlap(measurement):
        return f"{shown(measurement)}"
    return _told_below_zero(measurement, 1)


def labelled(measurement: Measurement) -> str:
    """As `told`, shorter, for the numeral in a picture: ``overlap 0.3``, ``outside 0.3``."""
    if not is_overlap(measurement):
        return f"{shown(measurement)}"
    mm, bound = _depth(measurement, 1), measurement.reading.upper_bound
    if is_to_surface(measurement):
        at_least = "trust.figures.outside-at-least"
        return say(at_least, mm=mm) if bound else outside_words(measurement)
    return say("trust.figures.overlap-at-least" if bound else "trust.figures.overlap", mm=mm)


def is_overlap(measurement: Measurement) -> bool:
    """Whether a distance lies below zero: two bodies in one place, or one outside the bone."""
    value = measurement.value
    return value is not None and value < 0 and measurement.kind.row.overlaps


def is_to_surface(measurement: Measurement) -> bool:
    """Whether a distance goes to the bone's outer surface: below zero it lies outside."""
    return measurement.kind is MeasurementKind.REMAINING_BONE or measurement.target == SURFACE


def outside_words(measurement: Measurement) -> str:
    """How far it stands outside the bone, in the fewest words: ``outside 0.3``."""
    return say("trust.figures.outside", mm=_depth(measurement, 1))


def _told_below_zero(measurement: Measurement, decimals: int) -> str:
    mm, bound = _depth(measurement, decimals), measurement.reading.upper_bound
    if is_to_surface(measurement):
        key = "trust.figures.is-outside-at-least" if bound else "trust.figures.is-outside"
        return say(key, mm=mm)
    return say("trust.figures.overlaps-at-least" if bound else "trust.figures.overlaps", mm=mm)


def _depth(measurement: Measurement, decimals: int) -> Figure:
    """How far below zero, rounded up; what is at least so much is rounded down."""
    rounded = down if measurement.reading.upper_bound else up
    return rounded(-(measurement.value or 0.0), decimals)


def shown_at_least(measurement: Measurement, *, decimals: int = 1) -> Figure:
    """The *at least* figure, rounded down; ``–`` where there is none, or only an upper bound."""
    value = None if measurement.reading.upper_bound else measurement.at_least
    return Figure("–") if value is None else down(value, decimals)


def shown_lack(measurement: Measurement) -> str:
    """What a value below its limit lacks to it, up to 0.1 mm; empty where it lacks nothing."""
    if measurement.value is None or measurement.limit is None:
        return ""
    lack = least_allowed(measurement.limit) - measurement.value
    return up(lack, 1) if lack > 0 else ""


def plain(value: float) -> Figure:
    """A set number (a limit, a size) with one decimal, or more where it needs them."""
    text = f"{value:.3f}".rstrip("0")
    whole, _, part = text.partition(".")
    return Figure(f"{whole}.{part or '0'}")
