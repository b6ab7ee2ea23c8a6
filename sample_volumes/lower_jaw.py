"""An invented lower jaw with a gap at 36, as exact functions of the jaw frame.

Jaw frame: x to the patient's left, y to posterior, z to superior, mm; z = 0 is the occlusal
plane, x = y = 0 the arch between the central incisors. Sizes follow published means for the
first-molar site (canal 3.0 mm, about 6.6 mm from the buccal and 4 mm from the lingual surface,
17 mm below the crest of the neighbours, 8.8 mm above the lower border; undercut of about 2.4 mm
at 50 degrees, 2 mm above the canal).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from sample_volumes.mouth import (
    Crown,
    Root,
    Spot,
    Stent,
    Teeth,
    near_line,
    placed,
    simple_tooth,
    stent_tissues,
)
from sample_volumes.shapes import (
    ArchLine,
    Array,
    Profile,
    Tissue,
    both,
    bump,
    round_cone,
    step,
    through,
    tube,
)

ARCH = ArchLine()
GAP = 37.0
"""Station of the middle of the gap at 36."""
END = 72.0
"""Station behind the last tooth where this jaw ends, far outside every scanned field."""

_MOLAR_BUCCAL = Profile(
    (-40, 5), (-37, 6.4), (-33, 7.9), (-28.4, 8.2), (-24, 7.3), (-19, 6.0), (-15, 5.0),
    (-12.5, 4.3), (-8, 3.4),
)  # fmt: skip
_MOLAR_LINGUAL = Profile(
    (-40, 3.8), (-37, 4.8), (-33, 5.5), (-29, 5.2), (-27, 5.0), (-24.9, 5.3), (-23, 6.8),
    (-22, 7.4), (-20.8, 7.7), (-19.5, 7.4), (-18, 6.7), (-15, 5.5), (-12.5, 4.6), (-8, 3.6),
)  # fmt: skip
_FRONT_BUCCAL = Profile((-40, 5), (-37, 6), (-33, 6.5), (-26, 5), (-18, 3.9), (-12, 3.3), (-8, 2.7))
_FRONT_LINGUAL = Profile(
    (-40, 5), (-37, 6), (-33, 6.8), (-28, 6.5), (-20, 5), (-12, 3.5), (-8, 2.9)
)


_SIZES = {
    "1": (2.6, (5.0, 6.0, 12.0)),
    "2": (7.85, (5.5, 6.4, 13.0)),
    "3": (14.1, (7.0, 7.6, 15.5)),
    "4": (21.1, (7.0, 7.6, 14.0)),
}
_COARSE = [
    simple_tooth(side + n, sign * s, sizes, up=-1.0)
    for side, sign in (("3", 1), ("4", -1))
    for n, (s, sizes) in _SIZES.items()
]
ROOTS = (
    Root(
        tooth="35",
        name="root-35",
        marks=((28.0, 0.0, -7.0), (28.1, 0.1, -14.5), (28.7, 0.4, -21.0)),
        diameters_mm=(5.4, 2.2),
    ),
    Root(
        tooth="37",
        name="root-37-mesial",
        marks=((45.4, 0.0, -9.0), (44.9, 0.1, -15.0), (45.5, -0.2, -21.0)),
        diameters_mm=(4.6, 2.2),
    ),
    Root(
        tooth="37",
        name="root-37-distal",
        marks=((50.2, 0.0, -9.0), (50.6, 0.0, -15.0), (51.2, -0.2, -20.5)),
        diameters_mm=(4.6, 2.2),
    ),
    *(root for _, root in _COARSE),
)
CROWNS = (
    Crown(tooth="35", station=28.0, half_mm=(3.4, 4.0, 4.4), height=-4.0),
    Crown(tooth="37", station=47.8, half_mm=(5.2, 5.0, 4.6), height=-4.6),
    *(crown for crown, _ in _COARSE),
)
CANAL_MARKS = (
    (60.0, -2.6, -23.5),
    (55.0, -1.8, -26.0),
    (50.0, -0.9, -27.6),
    (46.0, -0.4, -28.3),
    (42.0, -0.1, -28.5),
    (38.0, 0.1, -28.4),
    (34.0, 0.4, -28.3),
    (29.5, 1.4, -27.9),
)
CANAL_DIAMETER = 3.0
LOOP_MARKS = (
    (29.5, 1.4, -27.9),
    (27.4, 2.3, -27.5),
    (26.0, 3.6, -26.7),
    (26.6, 5.2, -25.9),
    (28.4, 7.6, -25.0),
)
LOOP_DIAMETER = 2.4
FORAMEN_DIAMETER = 3.2
FORAMEN = {"mesial": 26.8, "distal": 30.0, "height": -25.0, "rise": 1.6}
THIN = (39.5, -17.0)
"""Station and height where the buccal cortex is 0.5 mm thick."""
STENT = Stent(middle=38.5, half_length=13.5, axis=((37.0, 0.6, 2.0), (37.1, 0.2, -9.6)))


def crest_height(s: Array) -> Array:
    """Height of the crest's flat part, mm, before rounding and slope."""
    return -10.0 - 2.5 * bump(s, 33.2, 41.2, 1.3)


def border_height(s: Array) -> Array:
    """Height of the lower border, mm."""
    return -38.8 - 0.9 * (1.0 - step(np.abs(s), 10.0, 30.0))


def _sides(s: Array, r: Array, z: Array) -> tuple[Array, Array]:
    """Distances to the buccal and the lingual outline (divided by their slope)."""
    w = step(np.abs(s), 12.0, 36.0)
    h = np.clip(z, -40.0, -8.0)
    loss = 0.3 * bump(s, 33.2, 41.2, 1.3) * np.exp(-(((h + 13.0) / 3.0) ** 2))
    loss_slope = loss * (-2.0 * (h + 13.0) / 9.0)
    (mb, mb1), (ml, ml1) = _MOLAR_BUCCAL(h), _MOLAR_LINGUAL(h)
    (fb, fb1), (fl, fl1) = _FRONT_BUCCAL(h), _FRONT_LINGUAL(h)
    buccal, slope_b = w * mb + (1 - w) * fb - loss, w * mb1 + (1 - w) * fb1 - loss_slope
    lingual, slope_l = w * ml + (1 - w) * fl, w * ml1 + (1 - w) * fl1
    return (r - buccal) / np.sqrt(1 + slope_b**2), (-r - lingual) / np.sqrt(1 + slope_l**2)


def _ends(s: Array, r: Array, z: Array) -> tuple[Array, Array]:
    """Distances to the crest, which slopes a little to lingual at the gap, and to the border."""
    slope = 0.10 * bump(s, 33.2, 41.2, 1.3)
    crest = (z - crest_height(s) - slope * r) / np.sqrt(1 + slope**2)
    return crest, border_height(s) - z


def thickness(s: Array, z: Array) -> dict[str, Array]:
    """Cortex by plate, mm: buccal (0.5 at `THIN`), lingual, crest, border."""
    depth = np.clip((crest_height(s) - z) / 18.0, 0.0, 1.0)
    buccal = 1.1 + 1.2 * depth
    near = np.exp(-(((s - THIN[0]) / 2.6) ** 2) - (((z - THIN[1]) / 2.4) ** 2))
    return {
        "buccal": buccal + (0.5 - buccal) * near,
        "lingual": 1.5 + 0.6 * depth,
        "crest": 1.0 + 0.2 * np.cos(s / 2.0),
        "border": 3.0 + 0.0 * s,
    }


def outer(s: Array, r: Array, z: Array) -> Array:
    """Outer surface of the bone: negative inside, zero exactly on the surface."""
    buccal, lingual = _sides(s, r, z)
    crest, border = _ends(s, r, z)
    body = both(both(np.maximum(buccal, lingual), crest, 2.0), border, 3.5)
    return both(body, np.abs(s) - END, 3.0)


def inner(s: Array, r: Array, z: Array) -> Array:
    """Inner surface of the cortex: negative in the spongy bone."""
    buccal, lingual = _sides(s, r, z)
    crest, border = _ends(s, r, z)
    t = thickness(s, z)
    sides = np.maximum(buccal + t["buccal"], lingual + t["lingual"])
    body = both(both(sides, crest + t["crest"], 1.4), border + t["border"], 1.5)
    return both(body, np.abs(s) - END + 2.0, 1.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class LowerJaw:
    """The jaw with everything in it; tissues come in painting order.

    Parameters
    ----------
    wall : float
        Thickness of the canal's wall distally, 0 to 1 (0.35 mm).
    metal_crown : str
        Tooth whose crown is metal, empty for none.
    """

    wall: float = 1.0
    metal_crown: str = ""
    site: float = GAP
    canal: Array = field(init=False)
    loop: Array = field(init=False)

    def __post_init__(self) -> None:
        for name, marks in (("canal", CANAL_MARKS), ("loop", LOOP_MARKS)):
            object.__setattr__(self, name, through(placed(ARCH, marks)))

    def outer(self, points: Array) -> Array:
        """Outer bone surface at (n, 3) jaw-frame points."""
        s, r = ARCH.stations(points[:, 0], points[:, 1])
        return outer(s, r, points[:, 2])

    def inner(self, points: Array) -> Array:
        """Inner cortex surface at (n, 3) jaw-frame points."""
        s, r = ARCH.stations(points[:, 0], points[:, 1])
        return inner(s, r, points[:, 2])

    def tissues(self, points: Array) -> Iterator[Tissue]:
        """Yield (tissue, indices of the points near it, signed distance there), in order."""
        s, r = ARCH.stations(points[:, 0], points[:, 1])
        z = points[:, 2]
        everywhere = np.arange(len(points))
        bone = outer(s, r, z)
        yield "soft", everywhere, _soft(r, z, bone)
        spot = Spot(points=points, s=s, r=r, deep=-z)
        yield from stent_tissues(STENT, ARCH, spot, bone - 2.2)
        near = np.flatnonzero(bone < 1.0)
        yield "cortex", near, bone[near]
        yield "spongy", near, inner(s[near], r[near], z[near])
        for line, diameter in ((self.canal, CANAL_DIAMETER), (self.loop, LOOP_DIAMETER)):
            box = near_line(points, line, 3.0)
            inside = np.maximum(tube(points[box], line, diameter / 2, 1.5), bone[box] - 0.3)
            # The wall is seen distally and fades away towards the foramen.
            missing = 1.0 - self.wall * step(s[box], 30.0, 39.0)
            yield "wall", box, inside + 0.35 * missing
            yield "nerve", box, inside + 0.35
        mouth = placed(ARCH, LOOP_MARKS[-2:])
        box = near_line(points, mouth, 3.0)
        flare = round_cone(points[box], mouth, LOOP_DIAMETER - 0.7, FORAMEN_DIAMETER)
        yield "nerve", box, np.maximum(flare, bone[box] - 0.3)
        teeth = Teeth(arch=ARCH, roots=ROOTS, crowns=CROWNS, metal_crown=self.metal_crown)
        yield from teeth.tissues(spot)


def _soft(r: Array, z: Array, bone: Array) -> Array:
    """Gum, cheek, tongue and floor of the mouth."""
    gum = bone - 2.2
    cheek = np.maximum(11.5 - 0.006 * (z + 20) ** 2 - r, r - 24.0 - 2.0 * np.cos(z / 9.0))
    fold = np.maximum(z + 19.5 + 0.4 * np.abs(r - 7.5), r - 20.0)
    tongue = np.maximum(r + 12.0 + 1.5 * np.cos(z / 6.0), z + 3.0 + 0.02 * (r + 24.0) ** 2)
    below = np.maximum(z + 23.0 + 0.05 * r, r - 22.0)
    return np.minimum.reduce([gum, cheek, np.maximum(fold, -r), tongue, below])


def surface_offset(station: float, height: float) -> float:
    """Buccal offset of the outer bone surface at a station and height, mm."""
    low, high = 0.0, 14.0
    for _ in range(60):
        mid = 0.5 * (low + high)
        inside = outer(np.array([station]), np.array([mid]), np.array([height]))[0] < 0
        low, high = (mid, high) if inside else (low, mid)
    return low
