"""The compiled kernel of `core.image.sampling`: samples along lines through a stack of voxels.

Everything it calls stands in this file: numba's cache does not see changes in another one.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from core import kernel_cache
from core.geometry import Array

kernel_cache.prepare()

from numba import njit  # noqa: E402  the cache folder must be named first

HULL_TOLERANCE = 1e-6
"""How far, in voxels, a point may lie outside the hull of the voxel centres; a neighbour with
less weight than this along an axis does not count."""
BLOCK = 128
"""Columns that are sampled together; their work fits into the processor's nearest memory."""
LEAST_FOR_BLOCKS = 16
"""Shorter lines are sampled one by one: setting up a block would cost more."""


_OUTER: dict[str, Any] = {"cache": True, "nogil": True, "no_cfunc_wrapper": True}
_INNER: dict[str, Any] = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}
"""What only compiled code calls needs no door that Python would enter by."""


@njit(**_INNER)
def _trilinear(
    flat: Any, row: int, sheet: int, i: int, j: int, k: int, fx: float, fy: float, fz: float
) -> float:
    # Unsigned offsets: numba then leaves out its test for negative indices.
    one = np.uintp(1)
    p = np.uintp(k * sheet + j * row + i)
    q = p + np.uintp(row)
    r = p + np.uintp(sheet)
    s = r + np.uintp(row)
    a = np.float64(flat[p])
    b = np.float64(flat[q])
    c = np.float64(flat[r])
    d = np.float64(flat[s])
    a += (np.float64(flat[p + one]) - a) * fx
    b += (np.float64(flat[q + one]) - b) * fx
    c += (np.float64(flat[r + one]) - c) * fx
    d += (np.float64(flat[s + one]) - d) * fx
    a += (b - a) * fy
    c += (d - c) * fy
    return a + (c - a) * fz


@njit(**_INNER)
def _checked(
    flat: Any,
    shape: Any,
    field: Any,
    padded: bool,
    low: float,
    high: float,
    x: float,
    y: float,
    z: float,
) -> Any:
    """One sample with every test: hull, field, padding."""
    nk, nj, ni = shape
    tol = HULL_TOLERANCE
    if not (-tol <= x <= ni - 1 + tol and -tol <= y <= nj - 1 + tol and -tol <= z <= nk - 1 + tol):
        return np.nan
    x = min(max(x, 0.0), ni - 1.0)
    y = min(max(y, 0.0), nj - 1.0)
    z = min(max(z, 0.0), nk - 1.0)
    i = min(int(x), ni - 2)
    j = min(int(y), nj - 2)
    k = min(int(z), nk - 2)
    fx, fy, fz = x - i, y - j, z - k
    fielded = field.size > 1
    if padded or fielded:
        i0, i1 = i + (fx >= 1 - tol), i + (fx > tol)
        j0, j1 = j + (fy >= 1 - tol), j + (fy > tol)
        k0, k1 = k + (fz >= 1 - tol), k + (fz > tol)
        for jj in range(j0, j1 + 1):
            for ii in range(i0, i1 + 1):
                if fielded and field[jj * ni + ii] == 0:
                    return np.nan
                if padded:
                    for kk in range(k0, k1 + 1):
                        v = flat[(kk * nj + jj) * ni + ii]
                        if low <= v <= high:
                            return np.nan
        fx, fy, fz = fx * (i1 > i), fy * (j1 > j), fz * (k1 > k)
    return _trilinear(flat, ni, ni * nj, i, j, k, fx, fy, fz)


@njit(**_INNER)
def _clear(
    flat: Any,
    row: int,
    sheet: int,
    field: Any,
    padded: bool,
    low: float,
    high: float,
    i: int,
    j: int,
    k: int,
) -> bool:
    """True where none of all eight neighbours is padding or outside the field."""
    one = np.uintp(1)
    f = np.uintp(j * row + i)
    if field.size > 1:
        g = f + np.uintp(row)
        if (field[f] & field[f + one] & field[g] & field[g + one]) == 0:
            return False
    if padded:
        for step in range(4):
            p = f + np.uintp((k + (step >> 1)) * sheet + (step & 1) * row)
            if low <= flat[p] <= high or low <= flat[p + one] <= high:
                return False
    return True


@njit(**_INNER)
def _inside(shape: Any, x: float, y: float, z: float) -> bool:
    """True where a sample and its eight neighbours need no test for the hull."""
    nk, nj, ni = shape
    return bool(0 <= x < ni - 1 and 0 <= y < nj - 1 and 0 <= z < nk - 1)


@njit(**_INNER)
def _one_by_one(
    flat: Any,
    shape: Any,
    field: Any,
    padding: Any,
    scale: Any,
    start: Any,
    step: Any,
    slab: Any,
    slab_count: int,
    maximum: bool,
    lo: int,
    hi: int,
    out: Any,
    n: int,
) -> None:
    """Columns lo to hi of line n, all of whose samples lie well inside the hull.

    Handed `out` whole: a part of it would be counted as one more owner, for each line anew.
    """
    nj, ni = shape[1], shape[2]
    padded, low, high = padding
    plain = not padded and field.size <= 1
    for c in range(lo, hi):
        total, top = 0.0, -np.inf
        for s in range(slab_count):
            x = (start[0] + s * slab[0]) + c * step[0]
            y = (start[1] + s * slab[1]) + c * step[1]
            z = (start[2] + s * slab[2]) + c * step[2]
            i, j, k = int(x), int(y), int(z)
            if plain or _clear(flat, ni, ni * nj, field, padded, low, high, i, j, k):
                v = _trilinear(flat, ni, ni * nj, i, j, k, x - i, y - j, z - k)
            else:
                v = _checked(flat, shape, field, padded, low, high, x, y, z)
            grey = v * scale[0] + scale[1]
            total += grey
            top = max(top, grey)
        out[n, c] = top if maximum and not math.isnan(total) else total / slab_count


@njit(**_INNER)
def _block(
    flat: Any,
    shape: Any,
    field: Any,
    padding: Any,
    start: Any,
    step: Any,
    slab: Any,
    slab_count: int,
    first: int,
    count: int,
    at: Any,
    work: Any,
) -> bool:
    """Sums through the slab, into ``work[3]``, for columns that lie well inside the hull.

    In passes over short arrays, which the compiler turns into vector instructions: places,
    neighbours, tests, interpolation. False where a neighbour is padding or outside the field:
    then the columns must be sampled one by one.
    """
    row, sheet = shape[2], shape[1] * shape[2]
    one, to_row, to_sheet = np.uintp(1), np.uintp(row), np.uintp(sheet)
    padded, low, high = padding
    fx, fy, fz, total = work[0], work[1], work[2], work[3]
    v0, v1, v2, v3 = work[4], work[5], work[6], work[7]
    v4, v5, v6, v7 = work[8], work[9], work[10], work[11]
    for m in range(count):
        total[m] = 0.0
    for s in range(slab_count):
        x0, y0, z0 = start[0] + s * slab[0], start[1] + s * slab[1], start[2] + s * slab[2]
        for m in range(count):
            c = first + m
            x, y, z = x0 + c * step[0], y0 + c * step[1], z0 + c * step[2]
            i, j, k = np.int32(x), np.int32(y), np.int32(z)
            fx[m] = x - i
            fy[m] = y - j
            fz[m] = z - k
            at[m] = np.int64(k) * sheet + np.int64(j) * row + i
        for m in range(count):
            p = np.uintp(at[m])
            q = p + to_row
            r = p + to_sheet
            t = r + to_row
            v0[m] = flat[p]
            v1[m] = flat[p + one]
            v2[m] = flat[q]
            v3[m] = flat[q + one]
            v4[m] = flat[r]
            v5[m] = flat[r + one]
            v6[m] = flat[t]
            v7[m] = flat[t + one]
        if field.size > 1:
            within = np.uint8(1)
            for m in range(count):
                f = np.uintp(at[m] % sheet)
                g = f + to_row
                within &= field[f] & field[f + one] & field[g] & field[g + one]
            if within == 0:
                return False
        if padded:
            holes = 0
            for n in range(4, 12):
                v = work[n]
                for m in range(count):
                    holes += (v[m] >= low) & (v[m] <= high)
            if holes > 0:
                return False
        for m in range(count):
            f = fx[m]
            a = v0[m] + (v1[m] - v0[m]) * f
            b = v2[m] + (v3[m] - v2[m]) * f
            c = v4[m] + (v5[m] - v4[m]) * f
            d = v6[m] + (v7[m] - v6[m]) * f
            a += (b - a) * fy[m]
            c += (d - c) * fy[m]
            total[m] += a + (c - a) * fz[m]
    return True


@njit(**_INNER)
def _span(start: float, step: float, end: float, first: float, last: float) -> Any:
    """Part of the float interval [first, last] of c in which 0 <= start + c step <= end."""
    if step == 0.0:
        return (first, last) if 0 <= start <= end else (first, first - 1.0)
    a, b = -start / step, (end - start) / step
    if a > b:
        a, b = b, a
    return max(first, a), min(last, b)


@njit(**_OUTER)
def sample_lines(
    flat: Any, shape: Any, field: Any, padded: bool, low: float, high: float, slope: float,
    intercept: float, starts: Array, steps: Array, slab_steps: Array, slab_count: int,
    maximum: bool, out: Any, first: int, end: int,
) -> None:  # fmt: skip
    """Sample (n, count) places ``start + c step + s slab_step``, all in voxels (i, j, k).

    Of all lines those from `first` to before `end`: others may be somebody else's work.
    """
    nk, nj, ni = shape
    count = out.shape[1]
    padding, scale = (padded, low, high), (slope, intercept)
    at = np.empty(BLOCK, np.int64)
    work = np.empty((12, BLOCK), np.float64)
    for n in range(first, end):
        x0, y0, z0 = starts[n, 0], starts[n, 1], starts[n, 2]
        dx, dy, dz = steps[n, 0], steps[n, 1], steps[n, 2]
        sx, sy, sz = slab_steps[n, 0], slab_steps[n, 1], slab_steps[n, 2]
        far = slab_count - 1
        x1, y1, z1 = x0 + far * sx, y0 + far * sy, z0 + far * sz
        # Columns whose samples all lie inside: the hull is convex, so both faces of the slab
        # and both ends of the run decide; rounding is monotone, so testing the ends suffices.
        lo, hi = 0, 0
        if math.isfinite(x0 + y0 + z0 + dx + dy + dz + x1 + y1 + z1):
            a, b = 0.0, count - 1.0
            a, b = _span(x0, dx, ni - 1.0, a, b)
            a, b = _span(x1, dx, ni - 1.0, a, b)
            a, b = _span(y0, dy, nj - 1.0, a, b)
            a, b = _span(y1, dy, nj - 1.0, a, b)
            a, b = _span(z0, dz, nk - 1.0, a, b)
            a, b = _span(z1, dz, nk - 1.0, a, b)
            if a <= b:
                lo, hi = math.ceil(a), math.floor(b) + 1
            while lo < hi and not (
                _inside(shape, x0 + lo * dx, y0 + lo * dy, z0 + lo * dz)
                and _inside(shape, x1 + lo * dx, y1 + lo * dy, z1 + lo * dz)
            ):
                lo += 1
            while hi > lo and not (
                _inside(shape, x0 + (hi - 1) * dx, y0 + (hi - 1) * dy, z0 + (hi - 1) * dz)
                and _inside(shape, x1 + (hi - 1) * dx, y1 + (hi - 1) * dy, z1 + (hi - 1) * dz)
            ):
                hi -= 1
            hi = max(lo, hi)
        start, step, slab = (x0, y0, z0), (dx, dy, dz), (sx, sy, sz)
        in_blocks = not maximum and hi - lo >= LEAST_FOR_BLOCKS
        for c in range(lo, hi, BLOCK):
            many = min(BLOCK, hi - c)
            if in_blocks and _block(
                flat, shape, field, padding, start, step, slab, slab_count, c, many, at, work
            ):
                for m in range(many):
                    out[n, c + m] = work[3, m] / slab_count * slope + intercept
            else:
                _one_by_one(
                    flat, shape, field, padding, scale, start, step, slab, slab_count, maximum,
                    c, c + many, out, n,
                )  # fmt: skip
        for part in range(2):
            for c in range(0 if part == 0 else hi, lo if part == 0 else count):
                total, top = 0.0, -np.inf
                for s in range(slab_count):
                    v = _checked(
                        flat,
                        shape,
                        field,
                        padded,
                        low,
                        high,
                        (x0 + s * sx) + c * dx,
                        (y0 + s * sy) + c * dy,
                        (z0 + s * sz) + c * dz,
                    )
                    grey = v * slope + intercept
                    total += grey
                    if math.isnan(grey):
                        break
                    top = max(top, grey)
                out[n, c] = top if maximum and not math.isnan(total) else total / slab_count
