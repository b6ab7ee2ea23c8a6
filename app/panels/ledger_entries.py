"""The ledger as a list of lines to show: order, folds, what waits; no drawing in it.

Groups danger, roots, bone, information; what is not met first; what is met, and what has no
limit, folds into one line each. A row whose value belongs to an earlier plan reads "…".
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from core.identity import Tooth
from core.measurement import Limit, Measurement
from core.measurement_kinds import MeasurementKind, WidthDetails
from core.measuring.ledger import Ledger
from core.measuring.row_names import row_words
from core.measuring.rows_unmarked import is_expected
from core.measuring.shared_reasons import SharedReasons
from core.pictures.ink import GLYPHS
from core.plans.plan import Jaw, Plan
from core.plans.sizes import size_words
from core.trust.figures import (
    is_overlap,
    is_to_surface,
    outside_words,
    plain,
    shown_at_least,
    shown_group,
    shown_lack,
    told,
)
from core.trust.verdict import is_missed, judged_words, shown_verdict, worst_first
from core.words.catalogue import Words, message, say, sentences_of
from core.words.numbers import Figure
from core.words.sheet import GROUPS, UNCERTAINTY
from core.words.values import within_a_line

WAITING = "…"

Kind: TypeAlias = Literal["subject", "reason", "group", "row", "fold", "summary", "words"]

HIDDEN_AT_FIRST = frozenset({"information"})

_SHORT: dict[str, Words] = {
    "not-marked": message("panels.ledger_entries.not-marked-or-declared"),
    "declared-not-visible": "looked for, not visible",
    "declared-outside": "outside the scanned region",
    "declared-not-near": message("panels.ledger_entries.declared-not-near-this-site"),
    "declared-missing": "tooth missing",
    "declared-without-reason": message("panels.ledger_entries.declared-without-a-reason"),
}

NONE_SHARED = SharedReasons()

_REMARKS = frozenset({"with-tip", "canal_diameter_assumed", "hull_used", "free-hand"})
"""Notes that are true of a row but never why it is not assessed."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Entry:
    """One line of the list.

    Parameters
    ----------
    kind : Kind
    key : str
        Stable while values change; what unfolding and the keyboard's place hang on.
    text : str
    aside : str
        Right end of the line for headings and folds.
    row : Measurement or None
    waiting : bool
        The value is not there yet: greyed, and "…" in its place.
    opened : bool
        Unfolded.
    shared : SharedReasons
        What is said once above the rows, and not at each of them.
    """

    kind: Kind
    key: str
    text: str
    aside: str = ""
    row: Measurement | None = None
    waiting: bool = False
    opened: bool = False
    shared: SharedReasons = NONE_SHARED

    @property
    def not_met(self) -> bool:
        """True for a row that has a limit and does not meet it."""
        return self.row is not None and is_missed(self.row)

    @property
    def markable(self) -> bool:
        """True where the row is there because something was neither marked nor settled."""
        row = self.row
        return row is not None and row.value is None and is_expected(row)

    @property
    def glyph(self) -> str:
        """Sign of the verdict; none while it waits."""
        return "" if self.row is None or self.waiting else GLYPHS[shown_verdict(self.row)]

    @property
    def value(self) -> str:
        """The figure as shown."""
        if self.row is None:
            return ""
        if self.waiting:
            return WAITING
        if is_overlap(self.row) and is_to_surface(self.row):
            # Short: the name beside it says which side, and must never be cut.
            return outside_words(self.row)
        degrees = self.row.reading.unit == "deg" and self.row.value is not None
        return f"{told(self.row)}{'°' if degrees else ''}"

    @property
    def why(self) -> str:
        """Second line of a row: what it could be, the limit, what is lacking or not known."""
        return "" if self.row is None or self.waiting else why(self.row, self.shared)

    @property
    def spoken(self) -> str:
        """The line as one sentence, for a screen reader."""
        if self.row is None:
            return f"{self.text} {self.aside}".strip()
        state = (
            say("panels.ledger_entries.being-measured-2")
            if self.waiting
            else (judged_words(self.row) or say("panels.ledger_entries.no-limit"))
        )
        # A letter alone says nothing to who cannot see where it is explained.
        more = "" if self.waiting else why(self.row)
        return f"{self.text}: {self.value} {more}, {state}"


def why(row: Measurement, shared: SharedReasons = NONE_SHARED) -> str:
    """What stands below a row's name."""
    limit = _limit_words(row.limit)
    if row.value is None or row.verdict == "not assessed":
        reason = _reason(row, shared)
        return reason if row.value is None else f"{reason} · {limit}"
    if row.verdict == "below limit":
        lack = say("panels.ledger_entries.lacks", lack=shown_lack(row))
        where = _outside(row) if is_overlap(row) and is_to_surface(row) else ""
        return " · ".join(part for part in (where, limit, lack) if part)
    least = shown_at_least(row)
    if least == "–":
        return limit
    if least.startswith("-"):
        overlap = Figure(least.removeprefix("-"))
        if is_to_surface(row):
            return f"{say('panels.ledger_entries.could-be-outside-by', mm=overlap)} · {limit}"
        return f"{say('panels.ledger_entries.could-overlap-by', mm=overlap)} · {limit}"
    words = (
        say("panels.ledger_entries.could-be-as-little-as", least=least)
        if row.verdict == "too near to tell"
        else say("panels.ledger_entries.at-least", least=least)
    )
    return f"{words} · {limit}"


def _outside(row: Measurement) -> str:
    """What the short figure of a fixture outside the bone leaves out."""
    if row.reading.upper_bound:
        return say("panels.ledger_entries.outside-by-at-least")
    return say("panels.ledger_entries.outside-the-bone")


def _limit_words(limit: Limit | None) -> str:
    if limit is None:
        return say("panels.ledger_entries.no-limit")
    if limit.changed:
        value, default = plain(limit.value), plain(limit.default)
        return say("panels.ledger_entries.limit-changed", limit=value, default=default)
    return say("panels.ledger_entries.limit", limit=plain(limit.value))


def _reason(row: Measurement, shared: SharedReasons) -> str:
    for note in row.reading.notes:
        if note.code in _SHORT:
            return str(_SHORT[note.code])
    reasons = [note for note in row.reading.notes if note.code not in _REMARKS]
    if not reasons:
        return say("panels.ledger_entries.image-trouble-at-the-site")
    if letter := shared.letter(row, reasons[0]):
        return say("panels.ledger_entries.reason", letter=letter)
    # Notes say what, why it matters, and what to do: the row has room for the first sentence.
    return sentences_of(reasons[0].message)[0].rstrip(".")


def entries(
    plan: Plan,
    ledger: Ledger | None,
    earlier: Ledger | None,
    *,
    current: bool,
    whole: bool,
    opened: Collection[str] = (),
) -> tuple[Entry, ...]:
    """The lines in their order.

    Parameters
    ----------
    plan : Plan
        As it is now.
    ledger : Ledger or None
        The newest; None where nothing could be measured.
    earlier : Ledger or None
        The last whole one: tells which rows are still to come, never a value.
    current : bool
        The ledger is that of the plan as it is now.
    whole : bool
        No row is still to come.
    opened : collection of str
        Keys that are unfolded.
    """
    rows = () if ledger is None else ledger.measurements
    known = {row.id for row in rows}
    awaited: tuple[Measurement, ...] = ()
    if not (current and whole) and earlier is not None:
        awaited = tuple(row for row in earlier.measurements if row.id not in known)
    showing = _Showing(plan.known_jaw, current, known, opened)
    lines: list[Entry] = []
    site = say("panels.ledger_entries.site")
    subjects = [
        (f.id, say("panels.ledger_entries.fixture-implant"), f.tooth, size_words(f.size))
        for f in plan.fixtures
    ]
    subjects += [(s.id, site, s.tooth, "") for s in plan.sites]
    several = len(subjects) > 1
    for subject, kind, tooth, size in subjects:
        of = [row for row in (*rows, *awaited) if subject in (row.fixture, row.site)]
        if not of and (kind == site or not several):
            continue
        if several:
            text = f"{kind} {subject.removeprefix('site-')}"
            place = Tooth.of(tooth).name if tooth else say("panels.ledger_entries.no-tooth-named")
            lines.append(
                Entry(kind="subject", key=f"{subject}:", text=text, aside=f"{place} {size}".strip())
            )
        lines += [
            Entry(
                kind="reason",
                key=f"{f.id}:other",
                text=say("panels.ledger_entries.other-size", size=size_words(f.other_size)),
            )
            for f in plan.fixtures
            if f.id == subject and f.other_size is not None
        ]
        lines += _of_subject(subject, of, showing)
    if ledger is not None and current:
        text = (
            ledger.summary
            if whole
            else say(
                "panels.ledger_entries.bone-rows-follow", waiting=WAITING, summary=ledger.summary
            )
        )
        lines.append(Entry(kind="summary", key="summary", text=text))
    if lines:
        lines.append(Entry(kind="words", key="uncertainty", text=str(UNCERTAINTY)))
    return tuple(lines)


@dataclass(frozen=True, slots=True)
class _Showing:
    """How rows are shown now: named for their jaw, waiting or not, folded or not."""

    jaw: Jaw | None
    current: bool
    known: set[str]
    opened: Collection[str]

    def shared(self, rows: Sequence[Measurement]) -> SharedReasons:
        """Of rows that are shown with their reasons: one that waits has none."""
        return SharedReasons.of(row for row in rows if not self.waits(row))

    def waits(self, row: Measurement) -> bool:
        """True where no value may be shown: it is an earlier plan's, or is not there yet."""
        return not self.current or row.id not in self.known

    def name(self, row: Measurement) -> str:
        return row_words(row, jaw=self.jaw)

    def entry(self, row: Measurement, shared: SharedReasons) -> Entry:
        return Entry(
            kind="row",
            key=row.id,
            text=self.name(row),
            row=row,
            waiting=self.waits(row),
            opened=row.id in self.opened,
            shared=shared,
        )


def _of_subject(subject: str, rows: Sequence[Measurement], showing: _Showing) -> Iterator[Entry]:
    shared = showing.shared(rows)
    for reason in shared.all:
        yield Entry(kind="reason", key=f"{subject}:reason:{reason.letter}", text=reason.text)
    for group, title in GROUPS.items():
        of = [row for row in rows if shown_group(row) == group]
        if not of:
            continue
        yield Entry(kind="group", key=f"{subject}:{group}", text=str(title))
        known = [row for row in of if is_missed(row)]
        met = [row for row in of if row.verdict == "meets limit"]
        free = [row for row in of if shown_verdict(row) is None]
        for row in worst_first(known):
            yield showing.entry(row, shared)
        yield from _fold(f"{subject}:{group}:met", met, _met_words(met, showing), showing, shared)
        first, rest = _lead(free, group)
        for row in first:
            yield showing.entry(row, shared)
        count = len(rest)
        words = (
            say("panels.ledger_entries.more-without-a-limit", count=count)
            if first
            else say("panels.ledger_entries.without-a-limit", count=count)
        )
        yield from _fold(f"{subject}:{group}:free", rest, words, showing, shared)


def _fold(
    key: str, rows: Sequence[Measurement], text: str, showing: _Showing, shared: SharedReasons
) -> Iterator[Entry]:
    if not rows:
        return
    waiting = any(showing.waits(row) for row in rows)
    is_open = key in showing.opened
    aside = WAITING if waiting else _tightest(rows, showing)
    yield Entry(kind="fold", key=key, text=text, aside=aside, waiting=waiting, opened=is_open)
    if is_open:
        for row in rows:
            yield showing.entry(row, shared)


def _tightest(rows: Sequence[Measurement], showing: _Showing) -> str:
    """What the fold must not hide: the met row with the least margin; what was not measured."""
    limited = [row for row in rows if row.limit is not None]
    if not limited:
        lacking = sum(row.value is None for row in rows)
        return say("panels.ledger_entries.not-measured", count=lacking) if lacking else ""
    row = worst_first(limited)[0]
    figure, least, small = told(row), shown_at_least(row), within_a_line(showing.name(row))
    if least == "–":
        return say("panels.ledger_entries.tightest", shown=figure, small=small)
    return say("panels.ledger_entries.tightest-at-least", shown=figure, least=least, small=small)


def _met_words(rows: Sequence[Measurement], showing: _Showing) -> str:
    """Counts as met only what is known now; what met its limit before is being measured."""
    unknown = [row for row in rows if showing.waits(row)]
    met = len(rows) - len(unknown)
    if not unknown:
        return say("panels.ledger_entries.met", count=met)
    if not met:
        return say("panels.ledger_entries.being-measured", count=len(unknown))
    return say("panels.ledger_entries.met-being-measured", count=met, unknown=len(unknown))


def _lead(rows: Sequence[Measurement], group: str) -> tuple[list[Measurement], list[Measurement]]:
    """Rows without a limit that are shown at once, and the others.

    Of the bone: height, and widths at 1 and 3 mm, along the axis of a fixture, along up at a site.
    """
    if group in HIDDEN_AT_FIRST:
        return [], list(rows)
    if group != "bone":
        return list(rows), []

    def leads(row: Measurement) -> bool:
        along = "axis" if row.fixture else "up"
        if row.details.along != along or row.details.of:
            return False
        if isinstance(row.details, WidthDetails):
            return row.details.at_depth_mm in (1.0, 3.0)
        return row.kind is MeasurementKind.RIDGE_HEIGHT

    return [r for r in rows if leads(r)], [r for r in rows if not leads(r)]
