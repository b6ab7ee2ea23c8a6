"""Inside and outside of a random jaw, compiled: one set of functions paints and tells the truth.

Jaw frame: the arch is a circle of radius R about (0, R) in the plane z = 0; a point is (s, w, h):
arc length from the site, distance outwards from the circle, height towards the crowns. A bone's
outer surface is the zero of ``(q / H)² + t² + b² - 1``: q across from the ridge's middle, H the
half width of that side at the depth u below the crest, t and b the rounding of crest and base.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

# Numbers of a jaw (the vector `v`).
(
    RADIUS, SIGN, SITE, ROUND_TOP, ROUND_BASE, BASE, CREST_CORTEX, BASE_CORTEX, TILT, CAVITY,
    CAVITY_WALL, CAVITY_ROUND, CAVITY_CORTEX, LINING, CANAL, CANAL_WALL, GUM, AIR_DOWN_TO,
) = range(18)  # fmt: skip
S_STEP, U_STEP = 0.1, 0.05
S_FIRST, U_FIRST = -80.0, -20.0
# Rows of the table by s, then of the table by u.
TOP, MIDDLE, WIDE, PLATES, FLOOR, CANAL_W, CANAL_H, SHADE = range(8)
HALF_B, HALF_L, PLATE_B, PLATE_L = range(4)
# Grey levels.
AIR, SOFT, MARROW, CORTEX, LINGUAL, WALL, NERVE, DENTINE, ENAMEL, LIGAMENT = range(10)
# A tooth's numbers.
T_X, T_Y, T_APEX, T_NECK, T_TIP, T_R_APEX, T_R_NECK, T_R_CROWN = range(8)
FAR = 1.0e3


@njit(cache=True)
def _row(table, row, x, first, step):
    at = (x - first) / step
    n = table.shape[1]
    if at <= 0.0:
        return table[row, 0]
    if at >= n - 1.0:
        return table[row, n - 1]
    i = int(at)
    f = at - i
    return table[row, i] * (1.0 - f) + table[row, i + 1] * f


@njit(cache=True)
def jaw_place(v, x, y, z):
    """(s, w, h) of a point of the jaw frame."""
    away = v[RADIUS] - y
    theta = math.atan2(x, away)
    return v[RADIUS] * theta - v[SITE], math.hypot(x, away) - v[RADIUS], v[SIGN] * z


@njit(cache=True)
def section_value(v, by_u, q, u, wide, share, floor, which, grow):
    """`implicit` from places in the cross-section; wide, share, floor are the tables' by s."""
    half_b = _row(by_u, HALF_B, u, U_FIRST, U_STEP) * wide
    half_l = _row(by_u, HALF_L, u, U_FIRST, U_STEP) * wide
    half = half_b if q > 0 else half_l
    if which == 0:
        a = q / (half + grow)
        t = max(0.0, (v[ROUND_TOP] - u) / (v[ROUND_TOP] + grow))
        b = max(0.0, (u - v[BASE] + v[ROUND_BASE]) / (v[ROUND_BASE] + grow))
        return a * a + t * t + b * b - 1.0
    if which == 1:
        half_b -= _row(by_u, PLATE_B, u, U_FIRST, U_STEP) * share
        half_l -= _row(by_u, PLATE_L, u, U_FIRST, U_STEP) * share
        if half_b + half_l < 0.6:
            return 1.0
        a = q / max(half_b if q > 0 else half_l, 0.1)
        rt = max(v[ROUND_TOP] - v[CREST_CORTEX], 0.4)
        t = max(0.0, (rt - u + v[CREST_CORTEX]) / rt)
        rb = max(v[ROUND_BASE] - v[BASE_CORTEX], 0.4)
        b = max(0.0, (u - v[BASE] + v[BASE_CORTEX] + rb) / rb)
        return a * a + t * t + b * b - 1.0
    if v[CAVITY] > FAR:
        return 1.0
    more = v[CAVITY_CORTEX] if which == 3 else -grow
    a = q / max(half - v[CAVITY_WALL] + more, 0.3)
    depth = u - floor + more
    # A lining thicker than the floor's rounding leaves no hollow over the floor.
    round_mm = max(v[CAVITY_ROUND] + more, 0.3)
    t = max(0.0, (round_mm - depth) / round_mm)
    return a * a + t * t - 1.0


@njit(cache=True)
def implicit(v, by_s, by_u, x, y, z, which, grow):
    """Negative inside: 0 the bone's outside, 1 its marrow, 2 the hollow beyond, 3 that and cortex.

    `grow` mm larger: for gum around the bone (0) and lining inside the hollow (2).
    """
    s, w, h = jaw_place(v, x, y, z)
    u = _row(by_s, TOP, s, S_FIRST, S_STEP) - h
    q = w - _row(by_s, MIDDLE, s, S_FIRST, S_STEP) - v[TILT] * max(u, -2.0)
    wide = _row(by_s, WIDE, s, S_FIRST, S_STEP)
    share = _row(by_s, PLATES, s, S_FIRST, S_STEP)
    floor = _row(by_s, FLOOR, s, S_FIRST, S_STEP)
    return section_value(v, by_u, q, u, wide, share, floor, which, grow)


@njit(cache=True)
def bone_sign(v, by_s, by_u, x, y, z):
    """Negative in bone: inside the outer surface and not in the hollow beyond."""
    out = implicit(v, by_s, by_u, x, y, z, 0, 0.0)
    if v[CAVITY] > FAR:
        return out
    return max(out, -implicit(v, by_s, by_u, x, y, z, 2, 0.0))


@njit(cache=True)
def sign_of(v, by_s, by_u, x, y, z, which):
    """As `implicit`; which 4: bone."""
    if which == 4:
        return bone_sign(v, by_s, by_u, x, y, z)
    return implicit(v, by_s, by_u, x, y, z, which, 0.0)


@njit(cache=True)
def signs(v, by_s, by_u, points, which):
    """(n,) of (n, 3) jaw-frame points."""
    out = np.empty(len(points))
    for i in range(len(points)):
        out[i] = sign_of(v, by_s, by_u, points[i, 0], points[i, 1], points[i, 2], which)
    return out


@njit(cache=True)
def normals(v, by_s, by_u, points):
    """(n, 3) outward unit normals of the outer surface."""
    out = np.empty_like(points)
    e = 0.02
    for i in range(len(points)):
        x, y, z = points[i]
        g = np.empty(3)
        g[0] = implicit(v, by_s, by_u, x + e, y, z, 0, 0.0) - implicit(
            v, by_s, by_u, x - e, y, z, 0, 0.0
        )
        g[1] = implicit(v, by_s, by_u, x, y + e, z, 0, 0.0) - implicit(
            v, by_s, by_u, x, y - e, z, 0, 0.0
        )
        g[2] = implicit(v, by_s, by_u, x, y, z + e, 0, 0.0) - implicit(
            v, by_s, by_u, x, y, z - e, 0, 0.0
        )
        out[i] = g / math.sqrt(g[0] ** 2 + g[1] ** 2 + g[2] ** 2)
    return out


@njit(cache=True)
def crossings(v, by_s, by_u, starts, ways, which, inwards, reach, step):
    """(n,) first place along rays where a sign turns negative (inwards) or positive; NaN: none."""
    out = np.full(len(starts), np.nan)
    for i in range(len(starts)):
        p, d = starts[i], ways[i]
        before = sign_of(v, by_s, by_u, p[0], p[1], p[2], which)
        t = 0.0
        while t < reach:
            t += step
            now = sign_of(v, by_s, by_u, p[0] + t * d[0], p[1] + t * d[1], p[2] + t * d[2], which)
            if (inwards and before >= 0 > now) or (not inwards and before < 0 <= now):
                low, high = t - step, t
                for _ in range(30):
                    mid = 0.5 * (low + high)
                    at = sign_of(
                        v, by_s, by_u,
                        p[0] + mid * d[0], p[1] + mid * d[1], p[2] + mid * d[2], which,
                    )  # fmt: skip
                    if (at < 0) == inwards:
                        high = mid
                    else:
                        low = mid
                out[i] = 0.5 * (low + high)
                break
            before = now
    return out


@njit(cache=True)
def _covered(v, by_u, q, u, wide, share, floor, which, grow, cell):
    """Share of a cell inside: a ramp of one cell across the surface."""
    g = section_value(v, by_u, q, u, wide, share, floor, which, grow)
    # |gradient| stays under about 6 / mm: half a cell off and further, it is not needed.
    if g > 3.0 * cell:
        return 0.0
    if g < -min(3.0 * cell, 0.98):
        return 1.0
    e = 0.02
    gq = (section_value(v, by_u, q + e, u, wide, share, floor, which, grow) - g) / e
    gu = (section_value(v, by_u, q, u + e, wide, share, floor, which, grow) - g) / e
    size = math.hypot(gq, gu - v[TILT] * gq)
    if size < 1e-6:
        return 1.0 if g < 0 else 0.0
    return min(max(0.5 - g / size / cell, 0.0), 1.0)


@njit(cache=True)
def canal_off(v, by_s, x, y, z):
    """Distance to the canal's centre line; large without one."""
    if v[CANAL] <= 0:
        return FAR
    s, w, h = jaw_place(v, x, y, z)
    dw = w - _row(by_s, CANAL_W, s, S_FIRST, S_STEP)
    dh = h - _row(by_s, CANAL_H, s, S_FIRST, S_STEP)
    if abs(dw) > 4.0 or abs(dh) > 4.0:
        return FAR
    rise = (
        _row(by_s, CANAL_H, s + 0.2, S_FIRST, S_STEP)
        - _row(by_s, CANAL_H, s - 0.2, S_FIRST, S_STEP)
    ) / 0.4
    return math.hypot(dw, dh / math.sqrt(1.0 + rise * rise))


@njit(cache=True)
def tooth_off(tooth, x, y, h):
    """Signed distance to a tooth, near enough for painting; h towards the crowns."""
    rad = math.hypot(x - tooth[T_X], y - tooth[T_Y])
    if rad > tooth[T_R_CROWN] + 2.0:
        return rad - tooth[T_R_CROWN]
    if h < tooth[T_NECK]:
        f = (h - tooth[T_APEX]) / (tooth[T_NECK] - tooth[T_APEX])
        r = tooth[T_R_APEX] + f * (tooth[T_R_NECK] - tooth[T_R_APEX])
    else:
        f = min((h - tooth[T_NECK]) / 2.0, 1.0)
        r = tooth[T_R_NECK] + f * (tooth[T_R_CROWN] - tooth[T_R_NECK])
    ends = max(h - tooth[T_TIP], tooth[T_APEX] - h)
    return max(rad - r, ends)


@njit(cache=True)
def in_teeth(v, teeth, points, beside):
    """(n,) True in a tooth or `beside` mm near to one."""
    out = np.zeros(len(points), np.bool_)
    for i in range(len(points)):
        x, y, z = points[i]
        for n in range(len(teeth)):
            if tooth_off(teeth[n], x, y, v[SIGN] * z) < beside:
                out[i] = True
    return out


@njit(cache=True)
def _background(v, grey, h, cell):
    """Air down to its height, and soft tissue below: a cell that holds both shows their mean."""
    soft = min(max(0.5 - (h - v[AIR_DOWN_TO]) / cell, 0.0), 1.0)
    return grey[AIR] + soft * (grey[SOFT] - grey[AIR])


@njit(cache=True)
def _touches(v, by_s, by_u, teeth, x, y, z, reach):
    """Whether bone, gum or a tooth may lie within reach of a point."""
    s, w, h = jaw_place(v, x, y, z)
    for n in range(len(teeth)):
        if math.hypot(x - teeth[n, T_X], y - teeth[n, T_Y]) < teeth[n, T_R_CROWN] + 0.5 + reach:
            return True
    u = _row(by_s, TOP, s, S_FIRST, S_STEP) - h
    q = w - _row(by_s, MIDDLE, s, S_FIRST, S_STEP) - v[TILT] * max(u, -2.0)
    more = v[GUM] + 1.5 * reach + 0.5
    if u < -more or u > v[BASE] + more:
        return False
    half = 0.0
    row = HALF_B if q > 0 else HALF_L
    for part in range(-1, 2):
        half = max(half, _row(by_u, row, u + part * reach, U_FIRST, U_STEP))
    return abs(q) < 1.2 * half + more


@njit(cache=True)
def _cell(v, by_s, by_u, teeth, grey, x, y, z, cell):
    """(grey value, share of marrow) of one cell."""
    s, w, h = jaw_place(v, x, y, z)
    value = _background(v, grey, h, cell)
    u = _row(by_s, TOP, s, S_FIRST, S_STEP) - h
    q = w - _row(by_s, MIDDLE, s, S_FIRST, S_STEP) - v[TILT] * max(u, -2.0)
    wide = _row(by_s, WIDE, s, S_FIRST, S_STEP)
    plates = _row(by_s, PLATES, s, S_FIRST, S_STEP)
    floor = _row(by_s, FLOOR, s, S_FIRST, S_STEP)
    if h > v[AIR_DOWN_TO] - cell and v[GUM] > 0.0:
        share = _covered(v, by_u, q, u, wide, plates, floor, 0, v[GUM], cell)
        value += share * (grey[SOFT] - value)
    bone = _covered(v, by_u, q, u, wide, plates, floor, 0, 0.0, cell)
    marrow = 0.0
    if bone > 0.0:
        level = grey[CORTEX] if q > 0 else grey[LINGUAL]
        level += _row(by_s, SHADE, s, S_FIRST, S_STEP) * (grey[CORTEX] - grey[SOFT])
        value += bone * (level - value)
        marrow = _covered(v, by_u, q, u, wide, plates, floor, 1, 0.0, cell)
        if v[CAVITY] < FAR:
            filled = _covered(v, by_u, q, u, wide, plates, floor, 3, 0.0, cell)
            marrow = min(marrow, 1.0 - filled)
        value += marrow * (grey[MARROW] - value)
        off = canal_off(v, by_s, x, y, z)
        if off < v[CANAL] + cell:
            share = min(max(0.5 - (off - v[CANAL]) / cell, 0.0), 1.0)
            value += share * (grey[WALL] - value)
            marrow *= 1.0 - share
            share = min(max(0.5 - (off - v[CANAL] + v[CANAL_WALL]) / cell, 0.0), 1.0)
            value += share * (grey[NERVE] - value)
        if v[CAVITY] < FAR:
            share = _covered(v, by_u, q, u, wide, plates, floor, 2, 0.0, cell)
            value += share * (grey[SOFT] - value)
            share = _covered(v, by_u, q, u, wide, plates, floor, 2, v[LINING], cell)
            value += share * (grey[AIR] - value)
    for n in range(len(teeth)):
        off = tooth_off(teeth[n], x, y, h)
        if off > 0.2 + cell:
            continue
        if bone > 0.0:
            share = min(max(0.5 - (off - 0.2) / cell, 0.0), 1.0)
            value += share * (grey[LIGAMENT] - value)
            marrow *= 1.0 - share
        share = min(max(0.5 - off / cell, 0.0), 1.0)
        crown = min(max(0.5 - (teeth[n, T_NECK] + 1.5 - h) / cell, 0.0), 1.0)
        deep = min(max(-off - 1.0, 0.0), 1.0)
        level = grey[DENTINE] + crown * (1.0 - deep) * (grey[ENAMEL] - grey[DENTINE])
        value += share * (level - value)
    return value, marrow


_BLOCK = 4


@njit(cache=True)
def paint(v, by_s, by_u, teeth, grey, shape, first, steps, cell):
    """(K, J, I) grey values and shares of marrow of cells, before blur.

    `first` is the first cell's middle, `steps` (3, 3) the step along i, j, k, in the jaw frame.
    """
    out = np.empty(shape, np.float32)
    marrow = np.zeros(shape, np.float32)
    reach = 0.87 * _BLOCK * cell
    half = 0.5 * (_BLOCK - 1)
    for k0 in range(0, shape[0], _BLOCK):
        for j0 in range(0, shape[1], _BLOCK):
            for i0 in range(0, shape[2], _BLOCK):
                p = first + (i0 + half) * steps[0] + (j0 + half) * steps[1] + (k0 + half) * steps[2]
                near = _touches(v, by_s, by_u, teeth, p[0], p[1], p[2], reach)
                for k in range(k0, min(k0 + _BLOCK, shape[0])):
                    for j in range(j0, min(j0 + _BLOCK, shape[1])):
                        for i in range(i0, min(i0 + _BLOCK, shape[2])):
                            x = first[0] + i * steps[0, 0] + j * steps[1, 0] + k * steps[2, 0]
                            y = first[1] + i * steps[0, 1] + j * steps[1, 1] + k * steps[2, 1]
                            z = first[2] + i * steps[0, 2] + j * steps[1, 2] + k * steps[2, 2]
                            if near:
                                out[k, j, i], marrow[k, j, i] = _cell(
                                    v, by_s, by_u, teeth, grey, x, y, z, cell
                                )
                            else:
                                out[k, j, i] = _background(v, grey, v[SIGN] * z, cell)
    return out, marrow


@njit(cache=True)
def along_rays(v, by_s, teeth, starts, ways, reach, step):
    """(n, 3) a ray's length in the canal, its length in teeth, where it first meets a tooth."""
    out = np.zeros((len(starts), 3))
    for i in range(len(starts)):
        out[i, 2] = np.inf
        t = 0.5 * step
        while t < reach[i]:
            x = starts[i, 0] + t * ways[i, 0]
            y = starts[i, 1] + t * ways[i, 1]
            z = starts[i, 2] + t * ways[i, 2]
            if canal_off(v, by_s, x, y, z) < v[CANAL]:
                out[i, 0] += step
            for n in range(len(teeth)):
                if tooth_off(teeth[n], x, y, v[SIGN] * z) < 0.2:
                    out[i, 1] += step
                    out[i, 2] = min(out[i, 2], t)
                    break
            t += step
    return out


@njit(cache=True)
def places(v, points):
    """(n, 3) of (s, w, h)."""
    out = np.empty_like(points)
    for i in range(len(points)):
        out[i] = jaw_place(v, points[i, 0], points[i, 1], points[i, 2])
    return out


@njit(cache=True)
def distances(v, by_s, by_u, points, which, grow):
    """(n,) signed distances near a surface, to first order; large away from it."""
    out = np.empty(len(points))
    e = 0.02
    for i in range(len(points)):
        x, y, z = points[i]
        g = implicit(v, by_s, by_u, x, y, z, which, grow)
        if g > 4.0:
            out[i] = 9.0
            continue
        gx = (implicit(v, by_s, by_u, x + e, y, z, which, grow) - g) / e
        gy = (implicit(v, by_s, by_u, x, y + e, z, which, grow) - g) / e
        gz = (implicit(v, by_s, by_u, x, y, z + e, which, grow) - g) / e
        size = math.sqrt(gx * gx + gy * gy + gz * gz)
        if size < 1e-6:
            out[i] = 9.0 if g > 0 else -9.0
        else:
            out[i] = min(max(g / size, -9.0), 9.0)
    return out
