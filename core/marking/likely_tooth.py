"""Which tooth a click is about, from teeth that somebody named beside it; else none is proposed.

A wrong tooth is a wrong site: what is proposed is shown, and taken by a person. One step of a mean
crown from a named tooth is plain. Counting the teeth that were seen from the midline is not: jaws
differ from the mean by a tooth's width over half an arch, and crowns are overlooked.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from core.arch import Arch
from core.identity import Tooth
from core.plans.plan import Jaw, Plan
from core.plans.side import named_roots

CROWN_MM: Mapping[Jaw, tuple[float, ...]] = MappingProxyType(
    {
        "upper": (8.5, 6.5, 7.5, 7.0, 7.0, 10.0, 9.0, 8.5),
        "lower": (5.0, 5.5, 7.0, 7.0, 7.0, 11.0, 10.5, 10.0),
    }
)
"""Mean mesiodistal width of a crown from the midline to the third molar (Nelson, Wheeler's Dental
Anatomy, Physiology and Occlusion, table 1-1; most of them from memory)."""

NEARER_SHARE, FURTHER_MM = 0.5, 2.5
"""A place may lie nearer to a named tooth than the middle of a mean crown beside it by so much of
its width, since gaps close once a tooth is lost; and further by so much (own choice, no source)."""

CONTACT_SHARES = (0.3, 2.0)
"""A neighbour's facing surface lies this far from the middle of a site, in parts of half the site's
mean crown (own choice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LikelyTooth:
    """A tooth that is proposed.

    Parameters
    ----------
    tooth : Tooth
    beside : Tooth
        The named tooth that it stands beside.
    """

    tooth: Tooth
    beside: Tooth


def likely_tooth(plan: Plan, arch: Arch, at_mm: ArrayLike) -> LikelyTooth | None:
    """The tooth that stands at a place or is missing there, told by a named one beside it.

    Parameters
    ----------
    plan : Plan
    arch : Arch
    at_mm : (3,) patient LPS mm

    Returns
    -------
    LikelyTooth or None
        None where no named tooth stands beside it or two of them disagree, and while the side of
        the arch is open.
    """
    jaw = plan.known_jaw
    if jaw is None or arch.side_is_open:
        return None
    station, named = arch.station(at_mm), _named(plan, arch, jaw)
    taken = {tooth for _, tooth in named}
    found: dict[Tooth, Tooth] = {}
    for at, tooth in sorted(named, key=lambda each: abs(each[0] - station)):
        for other in tooth.neighbours():
            step = _place(other) - _place(tooth)
            further = (station - at) * np.sign(step) - abs(step)
            near = -NEARER_SHARE * _width(other) <= further <= FURTHER_MM
            if near and other not in taken:
                found.setdefault(other, tooth)
    if len(found) != 1:
        return None
    ((tooth, beside),) = found.items()
    return LikelyTooth(tooth=tooth, beside=beside)


def facing_tooth(plan: Plan, arch: Arch, at_mm: ArrayLike) -> LikelyTooth | None:
    """The neighbour whose surface faces a planned tooth, for a mark between the two.

    Parameters
    ----------
    plan : Plan
    arch : Arch
    at_mm : (3,) patient LPS mm

    Returns
    -------
    LikelyTooth or None
        None where no planned tooth is so near, and while the side of the arch is open.
    """
    jaw = plan.known_jaw
    if jaw is None or arch.side_is_open:
        return None
    station = arch.station(at_mm)
    sites = [
        (station - arch.station(f.platform), Tooth.of(f.tooth))
        for f in plan.fixtures
        if f.tooth and Tooth.of(f.tooth).jaw == jaw
    ]
    if not sites:
        return None
    off, site = min(sites, key=lambda each: abs(each[0]))
    least, most = (0.5 * share * _width(site) for share in CONTACT_SHARES)
    for tooth in site.neighbours():
        if least <= off * np.sign(_place(tooth) - _place(site)) <= most:
            return LikelyTooth(tooth=tooth, beside=site)
    return None


def _width(tooth: Tooth) -> float:
    return CROWN_MM[tooth.jaw][tooth.position - 1]


def _place(tooth: Tooth) -> float:
    """Middle of a mean crown from the midline, mm, growing to the patient's left as stations do."""
    widths = CROWN_MM[tooth.jaw]
    away = sum(widths[: tooth.position - 1]) + 0.5 * widths[tooth.position - 1]
    return away if tooth.side == "left" else -away


def _named(plan: Plan, arch: Arch, jaw: Jaw) -> list[tuple[float, Tooth]]:
    """Stations of all that carries a tooth's number in this jaw."""
    found = [(arch.station(f.platform), Tooth.of(f.tooth)) for f in plan.fixtures if f.tooth]
    found += [(s.station_mm, Tooth.of(s.tooth)) for s in plan.sites if s.tooth]
    found += [(arch.station(at), tooth) for tooth, at in named_roots(plan)]
    return [(station, tooth) for station, tooth in found if tooth.jaw == jaw]
