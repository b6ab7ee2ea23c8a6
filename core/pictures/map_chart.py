"""Maps of the whole jaw: the arch seen from below, and the panorama along it."""

from __future__ import annotations

import numpy as np

from core.arch import Arch
from core.drawing import Chart, Line, Sides, patient_letters, window_of_volume
from core.geometry import PictureGrid, across
from core.image.ribbon import panorama
from core.image.volume import Volume
from core.pictures.chart_parts import bar, bar_label, not_scanned, sides_of
from core.pictures.overlay import arch_map_overlay, panorama_overlay, picture_height_mm
from core.plans.plan import Plan
from core.words.catalogue import say


def arch_map_chart(
    volume: Volume,
    plan: Plan,
    arch: Arch,
    *,
    station_mm: float | None = None,
    height_mm: float = 0.0,
    pixel_mm: float = 0.4,
    slab_mm: float = 3.0,
    window: tuple[float, float] | None = None,
) -> Chart:
    """Picture parallel to the jaw plane, seen from below: the patient's right on the left.

    With the arch, its stations each 10 mm, the fixtures, and the line of one section.

    Parameters
    ----------
    volume : Volume
    plan : Plan
    arch : Arch
    station_mm : float or None
        Along the arch, mm.
    height_mm : float, optional
        mm.
    pixel_mm : float, optional
        mm.
    slab_mm : float, optional
        Thickness of the slab, mm; 0 for a plane.
    window : (low, high) or None
        Grey values shown as black and white.
    """
    grid = _over_arch(arch, pixel_mm, height_mm)
    overlay = arch_map_overlay(plan, arch, grid)
    lines = list(overlay.lines)
    if station_mm is not None:
        frame = arch.frame(station_mm)
        ends = np.stack([frame.origin - 8 * frame.buccal, frame.origin + 8 * frame.buccal])
        lines.append(Line(style="site line", points=grid.uv_mm(ends)[:, :2]))
    grey = volume.picture(grid, slab_mm=slab_mm)
    return Chart(
        title=say("pictures.chart.arch-map"),
        subtitle=_height_words(height_mm, slab_mm),
        grey=grey,
        pixel_mm=pixel_mm,
        window=window or window_of_volume(volume),
        sides=sides_of(grid, None, None, jaw=plan.known_jaw, named=False),
        lines=(*not_scanned(grey, pixel_mm), *lines, *bar(grid)),
        labels=(*overlay.labels, bar_label(grid)),
        grid=grid,
    )


def panorama_chart(
    volume: Volume,
    plan: Plan,
    arch: Arch,
    *,
    station_mm: float | None = None,
    heights_mm: tuple[float, float] | None = None,
    pixel_mm: float = 0.3,
    thickness_mm: float = 6.0,
    window: tuple[float, float] | None = None,
) -> Chart:
    """Panorama along the arch: the patient's right on the left, *up* up, true mm along the arch.

    Parameters
    ----------
    volume : Volume
    plan : Plan
    arch : Arch
    station_mm : float or None
        Along the arch, mm.
    heights_mm : (from, to) mm or None
    pixel_mm : float, optional
        mm.
    thickness_mm : float, optional
        mm.
    window : (low, high) or None
        Grey values shown as black and white.
    """
    if heights_mm is None:
        middle = picture_height_mm(plan, arch, arch.length_mm / 2)
        heights_mm = (middle - 20.0, middle + 20.0)
    grey, ribbon = panorama(
        volume, arch, heights_mm=heights_mm, pixel_mm=pixel_mm, thickness_mm=thickness_mm
    )
    overlay = panorama_overlay(plan, arch, ribbon)
    lines = list(overlay.lines)
    if station_mm is not None:
        u = station_mm - arch.length_mm / 2
        bottom = -ribbon.rows * pixel_mm / 2
        ends = np.array([[u, bottom + 5.0], [u, -bottom]])
        lines.append(Line(style="site line", points=ends))
    return Chart(
        title=say("pictures.chart.panorama"),
        subtitle=say("pictures.chart.along-the-arch", thickness_mm=thickness_mm),
        grey=grey,
        pixel_mm=pixel_mm,
        window=window or window_of_volume(volume),
        sides=Sides(left="R", right="L", top=patient_letters(arch.level.up), bottom=""),
        lines=(*not_scanned(grey, pixel_mm), *lines),
        labels=overlay.labels,
    )


def _height_words(height_mm: float, slab_mm: float) -> str:
    if not height_mm:
        return say("pictures.chart.at-jaw-plane", slab_mm=slab_mm)
    if height_mm > 0:
        return say("pictures.chart.above-jaw-plane", height_mm=height_mm, slab_mm=slab_mm)
    return say("pictures.chart.below-jaw-plane", height_mm=-height_mm, slab_mm=slab_mm)


def _over_arch(arch: Arch, pixel_mm: float, height_mm: float) -> PictureGrid:
    """Grid parallel to the jaw plane over the whole arch, seen from below, anterior on top."""
    up = arch.level.up
    right = across((1.0, 0.0, 0.0), up)
    forward = np.cross(right, up)
    line = arch.curve.polyline(0.05)[1]
    u, v = line @ right, line @ forward
    middle = line.mean(axis=0)
    centre = middle + ((u.min() + u.max()) / 2 - middle @ right) * right
    centre = centre + ((v.min() + v.max()) / 2 - middle @ forward) * forward
    return PictureGrid.of_size(
        origin=centre + height_mm * up,
        right=right,
        up=forward,
        size_mm=(float(np.ptp(u)) + 18.0, float(np.ptp(v)) + 18.0),
        pixel_mm=pixel_mm,
    )
