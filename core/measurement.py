"""A measurement knows itself: what, from, to, value, doubt, limit, verdict and why.

Three steps, three values: a `Reading` is what a geometric function found; `uncertainty` turns
it into a `Budget`; `verdict` weighs both against a `Limit` row; the `Measurement` holds all of
it and is what bench, sheet and files show.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal, TypeAlias

import numpy as np

from core.geometry import Array, vector
from core.identity import thing_words
from core.measurement_kinds import Details, MeasurementKind
from core.words import sentence
from core.words.catalogue import Words
from core.words.values import capitalised

VerdictCode: TypeAlias = Literal["meets limit", "too near to tell", "below limit", "not assessed"]
Unit: TypeAlias = Literal["mm", "deg"]
Group: TypeAlias = Literal["danger", "roots", "bone", "information"]
TermName: TypeAlias = Literal["placement", "course", "edge", "voxel", "scale", "size", "fit"]
ValueKind: TypeAlias = Literal["measured", "upper bound", "at least", "not measured"]

GUARD = 1.645
"""Guard band in standard uncertainties: 95 %, one-sided (JCGM 106:2012)."""

_NONE = Details()


@dataclass(frozen=True, slots=True)
class Note:
    """A remark on one measurement: a code with fields; its sentence is in `core.words`."""

    code: str
    fields: Mapping[str, object] = field(default_factory=dict)

    def __post_init__(self) -> None:
        object.__setattr__(self, "fields", MappingProxyType(dict(self.fields)))

    @property
    def message(self) -> str:
        """The plain sentence; what is marked is called by its name in words, never by its id."""
        thing = self.fields.get("id")
        if not isinstance(thing, str):
            return sentence(self.code, self.fields)
        return capitalised(sentence(self.code, {**self.fields, "id": thing_words(thing)}))

    def __str__(self) -> str:
        return self.message


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What a value rests on, beside its uncertainty: a limit is met only by something found.

    Each part is None where it is proven, else the note that says why it is not.

    Parameters
    ----------
    rests_on : {'marks', 'image', 'entered', 'plan', 'nothing'}
        Marks that a person set, edges found in the image, a figure that a person entered, where
        the plan alone puts its fixtures.
    levels : Note or None
        The tissue levels of this scan; only values from the image need them.
    found : Note or None
        The edge, mark or surface at the end of the value.
    nearer : Note or None
        That nothing unsure could lie nearer.
    levels_from : {'scan', 'person'}
        Whether the scan showed its tissue levels itself, or a person pointed at the tissues.
    """

    rests_on: Literal["marks", "image", "entered", "plan", "nothing"]
    levels: Note | None = None
    found: Note | None = None
    nearer: Note | None = None
    levels_from: Literal["scan", "person"] = "scan"

    @property
    def lacking(self) -> tuple[Note, ...]:
        """What is not proven; empty for evidence that a limit can be met on."""
        nothing = (Note("evidence-none"),) if self.rests_on == "nothing" else ()
        return nothing + tuple(n for n in (self.levels, self.found, self.nearer) if n is not None)

    @property
    def is_sound(self) -> bool:
        """True where nothing is lacking."""
        return not self.lacking

    def joined(self, other: Evidence) -> Evidence:
        """Evidence of a value that rests on both: what either lacks, it lacks."""
        kinds = {self.rests_on, other.rests_on}
        return Evidence(
            rests_on=min(kinds, key=_MOST_NEEDED.index),
            levels=self.levels or other.levels,
            found=self.found or other.found,
            nearer=self.nearer or other.nearer,
            levels_from="person" if "person" in (self.levels_from, other.levels_from) else "scan",
        )


_MOST_NEEDED = ("nothing", "image", "marks", "entered", "plan")

NO_EVIDENCE = Evidence(rests_on="nothing")
"""What a reading has unless it says more: no limit is met on it."""

MARKED = Evidence(rests_on="marks")
"""Exact geometry between the fixture and what a person marked: the reading carries its marks."""

SEEN = Evidence(rests_on="image")
"""A bright, closed object found in the image, which needs no tissue level."""

ENTERED = Evidence(rests_on="entered")
"""A figure that a person measured elsewhere and entered."""

PLANNED = Evidence(rests_on="plan")
"""Exact geometry between fixtures as the plan places them: no hand-set mark moves it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MarkInfluence:
    """How one hand-placed mark moves a value.

    Parameters
    ----------
    mark : str
        Key of the mark, ``structure-id/index`` (``foramen-left/mesial``).
    gradient : (3,)
        Derivative of the value by the mark's position, at the minimiser (mm per mm).
    seen : {'yes', 'faint', 'no'}
    course : str
        Id of the traced course that the mark belongs to: all its marks share what one person gets
        wrong along the whole of it. Empty for a mark that stands alone.
    """

    mark: str
    gradient: Array
    seen: str = "yes"
    course: str = ""

    def __post_init__(self) -> None:
        g = np.array(self.gradient, dtype=np.float64)
        g.flags.writeable = False
        object.__setattr__(self, "gradient", g)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading:
    """What a geometric function found, before doubt and limit.

    Parameters
    ----------
    value : float or None
        mm or degrees; None when it could not be measured, with the reason in `notes`.
    unit : {'mm', 'deg'}
    witness : (first, second) or None
        Patient LPS mm: for clearances the point of the fixture, then that of the structure.
    marks : tuple of MarkInfluence
        Hand-placed marks that the value rests on.
    edge_sd_mm : tuple of float
        Standard errors of image edges at the ends of the value, independent.
    size_sd_mm : float
        Standard deviation of a structure's size (a canal's diameter), as it enters the value.
    fit_sd : float
        Standard deviation of a line that was found in the image as a whole (a stent axis), as it
        enters the value, in the value's unit.
    extra_placement_sd_mm : float
        Further placement doubt along the value (marks too far apart).
    upper_bound : bool
        True at an open end (traced too short), or where something unsure lies nearer: the true
        value can only be smaller.
    lower_bound : bool
        True for *at least*: seen up to the value, and positively so.
    evidence : Evidence
        What the value rests on; without any no limit is met.
    along_mm, across_mm : float or None
        Parts of a clearance along and across the fixture's axis.
    notes : tuple of Note
    """

    value: float | None
    unit: Unit = "mm"
    witness: tuple[Array, Array] | None = None
    marks: tuple[MarkInfluence, ...] = ()
    edge_sd_mm: tuple[float, ...] = ()
    size_sd_mm: float = 0.0
    fit_sd: float = 0.0
    extra_placement_sd_mm: float = 0.0
    upper_bound: bool = False
    lower_bound: bool = False
    evidence: Evidence = NO_EVIDENCE
    along_mm: float | None = None
    across_mm: float | None = None
    notes: tuple[Note, ...] = ()

    def __post_init__(self) -> None:
        if self.witness is not None:
            object.__setattr__(self, "witness", (vector(self.witness[0]), vector(self.witness[1])))
        if self.value is not None and not np.isfinite(self.value):
            raise ValueError("a reading is a finite number or None with a reason")
        if self.value is None and not self.notes:
            raise ValueError("a reading without a value needs a note that says why")
        if self.lower_bound and (self.upper_bound or not self.evidence.is_sound):
            raise ValueError("at least so much is said only where all of it was seen")

    @property
    def value_kind(self) -> ValueKind:
        """What the value is: the truth may be smaller than an upper bound, never taken for it."""
        if self.value is None:
            return "not measured"
        if self.upper_bound:
            return "upper bound"
        return "at least" if self.lower_bound else "measured"


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """One contribution to a standard uncertainty (JCGM 100:2008), in the value's unit."""

    name: TermName
    u: float
    source: Words


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """Terms of the combined standard uncertainty; coverage factor k = 2."""

    terms: tuple[Term, ...]

    @property
    def u(self) -> float:
        """Combined standard uncertainty: root sum of squares of the terms."""
        return float(np.sqrt(sum(t.u**2 for t in self.terms)))

    @property
    def expanded(self) -> float:
        """U = 2 u."""
        return 2.0 * self.u


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A row of limits: the least allowed value between two things.

    Parameters
    ----------
    key : str
        Key as in plan files: ``canal``, ``root-deep``, ``wall-buccal`` ...
    value : float
        mm, in force.
    lower_line : float or None
        Below it the wording hardens ("within drilling error"); can't be changed.
    source : Words
        Author, journal, year; or "common practice, no source".
    default : float
        The shipped value; differs from `value` where this plan changed it.
    changed_by, changed_at, reason : str
        Who, when, why, for a changed limit; empty otherwise.
    """

    key: str
    value: float
    lower_line: float | None
    source: Words
    default: float
    changed_by: str = ""
    changed_at: str = ""
    reason: str = ""

    @property
    def changed(self) -> bool:
        """True where the plan's value stands in place of the shipped one."""
        return self.changed_at != "" or self.value != self.default


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measurement:
    """One row of the ledger; field names follow the ledger file.

    Parameters
    ----------
    id : str
        ``subject/kind/target`` with further parts where needed, unique in a ledger.
    group : {'danger', 'roots', 'bone', 'information'}
        Where the ledger shows it.
    fixture, site : str
        Exactly one is not empty: what the measurement belongs to.
    kind : MeasurementKind
    target : str
    reading : Reading
    budget : Budget or None
        None where there is no value.
    limit : Limit or None
    verdict : VerdictCode or None
        None where there is no limit.
    details : Details
        What tells it from others of its kind; of the type that `core.measurement_kinds` names.
    """

    id: str
    group: Group
    kind: MeasurementKind
    target: str = ""
    fixture: str = ""
    site: str = ""
    reading: Reading
    budget: Budget | None = None
    limit: Limit | None = None
    verdict: VerdictCode | None = None
    details: Details = _NONE

    def __post_init__(self) -> None:
        kind = MeasurementKind(self.kind)
        object.__setattr__(self, "kind", kind)
        details = kind.row.details() if self.details is _NONE else self.details
        if type(details) is not kind.row.details:
            raise ValueError(f"{kind}: its details are {kind.row.details.__name__}")
        object.__setattr__(self, "details", details)

    @property
    def value(self) -> float | None:
        """The value, mm or degrees, unrounded."""
        return self.reading.value

    @property
    def at_least(self) -> float | None:
        """Value less the guard band `GUARD` u.

        None for kinds of which more is not safer (angles, offsets, undercuts, depths).
        """
        if self.reading.value is None or self.budget is None or not self.kind.row.more_is_safer:
            return None
        return self.reading.value - GUARD * self.budget.u
