"""Flat sections: across the arch, and through a fixture's axis at any turn."""

from __future__ import annotations

from core.arch import Arch, FixtureFrame
from core.fixture import Fixture
from core.geometry import Array, PictureGrid, vector


def across_arch_grid(
    arch: Arch,
    station_mm: float,
    *,
    size_mm: tuple[float, float],
    pixel_mm: float,
    centre_height_mm: float = 0.0,
) -> PictureGrid:
    """Section across the arch, seen along the direction of travel.

    Buccal is on the right of the picture and *up* is up, in both jaws and on both sides, so
    crowns point down in the upper jaw.

    Parameters
    ----------
    arch : Arch
    station_mm : float
    size_mm : (width, height)
    pixel_mm : float
    centre_height_mm : float
        Height of the picture's centre over the jaw plane.
    """
    frame = arch.frame(station_mm)
    return PictureGrid.of_size(
        origin=frame.origin + centre_height_mm * frame.up,
        right=frame.buccal,
        up=frame.up,
        size_mm=size_mm,
        pixel_mm=pixel_mm,
    )


def through_axis_grid(
    fixture: Fixture,
    frame: FixtureFrame,
    *,
    turn_deg: float,
    size_mm: tuple[float, float],
    pixel_mm: float,
    centre_depth_mm: float | None = None,
) -> PictureGrid:
    """Plane through the fixture's axis at turn φ.

    The horizontal axis is b cos φ + m sin φ: 0° shows buccal on the right, 90° mesial, and 180°
    is the mirror of 0°. The vertical axis is that of ±a which points *up*.

    Parameters
    ----------
    fixture : Fixture
    frame : FixtureFrame
        Of the same fixture, see `core.arch.fixture_frame`.
    turn_deg : float
    size_mm : (width, height)
    pixel_mm : float
    centre_depth_mm : float, optional
        Depth below the platform that lies in the picture's centre; half the length by default.
    """
    depth = fixture.size.length_mm / 2 if centre_depth_mm is None else centre_depth_mm
    return PictureGrid.of_size(
        origin=fixture.on_axis(depth),
        right=frame.direction(turn_deg),
        up=upwards(frame),
        size_mm=size_mm,
        pixel_mm=pixel_mm,
    )


def upwards(frame: FixtureFrame) -> Array:
    """That of ±a, the fixture's axis, which has a positive part along *up*."""
    return frame.a if float(frame.a @ frame.station.up) >= 0 else vector(-frame.a)
