"""Where the section and its neighbours lie, what they are called, and what lies at their edges."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from app.case.session import Session
from core.arch import Arch, fixture_frame, station_words
from core.drawing import Sides, patient_letters
from core.errors import PlanError
from core.fixture import Fixture
from core.geometry import PictureGrid, across
from core.identity import Tooth
from core.image.ribbon import Ribbon
from core.image.section import across_arch_grid, through_axis_grid
from core.image.volume import Volume
from core.level import Level
from core.pictures.chart import plane_words
from core.pictures.chart_parts import sides_of
from core.pictures.neighbour_words import neighbour_words as called
from core.pictures.neighbour_words import way_along
from core.plans.plan import Jaw
from core.words.catalogue import language, say

SECTION_MM = (64.0, 58.0)
"""Cut around the section's middle; the view shows the part that fits."""
NEIGHBOUR_MM = (22.0, 34.0)
NEIGHBOUR_PIXEL_MM = 0.2
EACH_WAY = 3
STEP_MM = 1.0
MAP_MARGIN_MM = 4.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Place:
    """A flat picture of the patient, before it is cut.

    Parameters
    ----------
    station_mm : float or None
        None: a plane through an axis.
    subject : str
        Fixture or site whose measured distances are drawn here.
    """

    grid: PictureGrid
    title: str
    subtitle: str
    sides: Sides
    station_mm: float | None = None
    subject: str = ""


def section_place(session: Session, height_mm: float) -> Place | None:
    """The large picture: across the arch, or through the selected fixture's axis."""
    arch, volume = session.arch, session.volume
    if arch is None or volume is None:
        return None
    fixture = session.fixture
    if session.turn_deg is not None and fixture is not None:
        try:
            return _through_axis(session, arch, volume, fixture, session.turn_deg)
        except PlanError:
            pass  # an axis that lies along the arch has no turn: the section stands in
    return across_place(session, arch, volume, session.station_mm, height_mm)


def across_place(
    session: Session, arch: Arch, volume: Volume, station_mm: float, height_mm: float
) -> Place:
    """A section across the arch."""
    grid = _across_grid(arch, station_mm, SECTION_MM, pixel_mm(volume), height_mm)
    tooth = session.tooth_here
    words = str(station_words(arch, station_mm, session.plan.midline))
    return Place(
        grid=grid,
        title=say("pictures.places.section-across-the-arch"),
        subtitle=say("pictures.places.region", tooth=tooth, words=words) if tooth else words,
        sides=_across_sides(grid, session.guide.jaw, untold=_untold(session, arch)),
        station_mm=station_mm,
        subject=_subject_near(session, station_mm),
    )


def neighbour_places(session: Session, height_mm: float) -> tuple[Place, ...]:
    """Sections beside the station, from the patient's right to the left as on every picture.

    Their titles say "3 mm mesial" ... "3 mm distal" where a tooth is named here, else to
    which of the patient's sides they lie.
    """
    arch, volume = session.arch, session.volume
    if arch is None or volume is None:
        return ()
    out: list[Place] = []
    pixel = max(NEIGHBOUR_PIXEL_MM, pixel_mm(volume))
    tooth, untold = session.tooth_here, _untold(session, arch)
    for n in range(-EACH_WAY, EACH_WAY + 1):
        station = session.station_mm + n * STEP_MM
        grid = _across_grid(arch, station, NEIGHBOUR_MM, pixel, height_mm)
        out.append(
            Place(
                grid=grid,
                title=neighbour_words(n, STEP_MM, tooth, open_side=untold),
                subtitle="",
                sides=_across_sides(grid, session.guide.jaw, untold=untold),
                station_mm=station,
            )
        )
    return tuple(out)


def _across_grid(
    arch: Arch, station_mm: float, size_mm: tuple[float, float], pixel: float, height_mm: float
) -> PictureGrid:
    """Where a section across the arch lies: the same object whenever the same place is asked for.

    So what was drawn over a place is found again when the hand steps back, or only a fixture
    moves. A millionth of a mm makes no other place.
    """
    return _grid_at(arch, round(station_mm, 6), size_mm, pixel, round(height_mm, 6))


@lru_cache(maxsize=128)
def _grid_at(
    arch: Arch, station_mm: float, size_mm: tuple[float, float], pixel: float, height_mm: float
) -> PictureGrid:
    return across_arch_grid(
        arch, station_mm, size_mm=size_mm, pixel_mm=pixel, centre_height_mm=height_mm
    )


def neighbour_words(n: int, step_mm: float, tooth: str, *, open_side: bool) -> str:
    """Name of the n-th neighbour along travel (from the patient's right to the left)."""
    return called(abs(n) * step_mm, _way(n > 0, tooth, open_side=open_side))


def _way(towards_left: bool, tooth: str, *, open_side: bool) -> str:
    if open_side:
        return "forward" if towards_left else "back"
    return way_along(towards_left, tooth)


def arch_map_place(volume: Volume, level: Level, height_mm: float) -> Place:
    """The whole scan parallel to the jaw plane, seen from below: the patient's right on the left.

    It does not depend on the arch, so that it stays where it is while the arch is traced.
    """
    right = across((1.0, 0.0, 0.0), level.up)
    forward = np.cross(right, level.up)
    k, j, i = volume.shape
    corners = volume.mm(
        np.array([[a, b, c] for a in (0, i - 1) for b in (0, j - 1) for c in (0, k - 1)])
    )
    u, v = corners @ right, corners @ forward
    size = (float(np.ptp(u)) + MAP_MARGIN_MM, float(np.ptp(v)) + MAP_MARGIN_MM)
    middle = (
        (u.min() + u.max()) / 2 * right
        + (v.min() + v.max()) / 2 * forward
        + (float(level.origin @ level.up) + height_mm) * level.up
    )
    grid = PictureGrid.of_size(
        origin=middle, right=right, up=forward, size_mm=size, pixel_mm=max(0.25, max(size) / 420)
    )
    if abs(height_mm) < 0.05:
        at = say("pictures.places.jaw-plane")
    elif height_mm > 0:
        at = say("pictures.places.above-the-jaw-plane", height_mm=height_mm)
    else:
        at = say("pictures.places.below-the-jaw-plane", height_mm=-height_mm)
    return Place(
        grid=grid,
        title="",
        subtitle=at,
        sides=Sides(
            left=patient_letters(-right),
            right=patient_letters(right),
            top=patient_letters(forward),
            bottom=patient_letters(-forward),
        ),
    )


def panorama_sides(ribbon: Ribbon) -> Sides:
    """R and L at the ends of the panorama, from the directions of its arch.

    While the side is open neither is said.
    """
    up = ribbon.arch.level.up
    vertical = {"top": patient_letters(up), "bottom": patient_letters(-up)}
    if ribbon.arch.side_is_open:
        return Sides(left="", right="", **vertical)
    return Sides(left="R", right="L", **vertical)


def pixel_mm(volume: Volume) -> float:
    """Half the smallest voxel edge, within 0.12 to 0.2 mm."""
    return float(np.clip(volume.voxel_mm.min() / 2, 0.12, 0.2))


def _through_axis(
    session: Session, arch: Arch, volume: Volume, fixture: Fixture, turn_deg: float
) -> Place:
    frame = fixture_frame(fixture, arch)
    grid = through_axis_grid(
        fixture, frame, turn_deg=turn_deg, size_mm=SECTION_MM, pixel_mm=pixel_mm(volume)
    )
    open_side = _untold(session, arch)
    sides = sides_of(
        grid,
        None if open_side else frame.b,
        None if open_side else frame.m,
        jaw=session.guide.jaw,
        named=frame.named_by_tooth,
    )
    named = (
        str(Tooth.of(fixture.tooth).words())
        if fixture.tooth
        else say("pictures.places.fixture", id=fixture.id)
    )
    return Place(
        grid=grid,
        title=plane_words(turn_deg, named=frame.named_by_tooth, jaw=session.guide.jaw),
        subtitle=named,
        sides=sides,
        subject=fixture.id,
    )


def _untold(session: Session, arch: Arch) -> bool:
    """True while no picture may say cheek or tongue, mesial or distal."""
    return arch.side_is_open or bool(session.side.against)


def _across_sides(grid: PictureGrid, jaw: Jaw | None, *, untold: bool) -> Sides:
    """Words at a section's edges; while the side is open no cheek and no tongue is said."""
    return _sides_in(language(), grid, jaw, untold)


@lru_cache(maxsize=128)
def _sides_in(_language: str, grid: PictureGrid, jaw: Jaw | None, untold: bool) -> Sides:
    """Remembered like the grid: a step shows most of the neighbours again.

    A section across the arch has *buccal* on its right by definition (`across_arch_grid`).
    """
    return sides_of(grid, None if untold else grid.right, None, jaw=jaw, named=True)


def _subject_near(session: Session, station_mm: float) -> str:
    """Fixture or site within 4 mm: whose distances may lie in or near this section."""
    places = [(abs(at - station_mm), subject) for at, subject, _tooth in session.subjects]
    gap, subject = min(places, default=(1e9, ""))
    return subject if gap <= 4.0 else ""
