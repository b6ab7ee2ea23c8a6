"""Verdicts with a guard band, their order and their words, and rounding to the safe side.

JCGM 106:2012 (guarded acceptance for a one-sided limit) and ISO 14253-1: a value meets a
least-allowed limit L only when value - g >= L, g = 1.645 u, 95 % one-sided.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from core.identity import inner_side, thing_words
from core.measurement import GUARD, Budget, Evidence, Limit, Measurement, Note, Reading, VerdictCode
from core.measurement_kinds import ClearanceDetails, DepthDetails
from core.words.catalogue import Message, Words, message, say, together
from core.words.numbers import Figure
from core.words.values import row_of, side_words

DRILLING_ERROR_MM = 1.0
"""What lies nearer is within the error of drilling (common practice, no source)."""

MOST_NAMES = 10
"""Names of one verdict in the summary; a sentence of forty names is read by nobody."""

VERDICT_WORDS: dict[VerdictCode, Words] = {
    "meets limit": message("trust.verdict.as-meets-limit"),
    "too near to tell": message("trust.verdict.as-borderline"),
    "below limit": message("trust.verdict.as-below-limit"),
    "not assessed": message("trust.verdict.as-not-assessed"),
}
"""A verdict as people read it, the same everywhere; files keep the code."""

NOT_MEASURED = message("trust.verdict.not-measured")
"""In place of a verdict, where a row without a limit has no value."""

NO_CLEARANCE = message("trust.verdict.no-clearance")

_COUNTED = {
    "below limit": "trust.verdict.below-limit",
    "too near to tell": "trust.verdict.borderline",
    "not assessed": "trust.verdict.not-assessed",
}

_WORST_FIRST = ("below limit", "not assessed", "too near to tell", "meets limit")
_GROUPS = ("danger", "roots", "bone", "information")
_NOISE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Hindrance:
    """What stops rows from meeting a limit, whatever their own evidence says.

    Parameters
    ----------
    note : Note
        The reason, as the row says it.
    stops : {'image', 'all'}
        Rows that rest on edges found in the image, or all.
    outranks : bool
        True for a contradiction (side, scan): then no verdict stands, not even *below limit*.
    """

    note: Note
    stops: Literal["image", "all"] = "all"
    outranks: bool = False

    def concerns(self, evidence: Evidence) -> bool:
        """True where a row with this evidence is stopped."""
        return self.stops == "all" or evidence.rests_on == "image"


def judge(
    reading: Reading,
    budget: Budget | None,
    limit: Limit | None,
    *,
    hindrances: Sequence[Hindrance] = (),
) -> VerdictCode | None:
    """Weigh a reading, its evidence and its doubt against a least-allowed limit.

    The one place that can say *meets limit*. Lacking evidence, an upper bound (a structure traced
    too short) and hindrances can only make a verdict worse: *below limit* stays, everything else
    is *not assessed*. A hindrance that outranks leaves no verdict at all. A plan that put a limit
    under its lower line changes nothing below that line.

    Parameters
    ----------
    reading : Reading
    budget : Budget or None
    limit : Limit or None
    hindrances : sequence of Hindrance, optional

    Returns
    -------
    The verdict, or None where there is no limit.

    Raises
    ------
    ValueError
        When there is a value and a limit but no budget.
    """
    if limit is None:
        return None
    if reading.value is None:
        return "not assessed"
    stopped = [h for h in hindrances if h.concerns(reading.evidence)]
    if any(h.outranks for h in stopped):
        return "not assessed"
    least = least_allowed(limit)
    if reading.value < least:
        return "below limit"
    if reading.upper_bound or stopped or not reading.evidence.is_sound:
        return "not assessed"
    if budget is None:
        raise ValueError("a value cannot be judged without its uncertainty")
    return "meets limit" if reading.value - GUARD * budget.u >= least else "too near to tell"


def least_allowed(limit: Limit) -> float:
    """The value that is judged against, mm: the limit, never under its lower line."""
    return limit.value if limit.lower_line is None else max(limit.value, limit.lower_line)


def verdict_words(verdict: VerdictCode | None) -> str:
    """A verdict in words; empty where there is none."""
    return "" if verdict is None else str(VERDICT_WORDS[verdict])


def verdict_note(reading: Reading, limit: Limit | None) -> Note | None:
    """Harder words for a value below the lower line; None where they do not apply."""
    if limit is None or limit.lower_line is None or reading.value is None:
        return None
    if reading.value >= limit.lower_line:
        return None
    if limit.lower_line <= 0:
        return Note("verdict-through", {})
    code = "verdict-below-lower-line"
    if limit.lower_line <= DRILLING_ERROR_MM:
        code = "verdict-within-drilling-error"
    return Note(code, {"lower_line": Figure(f"{limit.lower_line:.1f}")})


def is_judged(measurement: Measurement) -> bool:
    """True for a row that is counted: a limit or an expected structure stands behind it.

    A quantity without a limit that could not be measured says so in its row; it misses no limit.
    """
    guarded = measurement.limit is not None or measurement.group in ("danger", "roots")
    return measurement.verdict is not None and guarded


def shown_verdict(measurement: Measurement) -> VerdictCode | None:
    """The verdict that people are shown: none where a row is not counted, see `is_judged`.

    Files keep the code of every row; a sign of a missed limit beside a row without one would
    contradict the sentence that counts them.
    """
    return measurement.verdict if is_judged(measurement) else None


def is_missed(measurement: Measurement) -> bool:
    """True for a row that is counted and does not meet its limit: not assessed is not met."""
    return shown_verdict(measurement) not in (None, "meets limit")


def judged_words(measurement: Measurement) -> str:
    """A row's verdict in words; of one that is not counted, that it was not measured, or none."""
    if is_judged(measurement):
        return verdict_words(measurement.verdict)
    return str(NOT_MEASURED) if measurement.value is None else ""


def worst_first(measurements: Iterable[Measurement]) -> tuple[Measurement, ...]:
    """Below limit, not assessed, too near to tell, meets limit, no limit.

    Among equals danger, roots, bone, information; then the smallest margin over the limit.
    """
    return tuple(sorted(measurements, key=_rank))


def _rank(measurement: Measurement) -> tuple[int, int, float]:
    verdict = measurement.verdict
    order = len(_WORST_FIRST) if verdict is None else _WORST_FIRST.index(verdict)
    margin = math.inf
    if measurement.value is not None and measurement.limit is not None:
        margin = measurement.value - least_allowed(measurement.limit)
    return order, _GROUPS.index(measurement.group), margin


def summary_sentence(measurements: Sequence[Measurement], *, jaw: str | None) -> str:
    """Count the verdicts in a sentence that names what is not met; never one word.

    "1 below limit (canal), 5 limits met, 1 borderline (root of 35), 1 not assessed (foramen).
    This does not mean it is safe to operate."

    Parameters
    ----------
    jaw : {'lower', 'upper'} or None
        In the upper jaw *lingual* reads *palatal*.
    """
    judged = worst_first(m for m in measurements if is_judged(m))
    rows = {verdict: [m for m in judged if m.verdict == verdict] for verdict in _WORST_FIRST}
    if not any(rows.values()):
        return together(say("trust.verdict.none-checked"), str(NO_CLEARANCE))
    parts = [say("trust.verdict.met", count=len(rows["meets limit"]))]
    for verdict, where in (("below limit", 0), ("too near to tell", 99), ("not assessed", 99)):
        if rows[verdict]:
            names = list(dict.fromkeys(target_words(m, jaw=jaw) for m in rows[verdict]))
            if len(names) > MOST_NAMES:
                more = len(names) - MOST_NAMES + 1
                names = [*names[: MOST_NAMES - 1], message("trust.verdict.and-more", more=more)]
            said = say(_COUNTED[verdict], number=len(rows[verdict]), names=row_of(names))
            parts.insert(where, said)
    return together(say("trust.verdict.summary", parts=", ".join(parts)), str(NO_CLEARANCE))


_OF: Mapping[str, Message] = MappingProxyType(
    {
        "usable": message("measuring.of.usable"),
        "levelled": message("measuring.of.levelled"),
        "platform below bone": message("measuring.of.platform-below-bone"),
        "drill to the apex": message("measuring.of.drill-to-the-apex"),
        "gum over the buccal rim": message("measuring.of.gum"),
        "fixture": message("measuring.of.fixture"),
    }
)
_FROM: Mapping[str, Message] = MappingProxyType(
    {
        "buccal rim": message("measuring.from.buccal-rim"),
        "highest rim": message("measuring.from.highest-rim"),
        "gum": message("measuring.from.gum"),
        "stent top": message("measuring.from.stent-top"),
        "platform": message("measuring.from.platform"),
    }
)


def of_words(of: Words) -> Words:
    """What of several things a row measures, for people; words are left as they are."""
    return _OF.get(of, of) if isinstance(of, str) else of


def from_words(counted_from: str) -> Words:
    """Where a depth or height is counted from, for people: ``from the buccal rim``."""
    return _FROM[counted_from]


def target_words(measurement: Measurement, *, jaw: str | None) -> Words:
    """What a measurement is to, for people: ``root of 35``, ``canal left``, ``remaining bone``.

    In the upper jaw *lingual* reads *palatal*.
    """
    details = measurement.details
    if isinstance(details, ClearanceDetails) and details.of == "fixture":
        # A fixture's id alone would be read as a tooth, or as a number.
        words = thing_words(f"fixture-{measurement.target}")
    elif measurement.target:
        words = thing_words(measurement.target.removesuffix("-deep"))
    elif isinstance(details, DepthDetails) and details.of:
        words = of_words(details.of)
        if details.counted_from:
            start = from_words(details.counted_from)
            words = message("things.named.other", kind=words, rest=start)
    else:
        words = measurement.kind.row.words
    if not details.side:
        return words
    if details.side == "apical":
        # The way goes to the nearest surface beyond the apex, mostly sideways to a plate.
        return message("things.named.bone-surface-around-the-apex")
    side = inner_side(jaw) if details.side == "lingual" else details.side
    return message("things.at-side", thing=words, side=side_words(side))


def round_down(value: float, step: float) -> float:
    """Largest multiple of the step that is not above the value: widths, heights, clearances.

    Towards minus infinity, so that an overlap is never made smaller. A value that misses a
    multiple by floating-point noise (1e-6 of a step) counts as that multiple.
    """
    return _multiple(math.floor, value, step)


def round_up(value: float, step: float) -> float:
    """Smallest multiple of the step that is not below the value: uncertainties."""
    return _multiple(math.ceil, value, step)


def _multiple(toward: Callable[[float], int], value: float, step: float) -> float:
    steps = value / step
    nearest = round(steps)
    count = nearest if abs(steps - nearest) < _NOISE else toward(steps)
    # Written with the step's own digits: 3 x 0.1 must read 0.3.
    return round(count * step, 9) + 0.0
