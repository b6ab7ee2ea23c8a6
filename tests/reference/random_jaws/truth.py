"""What each row of the ledger should say of a random jaw, from its shape alone.

Directions (buccal, mesial, the section's plane) are those of the plan's own arch and fixture, as
the definitions have it; every length is found anew on the exact shape.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from core.arch import fixture_frame
from core.bone.ridge import axis_plane, section_plane
from core.distances.drilling import UNKNOWN_TIP_MM
from core.plans.plan import Plan
from core.plans.side import arch_of
from sample_volumes.distances import fixture_distance
from tests.reference.random_jaws.draw import Choices
from tests.reference.random_jaws.plan import FIXTURE, SITE
from tests.reference.random_jaws.shape import Shape

DEPTHS_MM = (1.0, 3.0, 5.0, 7.0, 10.0)
REACH_MM = 8.0
_FAR_MM = 15.0
_TOOTH_MM = 0.2
_MOVED_MM, _JUMP_MM = 0.15, 0.45
_BESIDE_MM, _PLATE_JUMP_MM = 0.2, 0.25
LIMITS_MM = {"canal": 2.0, "floor": 1.0}


@dataclass(frozen=True)
class Truth:
    """True values, and the edges in the image that each of them rests on.

    ``mm`` by id of the ledger's row; rows without one true value are left out; 8.0 of ``wall``
    and ``clearance/bone surface`` means 8.0 or more. ``edges``: by the same ids, a list of
    (point, unit direction outwards along which it is met), patient LPS mm. ``unsteady``: ids of
    rows whose value jumps when the fixture is moved by less than a hand or an edge is off; a
    limit they are said to meet is judged, ± U is not.
    """

    mm: dict[str, float] = field(default_factory=dict)
    unsteady: set[str] = field(default_factory=set)
    edges: dict[str, list[tuple[np.ndarray, np.ndarray]]] = field(default_factory=dict)

    def put(self, row, value, *edges):
        """Note a row's value."""
        self.mm[row] = float(value)
        self.edges[row] = [(np.ravel(point), np.ravel(way)) for point, way in edges]


def truths(shape: Shape, c: Choices, plan: Plan) -> Truth:
    """All that is true of a plan on a jaw."""
    arch, fixture = arch_of(plan), plan.fixtures[0]
    frame = fixture_frame(fixture, arch)
    out = Truth()
    _walls(out, shape, c, fixture, frame)
    _surfaces(out, shape, fixture, frame)
    _structures(out, shape, c, fixture)
    axis = _Section(shape, axis_plane(frame.station, fixture), 3.0)
    up = _Section(shape, section_plane(frame.station, c.jaw, origin=fixture.platform), 3.0)
    axis.rows(out, FIXTURE, "axis")
    up.rows(out, FIXTURE, "up")
    _height_along_axis(out, shape, fixture, axis)
    if c.teeth != "at the site":
        _rims(out, shape, fixture, frame)
    _note_jumps(out, shape, c, fixture, frame)
    station = arch.frame(plan.sites[0].station_mm)
    _Section(shape, section_plane(station, c.jaw), 6.0).rows(out, SITE, "up")
    return out


def _note_jumps(out, shape, c, fixture, frame):
    """Rows of places around a fixture that jump when it is moved along its axis or across."""
    for way in (frame.a, -frame.a, frame.b, -frame.b, frame.m, -frame.m):
        moved, there = replace(fixture, platform=fixture.platform + _MOVED_MM * way), Truth()
        if abs(float(way @ frame.a)) > 0.5:
            _walls(there, shape, c, moved, frame)
            _surfaces(there, shape, moved, frame)
            rows = [row for row in out.mm if "/wall/" in row or "/bone surface/" in row]
        elif c.teeth != "at the site":
            _rims(there, shape, moved, frame)
            rows = [row for row in out.mm if "/depth/platform/" in row]
        else:
            continue
        for row in rows:
            if row not in there.mm or abs(there.mm[row] - out.mm[row]) > _JUMP_MM:
                out.unsteady.add(row)


class _Section:
    """Crest, widths, plates and height in one plane of the plan."""

    def __init__(self, shape, plane, half_mm):
        self.shape, self.plane = shape, plane
        w = np.arange(-half_mm, half_mm + 0.01, 0.05)
        # From well over the crest, which lies near the shape's own one, downwards.
        over = plane.h(shape.over_crest(plane.origin))
        t = shape.crossing(plane.points(w, over), -plane.coronal, 0, inwards=True, reach=20.0)
        h = over - t
        spots = plane.points(w, np.nan_to_num(h, nan=-99.0))
        h[shape.hides(spots)[0] < _TOOTH_MM] = np.nan
        self.crest_h = None if np.isnan(h).all() else float(np.nanmax(h))
        self.crest_w = 0.0 if self.crest_h is None else float(w[np.nanargmax(h)])

    @property
    def crest(self):
        """The crest's point."""
        return self.plane.points(self.crest_w, self.crest_h)[0]

    def rows(self, out, subject, along):
        if self.crest_h is None:
            return
        plane = self.plane
        for depth in DEPTHS_MM:
            h, name = self.crest_h - depth, f"{depth:g}"
            ends = self._ends(h)
            if ends is None:
                continue
            edges = [
                (plane.points(w, h), way * plane.across)
                for w, way in zip(ends, (1, -1), strict=True)
            ]
            # Two bone intervals: by the definition not to be measured, so none is refused.
            edges = [] if self._hollow_between(ends, h) else edges
            out.put(f"{subject}/ridge_width/{along}/{name}", ends[0] - ends[1], *edges)
            if along == "axis":
                continue
            around = [(h + step, self._ends(h + step)) for step in (-_BESIDE_MM, _BESIDE_MM)]
            for number, side in enumerate(("buccal", "lingual")):
                beside = [plane.points(e[number], at) for at, e in around if e is not None]
                spot = plane.points(ends[number], h)
                self._plate(out, f"{subject}/plate_thickness/{side}/{name}", spot, beside)
        if along == "up":
            self._height(out, subject)

    def _ends(self, h):
        found = []
        for way in (1.0, -1.0):
            start = self.plane.points(way * _FAR_MM, h)
            t = self.shape.crossing(
                start, -way * self.plane.across, 0, inwards=True, reach=2 * _FAR_MM
            )[0]
            if np.isnan(t):
                return None
            found.append(way * (_FAR_MM - float(t)))
        return found

    def _hollow_between(self, ends, h):
        if not self.shape.hollow:
            return False
        line = self.plane.points(np.linspace(ends[1], ends[0], 80), h)
        return bool((self.shape.signs(line, 2) < 0).any())

    def _plate(self, out, row, spot, beside):
        """Thickness at a spot; `beside`: spots a little above and below it."""
        shape = self.shape
        normal = shape.normal(spot)
        t = self._thickness(spot)
        if np.isnan(t):
            return
        inside = spot - normal * np.linspace(0.0, t + 1.5, 40)[:, None]
        if shape.hollow and shape.signs(inside, 3).min() < 0:
            return
        teeth, canal = shape.hides(inside)
        if canal.min() > shape.canal_mm and teeth.min() > _TOOTH_MM:
            out.put(row, t, (spot, normal))
            around = [self._thickness(other) for other in beside]
            if not all(abs(other - t) < _PLATE_JUMP_MM for other in around):
                out.unsteady.add(row)

    def _thickness(self, spot):
        normal = self.shape.normal(spot)
        return self.shape.crossing(spot, -normal, 1, inwards=True, reach=6.0, step=0.03)[0]

    def _height(self, out, subject):
        plane, line, r = self.plane, self.shape.canal_line, self.shape.canal_mm
        crest = (self.crest, plane.coronal)
        if len(line):
            fine = _finer(line)
            off = (fine - plane.origin) @ plane.normal
            beside = np.abs((fine - plane.origin) @ plane.across) < _FAR_MM
            met = (np.abs(off) < r) & beside
            if met.any():
                rise = (fine[met] - plane.origin) @ plane.coronal
                border = float((rise + np.sqrt(r * r - off[met] ** 2)).max())
                out.put(f"{subject}/ridge_height/canal/up", self.crest_h - border, crest)
        if self.shape.hollow:
            w = np.arange(-10.0, 10.01, 0.1)
            starts = plane.points(w, self.crest_h)
            t = self.shape.crossing(starts, -plane.coronal, 2, inwards=True, reach=25.0)
            if np.isfinite(t).any():
                out.put(f"{subject}/ridge_height/floor/up", np.nanmin(t), crest)


def _finer(line):
    at = np.arange(0.0, len(line) - 1, 0.2)
    return np.stack([np.interp(at, np.arange(len(line)), line[:, i]) for i in range(3)], axis=1)


def _walls(out, shape, c, fixture, frame):
    """Least remaining bone by side and zone, on the definition's rays: 0.5 mm and 5° apart."""
    length = fixture.size.length_mm
    depths = np.arange(0.0, length + 1e-9, 0.5)
    for side, middle in (("buccal", 0.0), ("lingual", 180.0)):
        turns = np.radians(middle + np.arange(-45.0, 45.1, 5.0))[:, None]
        ways = np.cos(turns) * frame.b + np.sin(turns) * frame.m
        axis = np.repeat(fixture.platform - depths[:, None] * frame.a, len(ways), axis=0)
        ways = np.tile(ways, (len(depths), 1))
        radius = np.repeat(fixture.size.radius_at(depths), len(turns))
        bone, edge = _bone_on(shape, c, axis, ways, radius)
        depth = np.repeat(depths, len(turns))
        near = depth <= 4.0
        parts = {(side,): near if side == "buccal" else near | True}
        if side == "buccal" and not near.all():
            parts[side, "deep"] = ~near
        for name, counted in parts.items():
            if np.isfinite(bone[counted]).all():
                best = np.flatnonzero(counted)[np.argmin(bone[counted])]
                met = (axis[best] + (radius[best] + edge[best]) * ways[best], ways[best])
                out.put("/".join((FIXTURE, "wall", *name)), bone[best], met)


def _bone_on(shape, c, axis, ways, radius):
    """Bone on rays from the fixture, and their ends; NaN where the definition leaves it open."""
    surface = axis + radius[:, None] * ways
    inside = shape.signs(surface, 4) < 0
    edge = shape.crossing(surface, ways, 4, inwards=False, reach=REACH_MM)
    edge = np.where(np.isnan(edge), REACH_MM, edge)
    met = shape.along(surface, ways, np.where(inside, edge, 0.0))
    bone = edge - met[:, 0]
    if c.teeth == "at the site":
        bone = bone - met[:, 1]
    else:
        bone = np.where(np.isfinite(met[:, 2]), np.minimum(met[:, 2], bone), bone)
    for i in np.flatnonzero(~inside):
        back = shape.crossing(surface[i : i + 1], -ways[i], 4, inwards=True, reach=radius[i])[0]
        if np.isnan(back):
            beyond = shape.crossing(surface[i : i + 1], ways[i], 4, inwards=True, reach=REACH_MM)
            back = radius[i] if np.isnan(beyond[0]) else np.nan
        bone[i] = edge[i] = -back
    if c.teeth == "at the site":
        # Whether bone would be there, were it not for the tooth, nothing shows.
        bone[~inside & shape.in_teeth(surface, _TOOTH_MM)] = np.nan
    return bone, edge


def _distance(fixture, points, tip_mm=0.0):
    profile = fixture.size.profile
    if tip_mm:
        profile = np.vstack([profile, (profile[-1, 0] + tip_mm, 0.0)])
    return fixture_distance(points, fixture.platform, fixture.towards_apex, profile)


def _least(fixture, points, tip_mm=0.0):
    """Least distance of points 0.12 mm apart: at most 0.002 mm too far from 1 mm on."""
    return float(_distance(fixture, points, tip_mm).min()) if len(points) else np.inf


def _surfaces(out, shape, fixture, frame):
    """Shortest way to the outside by side; apically the floor of the hollow counts as outside."""
    outer = shape.surface(14.0)
    near = np.linalg.norm(outer - fixture.on_axis(fixture.size.length_mm / 2), axis=1) < 20.0
    outer = outer[near]
    # Where a tooth stands through the crest there is no surface of bone.
    outer = outer[~shape.in_teeth(outer, _TOOTH_MM)]
    floor = shape.floor(14.0)
    below = np.concatenate([outer, floor])
    hollow_mm, length = _least(fixture, floor), fixture.size.length_mm
    for side in ("buccal", "lingual", "apical"):
        points = below if side == "apical" else outer
        offset = points - fixture.platform
        depth = -(offset @ frame.a)
        b, m = offset @ frame.b, np.abs(offset @ frame.m)
        if side == "apical":
            counted = depth > length
        else:
            counted = (depth >= 0.0) & (depth <= length) & ((b if side == "buccal" else -b) >= m)
        points = points[counted]
        # Beside a floor that comes nearer than the bone's own outside, "outside" has two meanings.
        if len(floor) and hollow_mm < (0.0 if side == "apical" else _least(fixture, points)):
            continue
        for tip in (0.0, UNKNOWN_TIP_MM) if side == "apical" else (0.0,):
            name = f"{FIXTURE}/clearance/bone surface/{side}" + ("/tip" if tip else "")
            value = _least(fixture, points, tip)
            edges = ()
            if value < REACH_MM:
                spot = points[np.argmin(_distance(fixture, points, tip))]
                on_floor = shape.hollow and shape.signs(spot, 0)[0] < -1e-3
                edges = () if on_floor else ((spot, shape.normal(spot)),)
            out.put(name, min(value, REACH_MM), *edges)


def _structures(out, shape, c, fixture):
    """Clearances to canal, roots and floor; the canal and the floor with the drill's tip too."""
    line, r = shape.canal_line, shape.canal_mm
    floor = shape.floor(12.0)
    for tip, name in ((0.0, ""), (UNKNOWN_TIP_MM, "/tip")):
        if len(line):
            away = _least(fixture, _finer(line), tip) - r
            out.put(f"{FIXTURE}/clearance/canal{name}", away)
        if len(floor):
            out.put(f"{FIXTURE}/clearance/floor{name}", _least(fixture, floor, tip))
    for number, (neck, apex, r_neck, r_apex) in enumerate(shape.roots):
        if c.teeth == "at the site" and number == 0:
            continue
        share = np.linspace(0.0, 1.0, 201)
        centres = neck + share[:, None] * (apex - neck)
        away = _distance(fixture, centres) - r_neck - share * (r_apex - r_neck)
        out.put(f"{FIXTURE}/clearance/root-{number + 1}", away.min())


def _height_along_axis(out, shape, fixture, axis):
    """Least way along the axis from the crest's level to canal or floor, over the footprint."""
    if axis.crest_h is None:
        return
    rise = float((axis.crest - fixture.platform) @ fixture.a)
    radius = float(fixture.size.profile[:, 1].max())
    # The height's own direction: the section is not tilted along the arch, the axis may be.
    crest = (axis.crest, fixture.a)
    line, r = shape.canal_line, shape.canal_mm
    if len(line):
        depth, away = _of_axis(fixture, _finer(line))
        over = np.maximum(away - radius - LIMITS_MM["canal"], 0.0)
        met = over < r
        if met.any():
            hit = depth[met] - np.sqrt(r * r - over[met] ** 2)
            out.put(f"{FIXTURE}/ridge_height/canal/axis", rise + hit.min(), crest)
    floor = shape.floor(12.0)
    if len(floor):
        depth, away = _of_axis(fixture, floor)
        met = away <= radius + LIMITS_MM["floor"]
        if met.any():
            out.put(f"{FIXTURE}/ridge_height/floor/axis", rise + depth[met].min(), crest)


def _of_axis(fixture, points):
    offset = points - fixture.platform
    depth = offset @ fixture.towards_apex
    return depth, np.linalg.norm(offset - depth[:, None] * fixture.towards_apex, axis=1)


def _rims(out, shape, fixture, frame):
    """Bone over the platform's rim at four places, + where the platform lies in bone."""
    radius = fixture.size.platform / 2
    ways = {"buccal": frame.b, "lingual": -frame.b, "mesial": frame.m, "distal": -frame.m}
    for place, way in ways.items():
        start = fixture.platform + radius * way + 8.0 * frame.a
        t = shape.crossing(start, -frame.a, 0, inwards=True, reach=16.0)[0]
        if np.isfinite(t):
            row = f"{FIXTURE}/depth/platform/{place}"
            out.put(row, 8.0 - t, (start - t * frame.a, frame.a))
