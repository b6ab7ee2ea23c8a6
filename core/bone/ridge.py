"""The ridge at a site or at a fixture: crest, widths, height, and what of it can be used.

Definition: read in the plane through the fixture's platform centre (or the site's station)
spanned by *buccal* and *up*, along the direction used: the fixture's axis, or *up*. The crest is
the bone point furthest coronal within ± 3 mm of the fixture's axis (site: ± 6 mm of the arch
curve). A width is the distance between the outer edges first met from outside.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from core.arch import Arch, FixtureFrame, StationFrame, fixture_frame
from core.bone.bone_in_plane import BoneInPlane, Plane, bone_in_plane
from core.bone.bone_levels import BoneLevels
from core.bone.edges import EdgeFinder, ScanEdges, reason_note
from core.bone.ridge_height import (
    RidgeHeight,
    UsableHeight,
    height_along_axis,
    height_in_section,
    usable_height,
)
from core.bone.ridge_section import Along, Crest, RidgeWidth, find_crest, ridge_widths
from core.bone.set_crest import set_crest
from core.bone.teeth_in_plane import standing_tooth, without_teeth
from core.fixture import Fixture
from core.geometry import Array, across
from core.image.volume import Volume
from core.measurement import Note, Reading
from core.plans.plan import Jaw
from core.structures import Structure

SITE_HALF_MM = 6.0
FIXTURE_HALF_MM = 3.0
_RIM_SD_MM = 0.04
"""What a single line at the rim is off on a bent crest, beyond its own edge: from open draws of the
random jaws, where 90 % of truths lay inside without it."""
RIM_PLACES: tuple[Literal["buccal", "lingual", "mesial", "distal"], ...] = (
    "buccal", "lingual", "mesial", "distal",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RimCrest:
    """The bone at one place of the platform's rim.

    Parameters
    ----------
    place : {'buccal', 'lingual', 'mesial', 'distal'}
    crest_mm : (3,) or None
        The bone's edge on the line along the axis through the rim.
    platform_depth : Reading
        Platform below the bone there: + into bone, − above it. Witness: rim, then crest.
    """

    place: Literal["buccal", "lingual", "mesial", "distal"]
    crest_mm: Array | None
    platform_depth: Reading


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RidgeResult:
    """All ridge readings of one site or fixture.

    Parameters
    ----------
    crest : Crest
        Along the axis for a fixture, along *up* for a site.
    rims : tuple of RimCrest
        Four with a fixture, else none.
    widths : tuple of RidgeWidth
        By direction used and depth; each with the least over ± 10° of turn.
    heights : tuple of RidgeHeight
        Along the axis first, where there is one; then along *up*.
    usable : UsableHeight or None
        None where no width was asked for.
    bone : BoneInPlane
        The section along *up*; its plane serves plates, undercut and drawing.
    """

    crest: Crest
    rims: tuple[RimCrest, ...] = ()
    widths: tuple[RidgeWidth, ...]
    heights: tuple[RidgeHeight, ...]
    usable: UsableHeight | None = None
    bone: BoneInPlane
    crest_up: Crest

    @property
    def crest_mm(self) -> Array | None:
        """The crest's point, patient LPS mm; None where it was not found."""
        return self.crest.point_mm

    @property
    def set_by_hand(self) -> bool:
        """True where a person set the crest, beside a tooth that stands here."""
        return bool(self.crest.marks or self.crest_up.marks)

    @property
    def height(self) -> Reading:
        """Height along the axis with a fixture, along *up* at a site."""
        return self.heights[0].reading

    @property
    def platform_depths(self) -> dict[str, Reading]:
        """Platform depth by place of the rim: + into bone, − above it."""
        return {rim.place: rim.platform_depth for rim in self.rims}


def section_plane(frame: StationFrame, jaw: Jaw, *, origin: Array | None = None) -> Plane:
    """Plane across the arch at a station, along *up*; `origin` stands in for the curve's point.

    Parameters
    ----------
    frame : StationFrame
    jaw : {'lower', 'upper'}
    origin : (3,) patient LPS mm or None
    """
    coronal = frame.up if jaw == "lower" else -frame.up
    return Plane(
        origin=frame.origin if origin is None else origin, across=frame.buccal, coronal=coronal
    )


def axis_plane(frame: StationFrame, fixture: Fixture) -> Plane:
    """Plane of *buccal* and *up* through the platform, along the fixture's axis as seen in it."""
    coronal = across(fixture.a, frame.travel)
    return Plane(origin=fixture.platform, across=across(frame.buccal, coronal), coronal=coronal)


def bone_and_crest(
    scan: ScanEdges,
    plane: Plane,
    structures: Sequence[Structure],
    jaw: Jaw,
    *,
    crown_level_mm: float,
    half_mm: float,
) -> tuple[BoneInPlane, Crest]:
    """The jaw's bone in a plane, and its crest: that of bone; where a tooth stands the one set.

    Parameters
    ----------
    structures : sequence of Structure
        Roots that are to be removed are taken out of the bone; a root that stays leaves no crest
        but one that a person set beside it, and so does one to be removed whose socket's rim is
        not clear.
    crown_level_mm : float
        Height, along the plane's direction, at which the jaw plane lies.
    half_mm : float
        The crest is looked for this far to both sides of the plane's origin.
    """
    whole = bone_in_plane(
        scan.volume, scan.levels, plane, crown_level_mm=crown_level_mm, upper=jaw == "upper"
    )
    bone = without_teeth(whole, structures)
    tooth = standing_tooth(bone, structures, half_mm=half_mm)
    if tooth is not None:
        no_crest = Crest(point_mm=None, notes=(tooth,))
        return bone, no_crest if scan.levels.trouble else set_crest(bone, structures) or no_crest
    found = find_crest(scan, bone, half_mm=half_mm)
    if found.point_mm is None and bone.socket.any() and not scan.levels.trouble:
        # What a blurred root leaves beside its socket looks like a thin plate: a person can tell.
        return bone, set_crest(bone, structures) or found
    return bone, found


def ridge_at_site(  # noqa: PLR0917 - the order is that of the chain scan → arch → site
    volume: Volume,
    arch: Arch,
    station_mm: float,
    levels: BoneLevels,
    jaw: Jaw,
    structures: Sequence[Structure],
    finder: EdgeFinder,
    *,
    needed_width_mm: float | None = None,
) -> RidgeResult:
    """Measure the ridge at a station of the arch.

    Parameters
    ----------
    station_mm : float
        Arc length from the patient's right end of the arch.
    structures : sequence of Structure
        What may limit the height.
    needed_width_mm : float, optional
        Width for the usable height (see `core.bone.ridge_height.needed_width`).
    """
    scan = ScanEdges(volume=volume, levels=levels, finder=finder)
    plane = section_plane(arch.frame(station_mm), jaw)
    bone, crest = bone_and_crest(
        scan, plane, structures, jaw, crown_level_mm=0.0, half_mm=SITE_HALF_MM
    )
    height = height_in_section(plane, crest, structures)
    return RidgeResult(
        crest=crest,
        crest_up=crest,
        widths=ridge_widths(scan, bone, crest, "up"),
        heights=(height,),
        usable=None
        if needed_width_mm is None
        else usable_height(scan, bone, crest, height, needed_width_mm),
        bone=bone,
    )


def ridge_at_fixture(  # noqa: PLR0917 - as in `ridge_at_site`
    volume: Volume,
    arch: Arch,
    fixture: Fixture,
    levels: BoneLevels,
    jaw: Jaw,
    structures: Sequence[Structure],
    limits_for: Callable[[Structure], float],
    finder: EdgeFinder,
    *,
    needed_width_mm: float | None = None,
) -> RidgeResult:
    """Measure the ridge at a fixture, along its axis and along *up*.

    Parameters
    ----------
    limits_for : structure → mm
        The limit in force for a structure; the footprint is widened by it.
    needed_width_mm : float, optional
        Width for the usable height along the axis.
    """
    scan = ScanEdges(volume=volume, levels=levels, finder=finder)
    frame = fixture_frame(fixture, arch)
    station = frame.station
    found: list[tuple[Along, BoneInPlane, Crest]] = []
    planes: tuple[tuple[Along, Plane], ...] = (
        ("axis", axis_plane(station, fixture)),
        ("up", section_plane(station, jaw, origin=fixture.platform)),
    )
    for along, plane in planes:
        bone, crest = bone_and_crest(
            scan,
            plane,
            structures,
            jaw,
            crown_level_mm=plane.h(station.origin),
            half_mm=FIXTURE_HALF_MM,
        )
        found.append((along, bone, crest))
    (_, axis_bone, axis_crest), (_, up_bone, up_crest) = found
    height = height_along_axis(fixture, axis_crest, structures, limits_for)
    return RidgeResult(
        crest=axis_crest,
        crest_up=up_crest,
        rims=rims_at(scan, fixture, frame, jaw, structures),
        widths=tuple(
            w for along, bone, crest in found for w in ridge_widths(scan, bone, crest, along)
        ),
        heights=(height, height_in_section(up_bone.plane, up_crest, structures)),
        usable=None
        if needed_width_mm is None
        else usable_height(scan, axis_bone, axis_crest, height, needed_width_mm),
        bone=up_bone,
    )


def rims_at(
    scan: ScanEdges,
    fixture: Fixture,
    frame: FixtureFrame,
    jaw: Jaw,
    structures: Sequence[Structure],
) -> tuple[RimCrest, ...]:
    """Bone at the buccal, lingual, mesial and distal place of the platform's rim.

    Parameters
    ----------
    scan : ScanEdges
    fixture : Fixture
        Of its size only the platform's diameter matters.
    frame : FixtureFrame
    jaw : {'lower', 'upper'}
    structures : sequence of Structure
        Teeth among them are no bone.
    """
    radius = fixture.size.platform / 2
    out = []
    for side, places in ((frame.b, RIM_PLACES[:2]), (frame.m, RIM_PLACES[2:])):
        plane = Plane(origin=fixture.platform, across=side, coronal=fixture.a)
        bone = bone_in_plane(
            scan.volume,
            scan.levels,
            plane,
            crown_level_mm=plane.h(frame.station.origin),
            upper=jaw == "upper",
        )
        bone = without_teeth(bone, structures)
        out += [
            _rim(scan, bone, place, w) for place, w in zip(places, (radius, -radius), strict=True)
        ]
    return tuple(out)


def _rim(
    scan: ScanEdges,
    bone: BoneInPlane,
    place: Literal["buccal", "lingual", "mesial", "distal"],
    w_mm: float,
) -> RimCrest:
    plane = bone.plane
    rim = plane.points(w_mm, 0.0)[0]
    note = scan.levels.trouble
    top = bone.top_near(w_mm, 0.0)
    if note is None and not np.isfinite(top):
        note = Note("ridge_no_bone")
    if note is not None:
        return RimCrest(place=place, crest_mm=None, platform_depth=_none(note))
    lead = float(bone.lead_above(np.array([w_mm]), np.array([top]))[0])
    edge = scan.outer(plane.points(w_mm, top + lead), -plane.coronal, 6.0)
    if not edge.found[0]:
        note = reason_note(str(edge.reason[0]))
        return RimCrest(place=place, crest_mm=None, platform_depth=_none(note))
    depth = top + lead - float(edge.distance_mm[0])
    crest = plane.points(w_mm, depth)[0]
    reading = Reading(
        value=depth,
        witness=(rim, crest),
        edge_sd_mm=(float(edge.sd_mm[0]), _RIM_SD_MM),
        evidence=scan.levels.evidence,
    )
    return RimCrest(place=place, crest_mm=crest, platform_depth=reading)


def _none(note: Note) -> Reading:
    return Reading(value=None, notes=(note,))
