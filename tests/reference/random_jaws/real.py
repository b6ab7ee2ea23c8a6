"""Real jaws' outer surfaces as random cases: place, tilt, cortex, tissues and hand are drawn.

Only the outer surface is real (see `tests.reference.real_jaws`, which tells where it is from);
cortex, marrow and gum are put on by the distance from it. Truth is that distance's own zero.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.spatial.transform import Rotation

from core.fixture import Fixture, FixtureSize
from core.identity import Tooth
from core.image.volume import Volume
from core.level import Level
from core.plans.plan import Plan, Site
from core.plans.side import arch_of
from tests.reference import real_jaws
from tests.reference.random_jaws.case import Case
from tests.reference.random_jaws.draw import choices
from tests.reference.random_jaws.plan import FIXTURE, SITE, told
from tests.reference.random_jaws.truth import truths

_FIELD_MM = 38.0


@dataclass(frozen=True, eq=False)
class Solid:
    """A real jaw in the scanner, as `truth` asks for it; patient = turn @ (own − pivot)."""

    jaw: real_jaws.Shape
    turn: np.ndarray
    pivot: np.ndarray
    cortex_mm: float
    crest: np.ndarray
    hollow: bool = False
    canal_mm: float = 0.0
    roots: tuple = ()

    def depth(self, points):
        """Distance from the surface at patient points, positive inside."""
        return self.jaw.depth_at(np.atleast_2d(points) @ self.turn + self.pivot)

    def signs(self, points, which):
        """Negative inside: bone, or its marrow (1)."""
        return (self.cortex_mm if which == 1 else 0.0) - self.depth(points)

    def in_teeth(self, points, beside):
        """Nowhere: crowns and roots of a real surface are no truth of these cases."""
        return np.zeros(len(np.atleast_2d(points)), dtype=bool)

    def crossing(self, points, ways, which, *, inwards, reach, step=0.06):
        """First change of sign along rays."""
        points = np.atleast_2d(points)
        ways = np.broadcast_to(np.atleast_2d(ways), points.shape)
        t = np.arange(0.0, reach + step, step)
        rays = points[:, None] + t[:, None] * ways[:, None]
        value = self.signs(rays.reshape(-1, 3), which).reshape(len(points), -1)
        if not inwards:
            value = -value
        turns = (value[:, :-1] >= 0) & (value[:, 1:] < 0)
        first = np.argmax(turns, axis=1)
        row = np.arange(len(points))
        before, after = value[row, first], value[row, first + 1]
        share = before / np.where(before > after, before - after, 1.0)
        return np.where(turns.any(axis=1), t[first] + share * step, np.nan)

    def normal(self, points):
        """Outward unit normals."""
        e = 0.4 * np.eye(3)
        points = np.atleast_2d(points)
        g = np.stack([self.depth(points - d) - self.depth(points + d) for d in e], axis=1)
        return g / np.linalg.norm(g, axis=1, keepdims=True)

    def over_crest(self, near):
        """A place 8 mm over the crest near a point."""
        place = self.crest[np.argmin(np.linalg.norm(self.crest - near, axis=1))]
        return place + 8.0 * self.turn @ self.jaw.crownwards

    def hides(self, points):
        """No tooth and no canal."""
        return np.full(len(points), 1e3), np.full(len(points), 1e3)

    def along(self, points, ways, reach):
        """No tooth and no canal."""
        return np.tile([0.0, 0.0, np.inf], (len(points), 1))

    def surface(self, reach):
        """(n, 3) points of the surface around the crest's middle place, 0.25 mm apart."""
        middle = self.crest[len(self.crest) // 2]
        step = 0.25
        axis = np.arange(-reach - 6.0, reach + 6.0, step)
        grid = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1)
        down = -10.0 * (self.turn @ self.jaw.crownwards)
        points = (grid + middle + down).reshape(-1, 3)
        depth = self.depth(points)
        near = np.abs(depth) < step
        points, depth = points[near], depth[near]
        # Twice on to the surface along the normal.
        for _ in range(2):
            points = points + self.depth(points)[:, None] * self.normal(points)
        return points

    def floor(self, reach):
        """None."""
        return np.empty((0, 3))

    @property
    def canal_line(self):
        """None."""
        return np.empty((0, 3))


def case(seed: int) -> Case:
    """A toothless crest, as a lower jaw or as an upper-like one."""
    rng = np.random.default_rng([seed, 8])
    upper = rng.random() < 0.35
    jaw = real_jaws.upper_like("toothless") if upper else real_jaws.shape("toothless")
    part = float(rng.uniform(0.12, 0.88))
    side = "right" if part < 0.5 else "left"
    quadrant = {(True, "right"): 1, (True, "left"): 2, (False, "left"): 3, (False, "right"): 4}
    position = int(np.clip(round(abs(part - 0.5) * 16 + 0.5), 1, 7))
    c = replace(
        choices(seed), jaw=jaw.jaw, tooth=f"{quadrant[upper, side]}{position}", teeth="none",
        ridge="real", voxel=float(rng.choice([0.25, 0.3, 0.4])), scale="usual", fault="none",
        over_crest=str(rng.choice(["air", "soft"])), filter="none",
    )  # fmt: skip
    level, _ = Rotation.align_vectors([[0.0, 0.0, 1.0]], [jaw.up])
    turn = (Rotation.from_rotvec(np.radians(rng.uniform(-8, 8, 3))) * level).as_matrix()
    pivot = jaw.crest.mean(axis=0)
    at = round(part * (len(jaw.crest) - 1))
    near = jaw.crest[max(at - 30, 0) : at + 31]
    solid = Solid(
        jaw=jaw, turn=turn, pivot=pivot, cortex_mm=c.buccal_plate,
        crest=(near - pivot) @ turn.T,
    )  # fmt: skip
    place = (jaw.crest[at] - pivot) @ turn.T
    plan = _plan(rng, c, solid, place)
    truth = truths(solid, c, plan)
    volume = _scan(rng, c, solid, place)
    return Case(
        choices=c,
        shape=None,
        volume=volume,
        plan=plan,
        truth=truth.mm,
        edges=truth.edges,
        unsteady=frozenset(truth.unsteady),
    )


def _plan(rng, c, solid, place):
    up = solid.turn @ solid.jaw.up
    crown = solid.turn @ solid.jaw.crownwards
    origin = place + 7.0 * crown
    near = np.linalg.norm(solid.crest - place, axis=1) < 0.5 * _FIELD_MM - 2.0
    row = solid.crest[near]
    marks = row[np.linspace(0, len(row) - 1, 6).astype(int)] + rng.normal(0, 0.6, (6, 3))
    along = row[min(len(row) - 1, len(row) // 2 + 8)] - row[max(len(row) // 2 - 8, 0)]
    along /= np.linalg.norm(along)
    outwards = np.cross(along, up)
    way = -crown + rng.normal(0, 0.12) * outwards + rng.normal(0, 0.1) * along
    depth = rng.uniform(0.0, 2.0)
    fixture = Fixture(
        id=FIXTURE,
        tooth=c.tooth,
        platform=place - depth * crown + rng.normal(0, 0.6) * outwards,
        towards_apex=way,
        size=FixtureSize(
            diameter_mm=round(float(rng.uniform(3.0, 4.5)), 1),
            length_mm=float(rng.choice([6.0, 8.0, 10.0])),
        ),
    )
    middle = (solid.jaw.crest[len(solid.jaw.crest) // 2] - solid.pivot) @ solid.turn.T
    midline = middle if Tooth.of(c.tooth).position <= 3 else None
    plan = Plan(
        jaw=c.jaw, level=Level(origin=origin, up=up), arch_points=marks,
        side_answers=told(marks, place, place + outwards, fixture), midline=midline,
        fixtures=(fixture,),
    )  # fmt: skip
    station = arch_of(plan).station(fixture.platform) + rng.uniform(-2, 2)
    return replace(plan, sites=(Site(id=SITE, tooth=c.tooth, station_mm=float(station)),))


def _scan(rng, c, solid, place):
    crown = solid.turn @ solid.jaw.crownwards
    n = round(_FIELD_MM / c.voxel)
    first = place - 6.0 * crown - 0.5 * c.voxel * (n - 1)
    grey = np.empty((n, n, n), np.float32)
    soft, cortex = rng.uniform(20.0, 70.0), rng.uniform(1250.0, 1750.0)
    marrow = {"usual": 350.0, "fatty": -30.0, "sparse": 120.0, "sclerotic": 0.8 * cortex}[c.marrow]
    for k in range(n):
        j, i = np.mgrid[0:n, 0:n]
        at = first + c.voxel * np.stack([i, j, np.full_like(i, k)], axis=-1).reshape(-1, 3)
        depth = solid.depth(at)
        around = np.full(len(at), soft)
        if c.over_crest == "air":
            around[(place - at) @ crown < 3.0] = -980.0
        bone = np.clip(0.5 + depth / c.voxel, 0.0, 1.0)
        inner = np.clip(0.5 + (depth - solid.cortex_mm) / c.voxel, 0.0, 1.0)
        value = around + bone * (cortex - around) + inner * (marrow - cortex)
        grey[k] = value.reshape(n, n)
    grey = gaussian_filter(grey, c.blur_fwhm / 2.3548 / c.voxel, truncate=3.5)
    grey += np.float32(c.noise) * rng.standard_normal(grey.shape, dtype=np.float32)
    affine = np.diag([c.voxel, c.voxel, c.voxel, 1.0])
    affine[:3, 3] = first
    stored = np.clip(np.rint(grey), -1024, 3095).astype(np.int16)
    return Volume(voxels=stored, mm_from_ijk=affine, made_up=np.zeros(n, bool))
