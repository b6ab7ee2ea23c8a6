"""The plan: what the dentist set, marked and decided, as one frozen value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal, TypeAlias

from core.direction import SideAnswers
from core.distances.drilling import DepthReference
from core.fixture import Fixture
from core.geometry import Array, points, vector
from core.identity import Tooth
from core.level import Level
from core.structures import AngleMark, Ruler, StentAxis, Structure
from core.words.catalogue import Words

Jaw: TypeAlias = Literal["lower", "upper"]
DeclaredState: TypeAlias = Literal[
    "not near this site", "looked for, not visible", "outside the scanned region", "tooth missing"
]


TROUBLES = ("movement", "streaks", "noise", "cut-off field", "gap under the stent")
"""What can be wrong with an image, as a person is asked about it."""

TROUBLE_PLACES = ("none", "away from the site", "at the site")
"""Answers to each of them."""

Tissue: TypeAlias = Literal["soft tissue", "cortex", "marrow"]
TISSUES: tuple[Tissue, ...] = ("soft tissue", "cortex", "marrow")
"""In the order in which they are asked for."""

MISSING: DeclaredState = "tooth missing"
"""Said of the root of a neighbour that is not there: limits to it fall away."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanTie:
    """Which scan a plan was made on."""

    series_uid: str = ""
    frame_of_reference_uid: str = ""
    fingerprint: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """A place to measure the ridge before any fixture exists."""

    id: str
    tooth: str = ""
    station_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TissuePoint:
    """A place where a person sees one tissue, for a scan that does not show its levels itself.

    Parameters
    ----------
    tissue : {'soft tissue', 'cortex', 'marrow'}
    at : (3,) patient LPS mm
    """

    tissue: Tissue
    at: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "at", vector(self.at))


@dataclass(frozen=True, slots=True, kw_only=True)
class Declaration:
    """A structure that is not marked, with the reason given by a person."""

    structure: str
    state: DeclaredState
    reason: Words = ""
    by: str = ""
    at: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SideCheck:
    """A person's answer: the site is on the patient's left or right, compared against what."""

    side: Literal["left", "right"]
    against: str = ""
    by: str = ""
    at: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedLimit:
    """A limit that this plan changed."""

    value: float
    by: str = ""
    at: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnHand:
    """Scatter of one person's marks, taken over from their repeat study for this plan.

    Parameters
    ----------
    person : str
        Whose hand it is.
    sd_mm : float
        As studied; how it counts is `core.trust.operator_precision`'s.
    marks, placings : int
        How many marks the study repeated, and how many placings of them it holds.
    studied : str
        Day of the study, ISO 8601.
    by, at : str
        Who took it over for this plan, and when.
    """

    person: str
    sd_mm: float
    marks: int = 0
    placings: int = 0
    studied: str = ""
    by: str = ""
    at: str = ""

    def __post_init__(self) -> None:
        if not self.person.strip() or not 0 <= self.sd_mm <= 5:
            raise ValueError("a person, and a spread of their marks from 0 to 5 mm, are needed")


@dataclass(frozen=True, slots=True, kw_only=True)
class ImageCheck:
    """A person's judgement of the image: ``none``, ``away from the site`` or ``at the site``.

    `trouble` maps `TROUBLES` to one of these.
    """

    trouble: Mapping[str, str] = field(default_factory=dict)
    by: str = ""
    at: str = ""

    @property
    def at_the_site(self) -> bool:
        """True when any trouble lies at the site: *meets limit* is then never given."""
        return "at the site" in self.trouble.values()


@dataclass(frozen=True, slots=True, kw_only=True)
class SignOff:
    """Who signed which state of the plan."""

    name: str
    role: str = ""
    at: str = ""
    plan_fingerprint: str = ""
    revision: int = 0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """The whole plan document; see `core.plans.plan_file` for reading and writing.

    Parameters
    ----------
    depth_from : DepthReference or None
        Where drilling depths are counted from on the day; None until a person chose it.
    reasons : mapping of str to str
        Why a structure or fixture has an unusual size, by its id.
    accepted : mapping of str to str
        Why a person signed although a row's limit is not met, by the row's id.
    locked : tuple of str
        Ids of what a person locked against being moved or deleted by accident.
    document : mapping
        The JSON as read, so that unknown keys are kept on save.
    """

    scan: ScanTie | None = None
    jaw: Jaw | None = None
    level: Level | None = None
    arch_points: Array | None = None
    side_answers: SideAnswers = field(default_factory=SideAnswers)
    sites: tuple[Site, ...] = ()
    structures: tuple[Structure, ...] = ()
    stent_axes: tuple[StentAxis, ...] = ()
    fixtures: tuple[Fixture, ...] = ()
    rulers: tuple[Ruler, ...] = ()
    angles: tuple[AngleMark, ...] = ()
    locked: tuple[str, ...] = ()
    declared: tuple[Declaration, ...] = ()
    midline: Array | None = None
    tissue_points: tuple[TissuePoint, ...] = ()
    side_check: SideCheck | None = None
    image_check: ImageCheck | None = None
    own_hand: OwnHand | None = None
    interpreted_by: str = ""
    interpreted_at: str = ""
    depth_from: DepthReference | None = None
    limits: Mapping[str, ChangedLimit] = field(default_factory=dict)
    reasons: Mapping[str, str] = field(default_factory=dict)
    accepted: Mapping[str, str] = field(default_factory=dict)
    sign_off: SignOff | None = None
    revision: int = 1
    notes: tuple[Mapping[str, object], ...] = ()
    history: tuple[Mapping[str, object], ...] = ()
    document: Mapping[str, object] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.arch_points is not None:
            object.__setattr__(self, "arch_points", points(self.arch_points))
        if self.midline is not None:
            object.__setattr__(self, "midline", vector(self.midline))
        object.__setattr__(self, "limits", MappingProxyType(dict(self.limits)))
        object.__setattr__(self, "reasons", MappingProxyType(dict(self.reasons)))
        object.__setattr__(self, "accepted", MappingProxyType(dict(self.accepted)))

    @property
    def known_jaw(self) -> Jaw | None:
        """The jaw; where it is not written, the one that all tooth numbers name.

        A tooth's number tells the jaw without a doubt; it is never used to tell the side.
        """
        if self.jaw is not None:
            return self.jaw
        numbers = [f.tooth for f in self.fixtures] + [s.tooth for s in self.sites]
        jaws = {Tooth.of(number).jaw for number in numbers if number}
        return jaws.pop() if len(jaws) == 1 else None
