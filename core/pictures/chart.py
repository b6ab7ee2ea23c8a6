"""Sections: what is cut, what is drawn on it, and what it is called.

Each builder returns a `Chart`, the display list that paper, PNG and bench draw alike. Letters
and words at the edges come from patient coordinates, never from a picture. Section across the
arch and plane through the fixture's axis always carry different titles.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from core.arch import Arch, fixture_frame, station_words
from core.bone.bone_levels import BoneLevels
from core.drawing import Chart, Line, Sides, window_of_volume
from core.fixture import Fixture
from core.geometry import PictureGrid
from core.image.section import across_arch_grid, through_axis_grid
from core.image.volume import Volume
from core.measurement import Measurement
from core.measuring.ledger import Ledger
from core.pictures.chart_parts import bar, bar_label, not_scanned, sides_of
from core.pictures.cortex_lines import cortex_lines
from core.pictures.neighbour_words import neighbour_words, way_along
from core.pictures.overlay import picture_height_mm, section_overlay
from core.plans.plan import Plan
from core.words.catalogue import say

SECTION_SIZE_MM = (46.0, 60.0)
_ALONG_DEG = 90.0
"""Turn of the plane that lies along the arch."""


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """How a section is looked at.

    Parameters
    ----------
    size_mm : (width, height)
    pixel_mm : float or None
        Half the smallest voxel edge when left out.
    window : (low, high) or None
        Of the whole volume when left out.
    slab_mm : float
        For looking only.
    most_witnesses : int
        How many measured distances are drawn, the worst first.
    drawn_at : float
        Scale of the print that labels are laid out for.
    bare : bool
        Without distance lines, numerals and bar, for the small neighbours.
    centre_depth_mm : float or None
        For planes through an axis: depth below the platform in the picture's middle; half the
        fixture's length when left out.
    levels : BoneLevels or None
        The scan's grey levels: the edges of the cortex are then drawn where the picture crosses
        the ridge. It takes some 60 ms a picture: for paper, not for a hand that moves.
    """

    size_mm: tuple[float, float] = SECTION_SIZE_MM
    pixel_mm: float | None = None
    window: tuple[float, float] | None = None
    slab_mm: float = 0.0
    most_witnesses: int = 5
    drawn_at: float = 1.0
    bare: bool = False
    centre_depth_mm: float | None = None
    levels: BoneLevels | None = None


PLAIN = View()


def across_arch_chart(
    volume: Volume,
    plan: Plan,
    arch: Arch,
    station_mm: float,
    ledger: Ledger | None = None,
    *,
    view: View = PLAIN,
) -> Chart:
    """Section across the arch with its chart.

    Parameters
    ----------
    volume, plan, arch
    station_mm : float
    ledger : Ledger, optional
        Whose measured distances are drawn where they lie in or near the picture's plane.
    view : View
    """
    grid = across_arch_grid(
        arch,
        station_mm,
        size_mm=view.size_mm,
        pixel_mm=view.pixel_mm or picture_pixel_mm(volume),
        centre_height_mm=picture_height_mm(plan, arch, station_mm),
    )
    frame = arch.frame(station_mm)
    subject = _subject_at(plan, arch, station_mm)
    words = str(station_words(arch, station_mm, plan.midline))
    head = _Head(
        title=say("pictures.chart.section"),
        subtitle=say("pictures.chart.region", tooth=subject.tooth, words=words)
        if subject.tooth
        else words,
        sides=sides_of(grid, frame.buccal, None, jaw=plan.known_jaw, named=True),
    )
    rows = () if ledger is None or not subject.id else ledger.of(subject.id)
    return _flat_chart(volume, plan, grid, head=head, rows=rows, view=view)


def through_axis_chart(
    volume: Volume,
    plan: Plan,
    arch: Arch,
    fixture: Fixture,
    ledger: Ledger | None = None,
    *,
    turn_deg: float = 0.0,
    view: View = PLAIN,
) -> Chart:
    """Plane through a fixture's axis at a turn (0° buccal, 90° mesial on the right).

    Parameters
    ----------
    volume : Volume
    plan : Plan
    arch : Arch
    fixture : Fixture
    ledger : Ledger or None
    turn_deg : float, optional
        About the axis, degrees.
    view : View, optional
    """
    frame = fixture_frame(fixture, arch)
    grid = through_axis_grid(
        fixture,
        frame,
        turn_deg=turn_deg,
        size_mm=view.size_mm,
        pixel_mm=view.pixel_mm or picture_pixel_mm(volume),
        centre_depth_mm=view.centre_depth_mm,
    )
    sides = sides_of(grid, frame.b, frame.m, jaw=plan.known_jaw, named=frame.named_by_tooth)
    head = _Head(
        title=plane_words(turn_deg, named=frame.named_by_tooth, jaw=plan.known_jaw),
        subtitle=say("pictures.chart.on-the-right", id=fixture.id, side=_first_lower(sides.right)),
        sides=sides,
    )
    rows = () if ledger is None else ledger.of(fixture.id)
    # Along the arch the plane runs through roots: their outlines are not those of the ridge.
    crosses = abs(np.sin(np.radians(turn_deg))) < 0.5
    view = view if crosses else replace(view, levels=None)
    return _flat_chart(volume, plan, grid, head=head, rows=rows, view=view)


def plane_words(turn_deg: float, *, named: bool, jaw: str | None) -> str:
    """What a plane through a fixture's axis is called.

    Parameters
    ----------
    turn_deg : float
        About the axis; 0° lies across the arch.
    named : bool
        False where no tooth names mesial and distal.
    jaw : {'lower', 'upper'} or None
        In the upper jaw *lingual* reads *palatal*.
    """
    turn = round(turn_deg, 1)
    if turn % 180.0 == 0.0:
        upper = jaw == "upper"
        key = "pictures.chart.buccopalatal-plane" if upper else "pictures.chart.buccolingual-plane"
        return say(key)
    if turn % 180.0 == _ALONG_DEG:
        key = "pictures.chart.mesiodistal-plane"
        return say(key) if named else say("pictures.chart.plane-along-the-arch")
    return say("pictures.chart.plane-rotated", turn_deg=turn)


def neighbour_charts(
    volume: Volume,
    plan: Plan,
    arch: Arch,
    station_mm: float,
    *,
    tooth: str = "",
    step_mm: float = 1.0,
    each_way: int = 3,
    size_mm: tuple[float, float] = (22.0, 34.0),
    window: tuple[float, float] | None = None,
) -> tuple[Chart, ...]:
    """Sections beside a station, from the patient's right to the left as on every picture.

    So they run the same way on screen and sheet, and as the panorama and the mesiodistal plane
    beside them: "3 mm mesial ... 3 mm distal" on the patient's left, the other way round on the
    right. Without a tooth they say to which of the patient's sides they lie.

    Parameters
    ----------
    volume : Volume
    plan : Plan
    arch : Arch
    station_mm : float
        Along the arch, mm.
    tooth : str, optional
        ISO 3950; empty where nobody named it.
    step_mm : float, optional
        mm.
    each_way : int, optional
    size_mm : (width, height) mm, optional
    window : (low, high) or None
        Grey values shown as black and white.
    """
    charts: list[Chart] = []
    for n in range(-each_way, each_way + 1):
        name = neighbour_words(abs(n) * step_mm, way_along(n > 0, tooth))
        view = View(size_mm=size_mm, window=window, bare=True, most_witnesses=0)
        chart = across_arch_chart(volume, plan, arch, station_mm + n * step_mm, view=view)
        charts.append(replace(chart, title=name, subtitle=""))
    return tuple(charts)


def picture_pixel_mm(volume: Volume) -> float:
    """Pixel of a printed section: half the smallest voxel edge, within 0.1 to 0.2 mm."""
    return float(np.clip(volume.voxel_mm.min() / 2, 0.1, 0.2))


@dataclass(frozen=True, slots=True)
class _Subject:
    id: str = ""
    tooth: str = ""


def _subject_at(plan: Plan, arch: Arch, station_mm: float) -> _Subject:
    """The fixture or site whose station this is (within half a millimetre)."""
    for fixture in plan.fixtures:
        if abs(arch.station(fixture.platform) - station_mm) < 0.5:
            return _Subject(fixture.id, fixture.tooth)
    for site in plan.sites:
        if abs(site.station_mm - station_mm) < 0.5:
            return _Subject(site.id, site.tooth)
    return _Subject()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Head:
    title: str
    subtitle: str
    sides: Sides


def _with_slab(subtitle: str, slab_mm: float) -> str:
    if not slab_mm:
        return subtitle
    return say("pictures.chart.slab", subtitle=subtitle, slab_mm=slab_mm)


def _first_lower(side: str) -> str:
    """``Buccal · L`` → ``buccal``; bare letters stay."""
    word = side.split(" · ", maxsplit=1)[0]
    return word if len(word) <= 2 else word.lower()


def _flat_chart(
    volume: Volume,
    plan: Plan,
    grid: PictureGrid,
    *,
    head: _Head,
    rows: Iterable[Measurement],
    view: View,
) -> Chart:
    grey = volume.picture(grid, slab_mm=view.slab_mm)
    overlay = section_overlay(
        plan, grid, rows, most_witnesses=view.most_witnesses, drawn_at=view.drawn_at,
        bare=view.bare,
    )  # fmt: skip
    cortex: list[Line] = []
    if view.levels is not None and plan.level is not None:
        upper = plan.known_jaw == "upper"
        cortex = cortex_lines(volume, view.levels, plan.level, grid, upper=upper)
    lines = (*not_scanned(grey, grid.pixel_mm), *cortex, *overlay.lines)
    return Chart(
        title=head.title,
        subtitle=_with_slab(head.subtitle, view.slab_mm),
        grey=grey,
        pixel_mm=grid.pixel_mm,
        window=view.window or window_of_volume(volume),
        sides=head.sides,
        lines=lines if view.bare else (*lines, *bar(grid)),
        dots=overlay.dots,
        labels=overlay.labels if view.bare else (*overlay.labels, bar_label(grid)),
        grid=grid,
    )
