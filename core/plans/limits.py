"""Least allowed distances: rows with zones, lower lines and sources; what a plan changed.

Every row's figures were read in a published source or are marked ``common practice, no source``;
none rests on what somebody recalled. None of them is a proven threshold of harm: "2 mm to the
canal" is a planning margin that absorbs imaging and drilling error.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, TypeAlias

import numpy as np

from core.identity import Tooth
from core.measurement import Limit
from core.plans.plan import Plan
from core.structures import Structure, is_in_force, kind_of
from core.words.catalogue import Message, Words, message

Basis: TypeAlias = Literal["seen", "common practice"]
SurfaceSide: TypeAlias = Literal["buccal", "lingual", "apical"]

SHOULDER_MM = 2.0
"""Roots and fixtures: the shoulder zone ends this far below the platform."""

BUCCAL_MM = 4.0
"""Buccal bone: the zone with the larger limit ends this far below the platform."""

COMMON = message("sources.common")
_FOKAS = message("sources.fokas")
_BEFORE_FORAMEN = message("sources.before-foramen")
_ROOT = message("sources.root")
_BUCCAL_BONE = message("sources.wall")
_TARNOW = message("sources.between-fixtures")


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitRow:
    """A shipped row of limits.

    Parameters
    ----------
    key : str
        As in plan files.
    value, lower_line : float
        mm. Below the lower line the wording hardens, and no plan can go below it.
    zone : Words
        Where the row applies, for people.
    between : Words
        What the distance lies between, for people.
    source : Words
        Author, journal, year; or "common practice, no source".
    basis : {'seen', 'common practice'}
        Whether the figure was read in the source, or is the trade's habit.
    """

    key: str
    value: float
    lower_line: float
    zone: Words
    between: Words
    source: Words
    basis: Basis


_SHOULDER = message("limits.zone.shoulder")
_DEEPER = message("limits.zone.deeper")
_EVERYWHERE = message("limits.zone.anywhere")
_CANAL = message("limits.between.canal")
_SURFACE = message("limits.between.surface-inner")

ROWS: tuple[LimitRow, ...] = (
    LimitRow(
        key="canal",
        value=2.0,
        lower_line=1.0,
        zone=_EVERYWHERE,
        between=_CANAL,
        source=_FOKAS,
        basis="seen",
    ),
    LimitRow(
        key="loop",
        value=2.0,
        lower_line=1.0,
        zone=_EVERYWHERE,
        between=message("limits.between.loop"),
        source=_FOKAS,
        basis="seen",
    ),
    LimitRow(
        key="foramen",
        value=2.0,
        lower_line=1.0,
        zone=_EVERYWHERE,
        between=message("limits.between.foramen"),
        source=_FOKAS,
        basis="seen",
    ),
    LimitRow(
        key="vessel",
        value=2.0,
        lower_line=1.0,
        zone=_EVERYWHERE,
        between=message("limits.between.vessel"),
        source=_FOKAS,
        basis="seen",
    ),
    LimitRow(
        key="root",
        value=1.5,
        lower_line=1.0,
        zone=_SHOULDER,
        between=message("limits.between.root"),
        source=_ROOT,
        basis="seen",
    ),
    LimitRow(
        key="root-deep",
        value=1.0,
        lower_line=1.0,
        zone=_DEEPER,
        between=message("limits.between.root"),
        source=COMMON,
        basis="common practice",
    ),
    LimitRow(
        key="floor",
        value=1.0,
        lower_line=0.0,
        zone=_EVERYWHERE,
        between=message("limits.between.floor"),
        source=COMMON,
        basis="common practice",
    ),
    LimitRow(
        key="fixture",
        value=3.0,
        lower_line=2.0,
        zone=_SHOULDER,
        between=message("limits.between.fixtures"),
        source=_TARNOW,
        basis="seen",
    ),
    LimitRow(
        key="fixture-deep",
        value=2.0,
        lower_line=2.0,
        zone=_DEEPER,
        between=message("limits.between.fixtures"),
        source=COMMON,
        basis="common practice",
    ),
    LimitRow(
        key="wall-buccal",
        value=2.0,
        lower_line=1.0,
        zone=message("limits.zone.buccal-front"),
        between=message("limits.between.buccal"),
        source=_BUCCAL_BONE,
        basis="seen",
    ),
    LimitRow(
        key="wall-buccal-deep",
        value=1.0,
        lower_line=1.0,
        zone=message("limits.zone.buccal-deep"),
        between=message("limits.between.buccal"),
        source=COMMON,
        basis="common practice",
    ),
    LimitRow(
        key="wall-lingual",
        value=1.0,
        lower_line=0.5,
        zone=_EVERYWHERE,
        between=message("limits.between.inner"),
        source=_BUCCAL_BONE,
        basis="seen",
    ),
    LimitRow(
        key="surface-lingual",
        value=1.0,
        lower_line=0.5,
        zone=message("limits.zone.above-apical-third"),
        between=_SURFACE,
        source=COMMON,
        basis="common practice",
    ),
    LimitRow(
        key="surface-apical",
        value=2.0,
        lower_line=1.0,
        zone=message("limits.zone.apical-third"),
        between=message("limits.between.surface"),
        source=COMMON,
        basis="common practice",
    ),
    LimitRow(
        key="border",
        value=1.0,
        lower_line=0.0,
        zone=_EVERYWHERE,
        between=message("limits.between.border"),
        source=COMMON,
        basis="common practice",
    ),
    LimitRow(
        key="tip",
        value=2.0,
        lower_line=1.0,
        zone=message("limits.zone.full-depth"),
        between=message("limits.between.tip"),
        source=COMMON,
        basis="common practice",
    ),
)

_BUCCAL_BONE_BACK = LimitRow(
    key="wall-buccal",
    value=1.5,
    lower_line=1.0,
    zone=message("limits.zone.buccal-back"),
    between=message("limits.between.buccal"),
    source=message("sources.buccal-back"),
    basis="seen",
)

LOOP_UNSEEN = LimitRow(
    key="loop-unseen",
    value=5.0,
    lower_line=4.0,
    zone=message("limits.zone.loop-unseen"),
    between=message("limits.between.foramen-edge"),
    source=_BEFORE_FORAMEN,
    basis="seen",
)
"""Stands in while nobody knows the loop; no plan can change it, marking the loop replaces it."""

KEYS: tuple[str, ...] = tuple(row.key for row in ROWS)
"""Keys that a plan can change, as in ``limits`` of a plan file."""

_BY_KEY: Mapping[str, LimitRow] = MappingProxyType({row.key: row for row in (*ROWS, LOOP_UNSEEN)})


_NAMES: Mapping[str, Message] = MappingProxyType(
    {
        "canal": message("limits.name.canal"),
        "loop": message("limits.name.loop"),
        "foramen": message("limits.name.foramen"),
        "vessel": message("limits.name.vessel"),
        "root": message("limits.name.root"),
        "root-deep": message("limits.name.root-deep"),
        "floor": message("limits.name.floor"),
        "fixture": message("limits.name.fixture"),
        "fixture-deep": message("limits.name.fixture-deep"),
        "wall-buccal": message("limits.name.wall-buccal"),
        "wall-buccal-deep": message("limits.name.wall-buccal-deep"),
        "wall-lingual": message("limits.name.wall-lingual"),
        "surface-lingual": message("limits.name.surface-lingual"),
        "surface-apical": message("limits.name.surface-apical"),
        "border": message("limits.name.border"),
        "tip": message("limits.name.tip"),
        "loop-unseen": message("limits.name.loop-unseen"),
    }
)


def limit_words(key: str) -> Words:
    """What a limit is called, for people; the key itself where no limit has it."""
    return _NAMES.get(key, key)


def row_for(key: str, *, tooth: Tooth | None = None) -> LimitRow:
    """Shipped row of a key; the buccal bone of teeth 6-8 has its own, an unknown tooth the larger.

    Raises
    ------
    KeyError
        When there is no such key.
    """
    if key == "wall-buccal" and tooth is not None and tooth.position >= 6:
        return _BUCCAL_BONE_BACK
    return _BY_KEY[key]


def limit_for(key: str, plan: Plan | None = None, *, tooth: Tooth | None = None) -> Limit:
    """Limit in force for a key: the plan's where it changed it, with the default beside.

    Parameters
    ----------
    key : str
        One of `KEYS`, or ``loop-unseen``.
    plan : Plan or None
        None: the shipped limit.
    tooth : Tooth or None
        Only the buccal bone depends on it.

    Raises
    ------
    KeyError
        When there is no such key.
    """
    row = row_for(key, tooth=tooth)
    changed = None if plan is None or key not in KEYS else plan.limits.get(key)
    if changed is None:
        return Limit(
            key=key,
            value=row.value,
            lower_line=row.lower_line,
            source=row.source,
            default=row.value,
        )
    return Limit(
        key=key,
        value=changed.value,
        lower_line=row.lower_line,
        source=row.source,
        default=row.value,
        changed_by=changed.by,
        changed_at=changed.at,
        reason=changed.reason,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """A stretch of a fixture with its own limit.

    Parameters
    ----------
    key : str
        Key of the limit.
    from_mm, to_mm : float
        Depths below the platform along the axis.
    """

    key: str
    from_mm: float
    to_mm: float


def zones_of(key: str, length_mm: float) -> tuple[Zone, ...]:
    """Zones of a fixture for roots, other fixtures or buccal bone, from the platform down.

    Each zone must be measured by itself: the shortest distance of all may lie deep, where it
    meets the smaller limit, while the shoulder misses the larger one.
    """
    edge = BUCCAL_MM if key == "wall-buccal" else SHOULDER_MM
    upper = Zone(key=key, from_mm=0.0, to_mm=min(edge, length_mm))
    if length_mm <= edge:
        return (upper,)
    return (upper, Zone(key=f"{key}-deep", from_mm=edge, to_mm=length_mm))


def deep_limit_key(structure: Structure, *, length_mm: float | None = None) -> str | None:
    """Key of the limit to a structure at the depth of a fixture's apex; None where none is held.

    Parameters
    ----------
    length_mm : float or None
        Of the fixture, mm: a short one lies in the shoulder zone alone. None: a long one.
    """
    kind = kind_of(structure)
    if not kind.limit or not is_in_force(structure):
        return None
    if not kind.zoned:
        return kind.limit
    return zones_of(kind.limit, np.inf if length_mm is None else length_mm)[-1].key


def zone_key(key: Literal["root", "fixture", "wall-buccal"], depth_mm: float) -> str:
    """Key of the limit for a point of the fixture at a depth below its platform.

    The border belongs to the zone above, whose limit is the larger one.
    """
    edge = BUCCAL_MM if key == "wall-buccal" else SHOULDER_MM
    return key if depth_mm <= edge else f"{key}-deep"


def surface_key(side: SurfaceSide, *, depth_mm: float, length_mm: float) -> str:
    """Key of the limit to the outer bone surface.

    Lingual or palatal: ``surface-lingual``, in the apical third ``surface-apical``. Apical:
    ``surface-apical``. Buccal: that of the buccal bone at this depth.

    Parameters
    ----------
    side : SurfaceSide
    depth_mm : float
        mm.
    length_mm : float
        mm.
    """
    if side == "buccal":
        return zone_key("wall-buccal", depth_mm)
    if side == "lingual" and depth_mm < length_mm * 2 / 3:
        return "surface-lingual"
    return "surface-apical"
