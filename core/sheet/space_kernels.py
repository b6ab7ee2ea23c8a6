"""The compiled kernel of `core.sheet.space_picture`: triangles into a picture, the nearest seen.

Everything it calls stands in this file: numba's cache does not see changes in another one.
"""

from __future__ import annotations

import math
from typing import Any

from core import kernel_cache

kernel_cache.prepare()

from numba import njit  # noqa: E402  the cache folder must be named first


@njit(cache=True, nogil=True)
def draw_triangles(
    places: Any, triangles: Any, shade: Any, height: Any, depth: Any, shades: Any, heights: Any
) -> None:
    """Draw triangles into a picture, each pixel from the nearest.

    Parameters
    ----------
    places : (n, 3) float64
        Column, row and depth away from the eye.
    triangles : (m, 3) int64
    shade, height : (n,) float64
        Of each place; linear in between.
    depth, shades, heights : (rows, cols) float64
        Written where a triangle is nearer than what `depth` holds.
    """
    rows, cols = depth.shape
    for k in range(len(triangles)):
        a, b, c = triangles[k, 0], triangles[k, 1], triangles[k, 2]
        ax, ay = places[a, 0], places[a, 1]
        bx, by = places[b, 0], places[b, 1]
        cx, cy = places[c, 0], places[c, 1]
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if abs(area) < 1e-9:
            continue
        left = max(math.ceil(min(ax, bx, cx)), 0)
        right = min(math.floor(max(ax, bx, cx)), cols - 1)
        top = max(math.ceil(min(ay, by, cy)), 0)
        low = min(math.floor(max(ay, by, cy)), rows - 1)
        for y in range(top, low + 1):
            for x in range(left, right + 1):
                u = ((bx - x) * (cy - y) - (by - y) * (cx - x)) / area
                v = ((cx - x) * (ay - y) - (cy - y) * (ax - x)) / area
                w = 1.0 - u - v
                if u < -1e-6 or v < -1e-6 or w < -1e-6:
                    continue
                away = u * places[a, 2] + v * places[b, 2] + w * places[c, 2]
                if away < depth[y, x]:
                    depth[y, x] = away
                    shades[y, x] = u * shade[a] + v * shade[b] + w * shade[c]
                    heights[y, x] = u * height[a] + v * height[b] + w * height[c]
