"""A first jaw, jaw plane and arch from the image.

The crest or the row of teeth is found first, as a ridge of hard tissue whose top lies along a
plane near the scanner's axis; the plane is laid through the tips of its teeth, or else through its
top, and the arch along it. Nobody
says which grey value bounds bone: several are tried. A ridge that looks up is looked for as well
as one that looks down, since a lower jaw's border is one too; teeth, a palate and what the bone
does beyond tell which of them it is. Where the signs do not suffice, or the line does not stay when
it is found again otherwise, nothing is proposed. None of these choices has a source; how they hold
is measured on real jaw shapes and random jaws (``tests/studies/reports/proposals.md``).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from core.geometry import Array, angle_deg, unit
from core.image.volume import Volume
from core.level import Level
from core.proposing.beyond_gap import crowns_beyond
from core.proposing.coarse import Coarse, coarse, partings
from core.proposing.crowns import CrownPlane, crown_plane, enamel_over
from core.proposing.find import Ridge, along, beyond, lean_deg, refined, ridges
from core.proposing.hard import hard_tissue
from core.proposing.planes import STEEPEST_DEG
from core.proposing.proposal import PlaneFrom, Proposal
from core.proposing.ridge import RidgeLine, elsewhere, without_slivers
from core.proposing.settle import CREST, TEETH, Firmness, settled
from core.proposing.steady import apart, halves_deg, leaned_apart
from core.proposing.which_jaw import UNSEEN, Palate, bears_teeth, palate

RUNS_ON_MM = 14
LEAST_MM = 14.0
LEAST_EVEN = 0.55
"""Least part of a ridge's length that is even and freestanding."""
WIDEST_MM = 96.0
"""Between any two places of an arch; the vault of a skull is wider (common practice, no source)."""
MOST_ELSEWHERE = 0.5
"""Most top besides a ridge's line, in parts of that along it; of a ring it is as much again."""
NARROWEST_TEETH_MM, NARROWEST_CREST_MM = 1.5, 3.0
"""Median width of the top of a row of teeth, and of a crest without; a thinner one is a flank's
edge."""
BROADEST_TEETH_MM = 10.0
"""Greatest median width of a row of teeth near its tips, which stand nearer to each other than a
crown is wide (common practice, no source); a broader top is a crest."""
LEAST_TEETH_MM, LEAST_CREST_MM = 21.0, 40.0
"""Least even length of a row of teeth, which is three teeth of 7 mm, and of a crest without: of
shorter pieces of crest the arch lay beside the crest in one of six, where the head was tilted."""
CREST_DOUBT_DEG = 4.5
"""Greatest doubt of the plane along a crest without teeth: which places of a broad crest are its
top depends on the plane."""
LEAST_OF_WHOLE = 0.65
"""Least part of a ridge's length that its even part without teeth takes up: else the crest goes on
where it was not followed."""
PALATE, CLEAR_PALATE = 0.4, 0.6
"""Least share of the places beside a ridge that a palate spans; and where nothing else need tell
of an upper jaw. Borders of lower jaws had up to 0.36."""
FEWER = 0.6
"""Teeth of the other facing that have this part of a row's even length contradict it."""
SURE_TEETH_DEG, SURE_CREST_DEG = 3.3, 2.5
"""Greatest doubt of a plane that is called found both ways."""
SPREAD_DEG = 5.0
"""Most that the planes of different grey values may differ by."""
HALVES_DEG = 10.0
"""Most that the planes of a ridge's halves may differ by where the plane is doubted."""
LEANED_MM, LEANED_WORST_MM, OTHER_GREY_MM = 1.45, 2.3, 1.2
"""Most that the line may move where the plane leans otherwise, in the median and anywhere, and
where another grey value bounds the bone, in the median."""
TEETH_FIRST = 0.4
"""A row of teeth is taken before ridges without teeth that are longer by up to this."""
PASSES = 4
"""From one plane through the tips to the next: teeth beyond a gap are seen when it leans less."""
SAME_TISSUE = 0.9
NEARLY = 0.88
"""Ridges whose worth is at least this part of the best one's are alike."""
MARK_MM = 9.0
BEYOND_END_MM, STRAIGHT_MM = 3.0, 8
"""How far the arch is led on beyond the ridge, and what tells its direction there."""
END_MM = 2
"""How far from its ends the arch is marked: there the line runs into a corner of the ridge."""


@dataclass(frozen=True, eq=False)
class _Found:
    """A ridge of one facing, and what tells which jaw it is of."""

    ridge: Ridge
    teeth: bool
    crowns: CrownPlane | None = None
    """Through the tips; None without teeth, and before it was refined."""
    palate: Palate = UNSEEN
    spread_deg: float = 0.0
    """Between the planes that different grey values lead to."""
    moved_mm: float = 0.0
    """Between the lines that they lead to, in the median."""

    @property
    def firm(self) -> Firmness:
        """How well its top tells the plane."""
        return TEETH if self.teeth else CREST

    @property
    def worth(self) -> float:
        """Length that lies on its plane: of a row of teeth that of the crowns alone, mm."""
        return self.ridge.crown_worth if self.teeth else self.ridge.worth


def propose(volume: Volume, *, cancelled: Callable[[], bool] | None = None) -> Proposal:
    """Jaw, jaw plane and arch from the image.

    Parameters
    ----------
    volume : Volume
    cancelled : callable, optional

    Returns
    -------
    Proposal
        Without jaw and arch where no crest or row of teeth is recognised.
    """
    stop = cancelled or (lambda: False)
    nothing = Proposal(level=_through_the_middle(volume))
    scan = coarse(volume)
    values = _bounds_of_hard_tissue(scan)
    chosen = None
    # The lowest may bound soft tissue after all, on which then nothing is seen to stand free.
    for first in range(min(2, len(values))):
        up, down = (_facing(scan, sign, values[first:], stop) for sign in (1.0, -1.0))
        chosen = None if stop() else _of_a_jaw(up, down)
        if chosen is not None or stop():
            break
    # What contradicts the first look is not lost by a second one at fewer grey values.
    if chosen is None or not _is_told(chosen):
        return nothing
    return _proposal(chosen)


def _facing(
    scan: Coarse, sign: float, values: list[float], stop: Callable[[], bool]
) -> _Found | None:
    """The best ridge that looks up or down, with the highest grey value that shows it whole.

    Over its top nothing may be brighter than the lowest of the values: what lies under enamel is
    no top, but dentine.
    """
    # The highest value may lie over dentine's.
    dense = values[max(0, len(values) - 2)]
    grey = scan.grey[:: int(sign)]
    enamel = enamel_over(scan, dense)
    found: list[list[_Found]] = []
    for threshold in values:
        if stop():
            return None
        hard = hard_tissue(scan, threshold, sign, enamel)
        even = [] if hard is None else [ridge for ridge in ridges(hard) if _is_even(ridge)]
        even = [ridge for ridge in even if _is_open(ridge) and beyond(ridge, grey) < values[0]]
        found.append([_Found(ridge, _has_teeth(scan, ridge, dense)) for ridge in even])
    return _chosen(found)


def _chosen(found: list[list[_Found]]) -> _Found | None:
    """Of the ridges that each grey value shows: teeth before crests, length, then the highest."""
    flat = [one for level in found for one in level]
    longest = max((one.worth for one in flat), default=0.0)
    teeth = any(one.teeth and one.worth >= TEETH_FIRST * longest for one in flat)
    best: list[_Found] = []
    for level in found:
        fits = [one for one in level if one.teeth == teeth and _is_broad(one)]
        if fits:
            best.append(max(fits, key=lambda one: one.worth))
    if not best:
        return None
    most = max(one.worth for one in best)
    alike = [_refined(one) for one in best if one.worth >= NEARLY * most]
    chosen = alike[-1]
    normal = chosen.ridge.tops.normal
    spread = max(angle_deg(one.ridge.tops.normal, normal) for one in alike)
    moved = max(apart(chosen.ridge, one.ridge).median_mm for one in alike)
    return replace(chosen, palate=palate(chosen.ridge), spread_deg=spread, moved_mm=moved)


def _refined(one: _Found) -> _Found:
    """Along the plane through its own top: of a row of teeth that through their tips."""
    if not one.teeth:
        return replace(one, ridge=refined(one.ridge, one.firm))
    ridge, best = one.ridge, one
    for _ in range(PASSES):
        crowns = crown_plane(ridge.hard, ridge.line.places, ridge.tops.normal, ridge.surface_normal)
        if crowns is None or lean_deg(crowns.normal) > STEEPEST_DEG:
            break
        again = along(ridge.hard, crowns.origin, crowns.normal, ridge.surface_normal)
        if again is None:
            break
        ridge = again
        if best.crowns is None or crowns.doubt_deg < best.crowns.doubt_deg:
            best = replace(one, ridge=ridge, crowns=crowns)
    return best


def _bounds_of_hard_tissue(scan: Coarse) -> list[float]:
    """Grey values that may bound hard tissue.

    The lowest partings bound soft tissue against air: nearly as much is brighter than the second
    of them as than the first.
    """
    values = partings(scan)
    count = [int((scan.grey[scan.seen] > value).sum()) for value in values]
    first = min(1, max(0, len(values) - 1))
    while first < len(values) - 1 and count[first] > SAME_TISSUE * count[first - 1]:
        first += 1
    return values[first:]


def _is_even(ridge: Ridge) -> bool:
    length = ridge.line.length_mm
    return length >= LEAST_MM and ridge.worth >= LEAST_EVEN * length


def _is_open(ridge: Ridge) -> bool:
    """Neither a ring, as the walls of a sinus, nor as wide as the vault of a skull."""
    places = ridge.line.places
    across = np.linalg.norm(places - places[:, None], axis=2).max()
    return bool(across <= WIDEST_MM and elsewhere(ridge.tops, ridge.whole) <= MOST_ELSEWHERE)


def _has_teeth(scan: Coarse, ridge: Ridge, dense: float) -> bool:
    return float(np.median(ridge.line.width)) <= BROADEST_TEETH_MM and bears_teeth(
        scan, ridge, dense
    )


def _is_broad(one: _Found) -> bool:
    least = NARROWEST_TEETH_MM if one.teeth else NARROWEST_CREST_MM
    return float(np.median(one.ridge.line.width)) >= least


def _is_told(one: _Found) -> bool:
    """Whether it is long enough, and nothing contradicts it."""
    if not _is_broad(one) or one.spread_deg > SPREAD_DEG or one.moved_mm > OTHER_GREY_MM:
        return False
    line, whole = one.ridge.line, one.ridge.whole
    if not one.teeth and line.length_mm < LEAST_OF_WHOLE * whole.length_mm:
        return False
    if one.worth < (LEAST_TEETH_MM if one.teeth else LEAST_CREST_MM):
        return False
    if one.teeth and one.crowns is None:
        return False
    doubt = _doubt_deg(one)
    if not one.teeth and doubt > CREST_DOUBT_DEG:
        return False
    if doubt > SURE_TEETH_DEG and halves_deg(one.ridge, one.firm) > HALVES_DEG:
        return False
    moved = leaned_apart(one.ridge)
    return moved.median_mm <= LEANED_MM and moved.worst_mm <= LEANED_WORST_MM


def _doubt_deg(one: _Found) -> float:
    """Of its plane."""
    ridge = one.ridge
    if one.crowns is not None:
        return one.crowns.doubt_deg
    return settled(ridge.tops, ridge.line, ridge.surface_normal, one.firm).doubt_deg


def _of_a_jaw(up: _Found | None, down: _Found | None) -> _Found | None:
    """Which of the ridges is crest or teeth, and so which jaw it is; None where unclear.

    Looking up, the crest of a lower jaw, or the floor of nose and sinus; looking down, the crest
    of an upper jaw, or the border of a lower one.
    """
    if (up is not None and up.teeth) or (down is not None and down.teeth):
        return _of_teeth(up, down)
    if down is not None and down.palate.share >= PALATE:
        floor = up is not None and up.palate.share >= PALATE
        return down if floor or down.palate.share >= CLEAR_PALATE else None
    if up is None or up.palate.share >= PALATE or not up.palate.looked:
        return None
    return up


def _of_teeth(up: _Found | None, down: _Found | None) -> _Found | None:
    """The ridge with teeth; None where both have some, or teeth that look up have a palate."""
    rows = [one for one in (up, down) if one is not None and one.teeth]
    rows.sort(key=lambda one: one.worth)
    if len(rows) == 2 and rows[0].worth > FEWER * rows[1].worth:
        return None
    best = rows[-1]
    return None if best is up and best.palate.share >= PALATE else best


def _proposal(found: _Found) -> Proposal:
    ridge = found.ridge
    tops, line, sign = ridge.tops, ridge.line, ridge.hard.sign
    flip = np.array([1.0, 1.0, sign])
    plane_from = _plane_from(found)
    # A short piece of crest lies otherwise than the crest as a whole, and tips that lie far off
    # have no plane: then it is none of a jaw.
    up = np.array([0.0, 0.0, 1.0]) if plane_from == "scanner" else tops.normal * flip * sign
    level = Level(origin=line.places.mean(axis=0) * flip, up=up)
    return Proposal(
        jaw="lower" if sign > 0 else "upper", level=level,
        arch_points=level.project(_marks(ridge, teeth=found.teeth) * flip), plane_from=plane_from,
        crown_tips=None if found.crowns is None else found.crowns.counted * flip,
    )  # fmt: skip


def _plane_from(found: _Found) -> PlaneFrom:
    doubt = _doubt_deg(found)
    if found.crowns is not None and not found.crowns.is_even:
        return "scanner"
    if found.teeth:
        return "teeth" if doubt <= SURE_TEETH_DEG else "along"
    return "crest" if doubt <= SURE_CREST_DEG else "scanner"


def _marks(ridge: Ridge, *, teeth: bool) -> Array:
    """(n, 3) turned mm: the arch along a ridge and what it runs on into, and a little beyond.

    Behind the last tooth the arch follows the crest on. Where the edge of the scan cuts the ridge
    its middle is not seen: there, and a little beyond the ridge, the arch is led on straight. A row
    that ends at a gap is led on to the teeth beyond.
    """
    whole = without_slivers(ridge.tops, ridge.whole) or ridge.whole
    reach = [_nearest(ridge.whole, ridge.line.places[end]) for end in (0, -1)]
    reach = [max(0, reach[0] - RUNS_ON_MM), min(len(ridge.whole.places) - 1, reach[1] + RUNS_ON_MM)]
    goals = [ridge.whole.places[at] for at in reach]
    first, last = (_nearest(whole, goal) for goal in goals)
    first, last = max(first, END_MM), min(last, len(whole.places) - 1 - END_MM)
    count = max(4, round((last - first) / MARK_MM) + 1)
    at = np.linspace(first, last, count).round().astype(int)
    ends = []
    for end, inner, goal, row in zip(
        (first, last),
        (first + STRAIGHT_MM, last - STRAIGHT_MM),
        goals,
        (whole.places[first:][::-1], whole.places[: last + 1]),
        strict=True,
    ):
        crowns = crowns_beyond(ridge.tops, row) if teeth else []
        if crowns:
            far = crowns[-1]
            over = far.place + (far.half_mm + BEYOND_END_MM) * far.way
            ends.append(np.vstack([*(crown.place for crown in crowns), over]))
            continue
        way = unit(whole.places[end] - whole.places[inner])
        on = max(0.0, float((goal - whole.places[end]) @ way)) + BEYOND_END_MM
        ends.append((whole.places[end] + on * way)[None])
    return np.vstack([ends[0][::-1], whole.places[at], ends[1]])


def _nearest(line: RidgeLine, place: Array) -> int:
    return int(np.linalg.norm(line.places - place, axis=1).argmin())


def _through_the_middle(volume: Volume) -> Level:
    middle = volume.mm((np.array(volume.shape[::-1]) - 1) / 2)[0]
    return Level(origin=middle, up=np.array([0.0, 0.0, 1.0]))
