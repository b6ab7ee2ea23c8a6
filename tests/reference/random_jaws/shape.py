"""The shape of a random jaw: tables of its outline by place along the arch and by depth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.reference.random_jaws import kernels as k
from tests.reference.random_jaws.draw import Choices

S = k.S_FIRST + k.S_STEP * np.arange(1601)
U = k.U_FIRST + k.U_STEP * np.arange(1401)


@dataclass(frozen=True, eq=False)
class Shape:
    """Numbers, tables and teeth of a jaw, see `kernels`; patient = turn @ jaw + shift.

    ``grey`` are the tissue levels before any scale.
    """

    v: np.ndarray
    by_s: np.ndarray
    by_u: np.ndarray
    teeth: np.ndarray
    grey: np.ndarray
    turn: np.ndarray
    shift: np.ndarray

    @property
    def tables(self):
        """What every kernel takes first."""
        return self.v, self.by_s, self.by_u

    def patient(self, jaw_points):
        """(n, 3) jaw frame → patient LPS mm."""
        return np.atleast_2d(jaw_points) @ self.turn.T + self.shift

    def jaw(self, patient_points):
        """(n, 3) patient LPS mm → jaw frame."""
        return np.atleast_2d(patient_points - self.shift) @ self.turn

    def place(self, s, w, h):
        """(n, 3) jaw-frame points at arc length, distance outwards and height."""
        s, w, h = np.broadcast_arrays(*(np.asarray(a, float) for a in (s, w, h)))
        angle = (s + self.v[k.SITE]) / self.v[k.RADIUS]
        away = self.v[k.RADIUS] + w
        return np.stack(
            [
                away * np.sin(angle),
                self.v[k.RADIUS] - away * np.cos(angle),
                self.v[k.SIGN] * h,
            ],
            axis=-1,
        )

    def row(self, row, s):
        """Value of the table by s."""
        return np.interp(s, S, self.by_s[row])

    def crossing(self, points, ways, which, *, inwards, reach, step=0.06):
        """First change of sign along patient rays; see `kernels.implicit`, 4 is bone."""
        starts = self.jaw(points)
        ways = np.ascontiguousarray(np.broadcast_to(np.atleast_2d(ways), starts.shape) @ self.turn)
        return k.crossings(*self.tables, starts, ways, which, inwards, reach, step)

    def signs(self, points, which):
        """Negative inside, at patient points."""
        return k.signs(*self.tables, self.jaw(points), which)

    def normal(self, points):
        """Outward unit normals of the outer surface at patient points on it."""
        return k.normals(*self.tables, self.jaw(points)) @ self.turn.T

    def over_crest(self, near):
        """A patient point 8 mm and more over the crest; `near`: where it is asked for."""
        return self.patient(self.place(0.0, 0.0, self.row(k.TOP, 0.0) + 8.0))[0]

    def hides(self, points):
        """Distance to the nearest tooth and to the canal's middle line, at patient points."""
        inside = self.jaw(points)
        teeth = np.full(len(inside), k.FAR)
        for tooth in self.teeth:
            off = [k.tooth_off(tooth, x, y, self.v[k.SIGN] * z) for x, y, z in inside]
            teeth = np.minimum(teeth, off)
        return teeth, np.array([k.canal_off(self.v, self.by_s, *p) for p in inside])

    def in_teeth(self, points, beside):
        """True for patient points in a tooth or this near to one."""
        return k.in_teeth(self.v, self.teeth, self.jaw(points), beside)

    def along(self, points, ways, reach):
        """(n, 3) of patient rays: length in the canal, in teeth, and where a tooth begins."""
        starts, ways = self.jaw(points), np.ascontiguousarray(ways @ self.turn)
        return k.along_rays(self.v, self.by_s, self.teeth, starts, ways, reach, 0.04)

    @property
    def hollow(self):
        """True where the bone ends at a hollow beyond."""
        return bool(self.v[k.CAVITY] < k.FAR)

    @property
    def canal_mm(self):
        """Radius of the canal to the outside of its wall; 0 without one."""
        return float(self.v[k.CANAL])

    @property
    def roots(self):
        """(neck, apex, radius there, and there) of each tooth, patient places."""
        for tooth in self.teeth:
            ends = [
                [tooth[k.T_X], tooth[k.T_Y], self.v[k.SIGN] * h]
                for h in (tooth[k.T_NECK], tooth[k.T_APEX])
            ]
            yield *self.patient(np.array(ends)), tooth[k.T_R_NECK], tooth[k.T_R_APEX]

    @property
    def canal_line(self):
        """(n, 3) patient points of the canal's centre line, 0.1 mm apart; empty without one."""
        if self.v[k.CANAL] <= 0:
            return np.empty((0, 3))
        s = np.arange(-30.0, 30.05, 0.1)
        return self.patient(self.place(s, self.row(k.CANAL_W, s), self.row(k.CANAL_H, s)))

    def surface(self, reach, step=0.12):
        """(n, 3) patient points of the outer surface within `reach` along the arch of the site."""
        s = np.arange(-reach, reach + step, step)
        v, wide = self.v, self.row(k.WIDE, s)
        base = min(v[k.BASE], 36.0)
        top = v[k.ROUND_TOP] * (1.0 - np.cos(np.linspace(0.0, np.pi / 2, 61)))
        low = base - v[k.ROUND_BASE]
        u = np.concatenate([top, np.arange(v[k.ROUND_TOP] + step, low, step)])
        if v[k.BASE] < k.FAR:
            u = np.concatenate([u, low + v[k.ROUND_BASE] * np.sin(np.linspace(0.0, np.pi / 2, 61))])
        t = np.maximum(0.0, (v[k.ROUND_TOP] - u) / v[k.ROUND_TOP])
        b = np.maximum(0.0, (u - v[k.BASE] + v[k.ROUND_BASE]) / v[k.ROUND_BASE])
        share = np.sqrt(np.maximum(1.0 - t * t - b * b, 0.0))
        out = []
        for row, way in ((k.HALF_B, 1.0), (k.HALF_L, -1.0)):
            half = np.interp(u, U, self.by_u[row]) * share
            w = self._middle(s[:, None], u) + way * wide[:, None] * half
            out.append(self.place(s[:, None], w, self.row(k.TOP, s)[:, None] - u).reshape(-1, 3))
        return self.patient(np.concatenate(out))

    def _middle(self, s, u):
        return self.row(k.MIDDLE, s) + self.v[k.TILT] * np.maximum(u, -2.0)

    def floor(self, reach, step=0.12):
        """(n, 3) patient points of the hollow's floor; empty where there is none."""
        v, s = self.v, np.arange(-reach, reach + step, step)
        if not self.hollow:
            return np.empty((0, 3))
        depth = v[k.CAVITY_ROUND] * (1.0 - np.cos(np.linspace(0.0, np.pi / 2, 41)))
        depth = np.concatenate([depth, v[k.CAVITY_ROUND] + np.arange(step, 8.0, step)])
        u = self.row(k.FLOOR, s)[:, None] + depth
        t = np.maximum(0.0, 1.0 - depth / v[k.CAVITY_ROUND])
        share = np.sqrt(np.maximum(1.0 - t * t, 0.0))
        out = []
        for row, way in ((k.HALF_B, 1.0), (k.HALF_L, -1.0)):
            half = np.interp(u, U, self.by_u[row]) * self.row(k.WIDE, s)[:, None]
            half = np.maximum(half - v[k.CAVITY_WALL], 0.3) * share
            w = self._middle(s[:, None], u) + way * half
            h = self.row(k.TOP, s)[:, None] - u
            out.append(self.place(s[:, None], w, h).reshape(-1, 3))
        return self.patient(np.concatenate(out))


def _waves(rng, size, shortest, longest, count=2):
    """A smooth wave along the arch."""
    out = np.zeros_like(S)
    for _ in range(count):
        out += np.sin(2 * np.pi * S / rng.uniform(shortest, longest) + rng.uniform(0, 2 * np.pi))
    return size * out / count


def _rise(u, length):
    x = np.maximum(u, 0.0) / length
    return x * x / (1.0 + x * x)


def _halves(rng, c):
    """Half widths by depth to both sides, and the rounding of the crest."""
    share = rng.uniform(0.42, 0.58)
    out = []
    for row, part in enumerate((share, 1.0 - share)):
        near = c.width * part
        deep = near + rng.uniform(0.3, 3.0) + (2.5 if c.ridge == "knife" else 0.0)
        half = near + (deep - near) * _rise(U, rng.uniform(4.0, 9.0))
        hollow_side = 0 if c.jaw == "upper" else 1
        if c.ridge == "undercut" and row == hollow_side:
            depth, at = rng.uniform(0.8, 0.42 * deep), rng.uniform(6.0, 12.0)
            half -= depth * np.exp(-0.5 * ((U - at) / rng.uniform(2.0, 3.5)) ** 2)
        out.append(np.maximum(half, 0.6))
    if c.ridge == "knife":
        return out, rng.uniform(1.5, 4.0)
    return out, rng.uniform(0.8, min(3.5, 0.45 * c.width))


def _plate(rng, c, thickness):
    """Thickness of a plate by depth: as drawn near the crest, changing below."""
    deep = thickness * rng.uniform(0.8, 1.6)
    out = thickness + (deep - thickness) * _rise(U, rng.uniform(4.0, 9.0))
    out *= 1.0 + rng.uniform(0.0, 0.12) * np.sin(2 * np.pi * U / rng.uniform(7.0, 15.0))
    return np.clip(out, 0.28, 3.2)


def shape_of(c: Choices) -> Shape:
    """The jaw of a case."""
    rng = np.random.default_rng([c.seed, 2])
    radius, sign = rng.uniform(28.0, 33.0), 1.0 if c.jaw == "lower" else -1.0
    right, position = c.tooth[0] in "14", int(c.tooth[1])
    site = (5.8 * position - 2.9) * (-1.0 if right else 1.0)
    halves, rounding = _halves(rng, c)
    by_s = np.zeros((8, len(S)))
    uneven = rng.uniform(0.0, 0.7)
    by_s[k.TOP] = -rng.uniform(5.0, 8.5) + _waves(rng, uneven, 7.0, 24.0)
    by_s[k.MIDDLE] = rng.normal(0.0, 0.8) + _waves(rng, 0.5, 18.0, 40.0)
    by_s[k.WIDE] = 1.0 + _waves(rng, rng.uniform(0.0, 0.12), 10.0, 30.0)
    by_s[k.PLATES] = 1.0 + _waves(rng, rng.uniform(0.0, 0.15), 8.0, 25.0)
    by_s[k.SHADE] = _waves(rng, 0.03, 9.0, 30.0)
    by_u = np.stack([*halves, _plate(rng, c, c.buccal_plate), _plate(rng, c, c.lingual_plate)])
    v = np.zeros(18)
    v[[k.RADIUS, k.SIGN, k.SITE, k.ROUND_TOP]] = radius, sign, site, rounding
    v[k.TILT] = rng.normal(-0.05, 0.12)
    v[k.CREST_CORTEX] = float(np.clip(0.5 * (c.buccal_plate + c.lingual_plate), 0.3, 2.0))
    v[k.BASE_CORTEX] = rng.uniform(1.5, 3.0)
    v[k.GUM] = {"air": 0.0, "gum": rng.uniform(1.0, 3.5), "soft": 0.0}[c.over_crest]
    v[k.AIR_DOWN_TO] = (
        1.0e6 if c.over_crest == "soft" else by_s[k.TOP, len(S) // 2] - rng.uniform(1.0, 7.0)
    )
    v[k.CAVITY] = v[k.BASE] = 2.0e3
    v[k.ROUND_BASE] = rng.uniform(2.5, 4.0)
    if c.jaw == "lower":
        v[k.BASE] = rng.uniform(17.0, 27.0)
        _canal(rng, v, by_s, position)
    else:
        _hollow(rng, v, by_s)
    grey = _levels(rng, c)
    turn, shift = _pose(rng)
    return Shape(
        v=v,
        by_s=by_s,
        by_u=by_u,
        teeth=_teeth(rng, c, v, by_s),
        grey=grey,
        turn=turn,
        shift=shift,
    )


def _canal(rng, v, by_s, position):
    v[k.CANAL], v[k.CANAL_WALL] = 0.0, 0.0
    if position < 4:
        return
    v[k.CANAL], v[k.CANAL_WALL] = rng.uniform(1.1, 1.8), rng.uniform(0.2, 0.5)
    depth = rng.uniform(9.0, max(v[k.BASE] - 5.0, 10.0))
    by_s[k.CANAL_W] = by_s[k.MIDDLE] + v[k.TILT] * depth + rng.uniform(-1.2, 0.4)
    by_s[k.CANAL_H] = by_s[k.TOP].mean() - depth + S * rng.normal(0.0, 0.06)
    by_s[k.CANAL_H] += _waves(rng, 0.4, 25.0, 45.0)


def _hollow(rng, v, by_s):
    v[k.CAVITY] = 1.0
    v[[k.CAVITY_WALL, k.CAVITY_ROUND]] = rng.uniform(1.0, 2.0), rng.uniform(1.5, 4.0)
    v[k.CAVITY_CORTEX], v[k.LINING] = rng.uniform(0.5, 1.3), rng.uniform(0.0, 2.0)
    by_s[k.FLOOR] = rng.uniform(7.0, 15.0) + _waves(rng, 1.2, 14.0, 35.0)


def _levels(rng, c):
    """Levels of the tissues, invented and no Hounsfield units; air is about −1000, soft 40."""
    cortex, soft = rng.uniform(1250.0, 1750.0), rng.uniform(20.0, 70.0)
    marrow = {
        "usual": rng.uniform(200.0, 500.0), "fatty": rng.uniform(-90.0, 20.0),
        "sparse": rng.uniform(60.0, 180.0), "sclerotic": rng.uniform(0.6, 0.97) * cortex,
    }[c.marrow]  # fmt: skip
    lingual = cortex * rng.uniform(0.93, 1.07)
    return np.array(
        [
            rng.uniform(-1000.0, -940.0), soft, marrow, cortex, lingual, 0.65 * cortex,
            soft + 10.0, 1.04 * cortex, rng.uniform(1.5, 1.75) * cortex, soft + 80.0,
        ]
    )  # fmt: skip


def _pose(rng):
    """Head tilted by some degrees."""
    a, b, c = np.radians(rng.uniform(-7.0, 7.0, 3))
    rx = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    ry = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
    rz = np.array([[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]])
    return rz @ ry @ rx, rng.uniform(-20.0, 20.0, 3)


def _teeth(rng, c, v, by_s):
    places = {
        "none": (),
        "one": (rng.choice([-1.0, 1.0]),),
        "two": (-1.0, 1.0),
        "at the site": (0.0, 1.0),
    }[c.teeth]
    out = np.zeros((len(places), 8))
    for row, way in zip(out, places, strict=True):
        s = way * rng.uniform(7.0, 8.5)
        top = np.interp(s, S, by_s[k.TOP])
        w = np.interp(s, S, by_s[k.MIDDLE])
        angle = (s + v[k.SITE]) / v[k.RADIUS]
        away = v[k.RADIUS] + w
        row[k.T_X], row[k.T_Y] = away * np.sin(angle), v[k.RADIUS] - away * np.cos(angle)
        row[k.T_APEX], row[k.T_NECK] = top - rng.uniform(7.0, 11.0), top + rng.uniform(0.8, 1.6)
        row[k.T_TIP] = top + rng.uniform(6.0, 9.0)
        row[k.T_R_APEX], row[k.T_R_NECK] = rng.uniform(0.8, 1.2), rng.uniform(2.0, 2.8)
        row[k.T_R_CROWN] = row[k.T_R_NECK] + rng.uniform(0.6, 1.2)
    return out
