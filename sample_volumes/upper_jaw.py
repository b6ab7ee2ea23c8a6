"""An invented upper jaw with a gap at 15 below the sinus floor, as exact functions.

Frame as in `lower_jaw`: z = 0 is the occlusal plane, z grows to superior, into the jaw.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from sample_volumes.mouth import Crown, Root, Spot, Stent, Teeth, simple_tooth, stent_tissues
from sample_volumes.shapes import ArchLine, Array, Profile, Tissue, both, bump, step

ARCH = ArchLine(front_radius=23.0, turn_deg=60.0, side_radius=75.0)
GAP = -33.0
"""Station of the middle of the gap at 15, on the patient's right."""
END = 66.0
SEPTUM = 42.4
"""Distance along the arch from the midline at which a septum crosses the sinus."""
THIN = (-35.4, 15.2)
"""Station and height where the buccal cortex is 0.5 mm thick."""

_BUCCAL = Profile(
    (8, 3.6), (11, 4.4), (14, 5.0), (18, 5.8), (22, 6.6), (27, 7.6), (34, 8.6), (44, 9)
)
_PALATAL = Profile(
    (8, 3.9), (11, 4.9), (14, 5.8), (17, 6.9), (20, 8.0), (24, 8.8), (44, 9.0),
)  # fmt: skip

_SIZES = {
    "1": (4.3, (8.5, 7.0, 13.0)),
    "2": (11.8, (6.5, 6.4, 12.5)),
    "3": (18.8, (7.5, 8.0, 16.0)),
    "4": (26.0, (7.0, 8.6, 13.0)),
}
_SIMPLE = [
    simple_tooth(side + n, sign * s, sizes, up=1.0)
    for side, sign in (("1", -1), ("2", 1))
    for n, (s, sizes) in _SIZES.items()
]


def _molar(tooth: str, s: float, half: float) -> tuple[Crown, tuple[Root, ...]]:
    sign = np.sign(s)
    spots = (("mesial", s - 2.6 * sign, 1.9), ("distal", s + 2.4 * sign, 1.8), ("palatal", s, -3.0))
    roots = tuple(
        Root(
            tooth=tooth,
            name=f"root-{tooth}-{name}",
            marks=(
                (at, 0.75 * r, 8.5),
                (at, r, 14.0),
                (at + 0.5 * sign, 1.15 * r, 19.2 if r > 0 else 20.4),
            ),
            diameters_mm=(4.0, 2.0),
        )
        for name, at, r in spots
    )
    return Crown(tooth=tooth, station=s, half_mm=(half, 5.4, 4.5), height=4.4), roots


_MOLARS = [
    _molar("16", -41.6, 4.9), _molar("17", -51.2, 4.5), _molar("26", 41.6, 4.9),
    _molar("27", 51.2, 4.5),
]  # fmt: skip
ROOTS = (*(root for _, roots in _MOLARS for root in roots), *(root for _, root in _SIMPLE))
CROWNS = (*(crown for crown, _ in _MOLARS), *(crown for crown, _ in _SIMPLE))
STENT = Stent(middle=-34.0, half_length=12.5, axis=((-33.0, -0.3, -2.0), (-33.1, -0.1, 9.1)))


def _gap(s: Array) -> Array:
    return bump(s, -36.6, -29.4, 1.1)


def _solid(s: Array, r: Array, z: Array) -> tuple[Array, Array, Array]:
    """Distances to the buccal and the palatal outline and to the crest."""
    h = np.clip(z, 8.0, 44.0)
    (b, b1), (p, p1) = _BUCCAL(h), _PALATAL(h)
    gap = _gap(s)
    shape = np.exp(-(((h - 12.5) / 3.0) ** 2))
    b, b1 = b - 0.2 * gap * shape, b1 + 0.2 * gap * shape * 2.0 * (h - 12.5) / 9.0
    slope = 0.08 * gap
    crest = (10.0 + 1.7 * gap + slope * r - z) / np.sqrt(1 + slope**2)
    # The palate's underside joins the ridge in a hollow of 4 mm radius: a rounded union.
    vault = 22.8 + 0.01 * (r + 8.0) - z
    palatal = -both((r + p) / np.sqrt(1 + p1**2), -vault, 4.0)
    return (r - b) / np.sqrt(1 + b1**2), palatal, crest


def sinus(s: Array, r: Array, z: Array) -> Array:
    """Bony wall of the maxillary sinus: negative in the cavity."""
    a = np.abs(s)
    dip = 1.8 * np.exp(-(((a - 46.0) / 6.0) ** 2)) - 0.8 * (1.0 - step(a, 23.0, 31.0))
    floor = 24.1 - dip + 0.035 * (r + 0.5) ** 2
    b, b1 = _BUCCAL(np.clip(z, 8.0, 44.0))
    walls = np.maximum((r - b + 1.0) / np.sqrt(1 + b1**2), -r - 5.6)
    box = both(both(walls, floor - z, 3.0), np.maximum(21.0 - a, a - 60.0), 3.0)
    wedge = np.maximum(np.abs(a - SEPTUM) - 0.55 - 0.10 * np.maximum(30.0 - z, 0.0), z - 30.0)
    return both(box, -wedge, 0.5)


def nose(x: Array, s: Array, r: Array, z: Array) -> Array:
    """Nasal cavity: negative inside, parted by the septum in the midline."""
    front = np.maximum(np.abs(s) - 62.0, -r - 60.0)
    box = both(both(r + 7.0, 26.0 - z, 2.5), front, 2.0)
    turbinate = np.hypot(r + 11.5, z - 32.0) - 2.8
    return np.maximum(np.maximum(box, 0.9 - np.abs(x)), -turbinate)


def _thickness(s: Array, z: Array) -> Array:
    """Buccal cortex, mm: 0.5 at `THIN`."""
    plain = 1.0 + 0.03 * (z - 10.0)
    near = np.exp(-(((s - THIN[0]) / 2.4) ** 2) - (((z - THIN[1]) / 2.2) ** 2))
    return np.asarray(plain + (0.5 - plain) * near)


@dataclass(frozen=True, slots=True, kw_only=True)
class UpperJaw:
    """The jaw with everything in it; see `lower_jaw.LowerJaw`."""

    metal_crown: str = ""

    def _at(self, points: Array) -> tuple[Array, Array, Array, Array]:
        s, r = ARCH.stations(points[:, 0], points[:, 1])
        return points[:, 0], s, r, points[:, 2]

    def outline(self, points: Array) -> Array:
        """Outer surface without the cavities: the face, the crest, the palate."""
        _, s, r, z = self._at(points)
        buccal, palatal, crest = _solid(s, r, z)
        body = both(np.maximum(buccal, palatal), crest, 1.9)
        return both(body, np.abs(s) - END, 3.0)

    def sinus(self, points: Array) -> Array:
        """Bony wall of the sinus, negative in the cavity."""
        _, s, r, z = self._at(points)
        return sinus(s, r, z)

    def outer(self, points: Array) -> Array:
        """Outer bone surface, sinus and nasal cavity left out."""
        return np.maximum(self.outline(points), -self._cavities(points))

    def inner(self, points: Array) -> Array:
        """Inner surface of the cortex: negative in the spongy bone."""
        _, s, r, z = self._at(points)
        buccal, palatal, crest = _solid(s, r, z)
        sides = np.maximum(buccal + _thickness(s, z), palatal + 1.3)
        body = both(sides, crest + 0.9, 1.2)
        return np.maximum(body, 0.9 - self._cavities(points))

    def _cavities(self, points: Array) -> Array:
        x, s, r, z = self._at(points)
        return np.minimum(sinus(s, r, z), nose(x, s, r, z))

    def tissues(self, points: Array) -> Iterator[Tissue]:
        """Yield (tissue, indices of the points near it, signed distance there), in order."""
        _, s, r, z = self._at(points)
        everywhere = np.arange(len(points))
        outline, cavities = self.outline(points), self._cavities(points)
        yield "soft", everywhere, _soft(r, z, outline)
        spot = Spot(points=points, s=s, r=r, deep=z)
        yield from stent_tissues(STENT, ARCH, spot, outline - 2.2)
        near = np.flatnonzero(outline < 1.0)
        yield "cortex", near, np.maximum(outline, -cavities)[near]
        yield "spongy", near, self.inner(points[near])
        inside = np.flatnonzero(cavities < 1.0)
        yield "soft", inside, cavities[inside]
        lining = 1.1 + 0.9 * np.exp(-(((np.abs(s[inside]) - 47.0) / 4.0) ** 2))
        yield "air", inside, cavities[inside] + lining
        teeth = Teeth(arch=ARCH, roots=ROOTS, crowns=CROWNS, metal_crown=self.metal_crown)
        yield from teeth.tissues(spot)


def _soft(r: Array, z: Array, outline: Array) -> Array:
    """Gum, cheek, tongue, and the face above."""
    gum = outline - 2.2
    cheek = np.maximum(12.0 - 0.01 * (z - 12) ** 2 - r, r - 25.0 - 2.0 * np.cos(z / 9.0))
    fold = np.maximum(19.0 + 0.3 * np.abs(r - 8.0) - z, r - 24.0)
    tongue = np.maximum(r + 10.0 + 2.0 * np.cos(z / 6.0), z - 7.0 + 0.02 * (r + 24.0) ** 2)
    return np.minimum.reduce([gum, cheek, np.maximum(fold, -r), tongue])


def floor_height(station: float, offset: float) -> float:
    """Height of the bony sinus floor at a station and offset, mm."""
    low, high = 14.0, 30.0
    for _ in range(60):
        mid = 0.5 * (low + high)
        free = sinus(np.array([station]), np.array([offset]), np.array([mid]))[0] < 0
        low, high = (low, mid) if free else (mid, high)
    return high
