"""How high hard tissue reaches over a plane, column by column."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from core.geometry import Array, unit
from core.proposing.coarse import EDGE_MM
from core.proposing.hard import Hard

DEEPEST_MM, HIGHEST_MM = -17.0, 5.0
"""Tops are looked for between these heights over the plane: a crest where teeth are missing lies
some 8 to 13 mm below the chewing surfaces (common practice, no source)."""
NONE = -99.0
"""Height of a column without a top."""


@dataclass(frozen=True, eq=False)
class Heights:
    """Tops of hard tissue over a plane.

    Parameters
    ----------
    top : (V, U)
        Height of the top over the plane, mm; `NONE` where there is none.
    origin : (3,) turned mm
        Place of column (0, 0) on the plane.
    u, v, normal : (3,)
        Unit directions of columns, rows and heights, turned.
    """

    top: Array
    origin: Array
    u: Array
    v: Array
    normal: Array

    def places(self, uv: Array) -> Array:
        """(n, 2) columns and rows → (n, 3) turned mm on the plane."""
        return np.asarray(self.origin + EDGE_MM * (uv[:, :1] * self.u + uv[:, 1:] * self.v))

    def flat(self, places: Array) -> Array:
        """(n, 3) turned mm → (n, 2) columns and rows of their feet."""
        off = (places - self.origin) / EDGE_MM
        return np.stack([off @ self.u, off @ self.v], axis=1)


def heights(
    hard: Hard,
    origin: Array,
    normal: Array,
    *,
    between_mm: tuple[float, float] = (DEEPEST_MM, HIGHEST_MM),
) -> Heights:
    """Tops over the plane through a place, with a unit normal.

    Parameters
    ----------
    hard : Hard
    origin : (3,) patient LPS mm
    normal : (3,) unit direction, patient LPS
    between_mm : (lowest, highest), optional
        Tops beyond are left out.
    """
    u = unit(np.array([normal[2], 0.0, -normal[0]]))
    v = np.asarray(np.cross(normal, u))
    off = hard.surface - origin
    height = off @ normal
    near = (height > between_mm[0]) & (height < between_mm[1])
    flat = np.stack([off[near] @ u, off[near] @ v], axis=1)
    height = height[near]
    if not len(flat):
        return Heights(top=np.full((1, 1), NONE), origin=origin, u=u, v=v, normal=normal)
    low = flat.min(axis=0) - 3.0 * EDGE_MM
    columns, rows = np.rint((flat - low) / EDGE_MM).astype(int).T
    top = np.full((int(rows.max()) + 4, int(columns.max()) + 4), NONE)
    np.maximum.at(top, (rows, columns), height)
    # A turned grid leaves columns between two others empty.
    top = np.where(top == NONE, _bridged(top), top)
    return Heights(top=top, origin=origin + low[0] * u + low[1] * v, u=u, v=v, normal=normal)


def _bridged(top: Array) -> Array:
    """The lower of two neighbours on opposite sides; the highest of such pairs."""
    pairs = [np.minimum(np.roll(top, 1, axis=axis), np.roll(top, -1, axis=axis)) for axis in (0, 1)]
    return np.asarray(np.maximum(*pairs))
