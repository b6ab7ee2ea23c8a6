"""The virtual fixture: a solid of revolution with a size and a pose."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from core.geometry import Array, unit, vector


@dataclass(frozen=True, slots=True, kw_only=True)
class FixtureSize:
    """Generic size of a fixture, mm.

    Radius by depth is the polyline (0, platform/2), (0.5, d/2), (taper_from, d/2),
    (length, apical/2), with flat ends.

    Parameters
    ----------
    diameter_mm, length_mm : float
    platform_diameter_mm, apical_diameter_mm : float or None
        Both the diameter when missing.
    taper_from_mm : float or None
        Depth at which the taper begins; 0.5 when missing.
    bone_level_mm : float
        Depth of the platform below the bone meant by its design.

    Raises
    ------
    ValueError
        Unless 0.5 <= taper_from < length, apical <= diameter and all sizes > 0.
    """

    diameter_mm: float
    length_mm: float
    platform_diameter_mm: float | None = None
    apical_diameter_mm: float | None = None
    taper_from_mm: float | None = None
    bone_level_mm: float = 0.0

    def __post_init__(self) -> None:
        sizes = (self.diameter_mm, self.length_mm, self.platform, self.apical)
        if not all(np.isfinite(s) and s > 0 for s in sizes) or not np.isfinite(self.bone_level_mm):
            raise ValueError("every size of a fixture must be a positive number of mm")
        if self.apical > self.diameter_mm:
            raise ValueError("the apical diameter cannot exceed the diameter")
        if not 0.5 <= self.taper < self.length_mm:
            raise ValueError("the taper must begin at 0.5 mm or deeper, and above the apex")

    @property
    def platform(self) -> float:
        """Platform diameter, mm."""
        return self.diameter_mm if self.platform_diameter_mm is None else self.platform_diameter_mm

    @property
    def apical(self) -> float:
        """Apical diameter, mm."""
        return self.diameter_mm if self.apical_diameter_mm is None else self.apical_diameter_mm

    @property
    def taper(self) -> float:
        """Depth at which the taper begins, mm."""
        return 0.5 if self.taper_from_mm is None else self.taper_from_mm

    @property
    def profile(self) -> Array:
        """(4, 2) depth and radius in mm, from the platform to the apex."""
        return np.array(
            [
                (0.0, self.platform / 2),
                (0.5, self.diameter_mm / 2),
                (self.taper, self.diameter_mm / 2),
                (self.length_mm, self.apical / 2),
            ]
        )

    @property
    def is_convex(self) -> bool:
        """False where a platform wider than the body makes a waist; then the hull is used."""
        return self.platform <= self.diameter_mm

    def radius_at(self, depth_mm: ArrayLike) -> Array:
        """Radius of the profile at depths from the platform, mm; NaN beyond the ends."""
        depth = np.asarray(depth_mm, dtype=np.float64)
        p = self.profile
        r = np.interp(depth, p[:, 0], p[:, 1])
        return np.where((depth < 0) | (depth > self.length_mm), np.nan, r)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fixture:
    """A fixture in the jaw.

    Parameters
    ----------
    id : str
    tooth : str
        ISO 3950 two-digit number, or empty.
    platform : (3,) patient LPS mm
        Centre of the platform.
    towards_apex : (3,)
        Unit axis from platform to apex (made unit here).
    size : FixtureSize
        The planned one: all that is measured of a fixture is measured of it.
    other_size : FixtureSize or None
        Another size looked at in the same place and never planned: shown beside it, no more.
        The planned size itself is no other one: then there is none.
    """

    id: str
    tooth: str = ""
    platform: Array
    towards_apex: Array
    size: FixtureSize
    other_size: FixtureSize | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "platform", vector(self.platform))
        object.__setattr__(self, "towards_apex", unit(self.towards_apex))
        if self.other_size == self.size:
            object.__setattr__(self, "other_size", None)

    @property
    def a(self) -> Array:
        """Unit axis from apex to platform: *a* of the fixture frame."""
        return vector(-self.towards_apex)

    @property
    def apex(self) -> Array:
        """Centre of the apical end, patient LPS mm."""
        return self.on_axis(self.size.length_mm)

    def on_axis(self, depth_mm: float) -> Array:
        """Point of the axis at a depth from the platform, patient LPS mm."""
        return vector(self.platform + depth_mm * self.towards_apex)
