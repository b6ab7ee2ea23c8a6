"""Clearances against dense triangulated surfaces: trimesh, FCL and brute force.

The surfaces are built here, apart from the program's own solids: a lathe of 360 sectors (its
flat facets lie at most r (1 - cos 0.5 deg) = 0.0001 mm inside) and balls strung closely on
SciPy's curves. References: trimesh (closest points on triangles), FCL (Flexible Collision Library,
Pan, Chitta, Manocha 2012, IEEE ICRA), SciPy's RBFInterpolator and ConvexHull.
"""

from __future__ import annotations

from itertools import pairwise

import fcl
import numpy as np
import pytest
import trimesh
from scipy.interpolate import CubicSpline, RBFInterpolator
from scipy.spatial import ConvexHull, cKDTree

from core.distances.clearance import clearance
from core.distances.first_hit import first_hit_along_axis
from core.distances.fixture_pair import between_fixtures
from core.fixture import Fixture, FixtureSize
from core.structures import Course, Floor, Tapered

TAPERED = FixtureSize(
    diameter_mm=4.5, length_mm=8.0, platform_diameter_mm=4.2, apical_diameter_mm=3.2,
    taper_from_mm=4.0,
)  # fmt: skip
CYLINDER = FixtureSize(diameter_mm=4.0, length_mm=10.0)


def posed(size, platform, towards_apex):
    return Fixture(id="f", platform=platform, towards_apex=towards_apex, size=size)


def outline_of(size, step):
    """Depth and radius from the middle of the platform to the middle of the apex, finely cut."""
    corners = [
        (0.0, 0.0), (0.0, size.platform / 2), (0.5, size.diameter_mm / 2),
        (size.taper, size.diameter_mm / 2), (size.length_mm, size.apical / 2),
        (size.length_mm, 0.0),
    ]  # fmt: skip
    cut = [np.array(corners[:1])]
    for a, b in pairwise(corners):
        count = max(1, int(np.ceil(np.hypot(b[0] - a[0], b[1] - a[1]) / step)))
        cut.append(np.linspace(a, b, count + 1)[1:] if a != b else np.empty((0, 2)))
    return np.vstack(cut)


def lathe(fixture, sectors=360, step=0.25):
    """Closed mesh of the fixture's outline turned about its axis, of small triangles."""
    axis = fixture.towards_apex
    u = np.cross(axis, np.eye(3)[int(np.argmin(np.abs(axis)))])
    u /= np.linalg.norm(u)
    v = np.cross(axis, u)
    turns = np.linspace(0, 2 * np.pi, sectors, endpoint=False)
    around = np.cos(turns)[:, None] * u + np.sin(turns)[:, None] * v
    outline = outline_of(fixture.size, step)[1:-1]
    rings = [fixture.platform + d * axis + r * around for d, r in outline]
    vertices = np.vstack([*rings, fixture.platform, fixture.apex])
    k = np.arange(sectors)
    n = (k + 1) % sectors
    top, bottom = len(vertices) - 2, len(vertices) - 1
    last = (len(rings) - 1) * sectors
    faces = [np.stack([np.full(sectors, top), n, k], axis=1)]
    for ring in range(len(rings) - 1):
        a, b = ring * sectors + k, ring * sectors + n
        faces += [np.stack([a, b, b + sectors], axis=1), np.stack([a, b + sectors, a + sectors], 1)]
    faces.append(np.stack([np.full(sectors, bottom), last + k, last + n], axis=1))
    return trimesh.Trimesh(vertices=vertices, faces=np.vstack(faces), process=False)


class Distances:
    """Signed distances to a convex mesh: trimesh's closest point on the triangles near by."""

    def __init__(self, fixture):
        self.mesh = lathe(fixture)
        self.tree = cKDTree(self.mesh.triangles_center)
        self.hull = ConvexHull(lathe(fixture, step=20.0).vertices)

    def __call__(self, points, near=48):
        points = np.asarray(points)
        faces = self.tree.query(points, k=near)[1]
        closest = trimesh.triangles.closest_point(
            self.mesh.triangles[faces.ravel()], np.repeat(points, near, axis=0)
        ).reshape(len(points), near, 3)
        distance = np.linalg.norm(closest - points[:, None, :], axis=2).min(axis=1)
        side = (self.hull.equations[:, :3] @ points.T + self.hull.equations[:, 3:]).max(axis=0)
        return np.where(side < 0, -distance, distance)


def fcl_model(mesh):
    model = fcl.BVHModel()
    model.beginModel(len(mesh.vertices), len(mesh.faces))
    model.addSubModel(np.asarray(mesh.vertices), np.asarray(mesh.faces))
    model.endModel()
    return fcl.CollisionObject(model, fcl.Transform())


def centripetal(marks, count):
    u = np.append(0, np.cumsum(np.sqrt(np.linalg.norm(np.diff(marks, axis=0), axis=1))))
    return CubicSpline(u, marks, bc_type="not-a-knot")(np.linspace(0, u[-1], count))


@pytest.fixture(scope="module")
def poses():
    rng = np.random.default_rng(20)
    out = []
    for size in (TAPERED, CYLINDER):
        for _ in range(2):
            tilt = np.append(rng.normal(0, 0.25, 2), -1.0)
            out.append(posed(size, rng.normal(0, 1.0, 3), tilt))
    return out


def test_signed_distance_against_trimesh(poses):
    from core.distances.solid import FixtureSolid

    rng = np.random.default_rng(21)
    for fixture in poses:
        points = fixture.on_axis(5.0) + rng.uniform(-8, 8, (400, 3))
        ours = FixtureSolid.of(fixture).signed_distance(points)
        np.testing.assert_allclose(ours, Distances(fixture)(points), atol=1e-3)
        mesh = lathe(fixture)
        for point, distance in zip(points[:8], ours[:8], strict=True):
            near = trimesh.triangles.closest_point(
                mesh.triangles, np.tile(point, (len(mesh.faces), 1))
            )
            brute = np.linalg.norm(near - point, axis=1).min()
            assert abs(distance) == pytest.approx(brute, abs=2e-4)
        assert (ours < 0).any()


def test_canals_against_balls_on_a_dense_curve(poses):
    rng = np.random.default_rng(22)
    overlaps = 0
    for index, fixture in enumerate(poses * 3):
        y = np.linspace(-15, 15, 8)
        depth = rng.uniform(8, 13)
        marks = np.column_stack([2 + 0.02 * y**2, y, -depth + 0.05 * y])
        marks += rng.normal(0, 0.5, marks.shape)
        course = Course(id="c", kind="canal", points=marks, diameter_mm=3.0)
        centres = centripetal(marks, 20001)
        close = centres[np.linalg.norm(centres - fixture.on_axis(5.0), axis=1) < 14]
        signed = Distances(fixture)
        coarse = signed(close[::40])
        best = int(np.argmin(coarse)) * 40
        brute = signed(close[max(0, best - 80) : best + 80 : 2]).min() - 1.5
        assert clearance(fixture, course).value == pytest.approx(brute, abs=0.001), index
        overlaps += brute < 0
    assert 0 < overlaps < 12


def test_roots_against_fcl(poses):
    """FCL's distance between the lathe and a mesh of the tapered balls' hull, where apart."""
    rng = np.random.default_rng(23)
    for fixture in poses:
        points = np.array([[0, 6.5, 4], [0.5, 6.5, -4], [0.5, 6, -13]]) + rng.normal(0, 0.3, (3, 3))
        tooth = Tapered(id="r", kind="root", points=points, diameters_mm=(5.0, 2.0))
        lengths = np.append(0, np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1)))
        radii = np.interp(lengths, [0, lengths[-1]], [2.5, 1.0])
        ball = trimesh.creation.icosphere(subdivisions=4)
        brute = np.inf
        for k in range(2):
            hull = ConvexHull(
                np.vstack([points[k] + radii[k] * ball.vertices,
                           points[k + 1] + radii[k + 1] * ball.vertices])
            )  # fmt: skip
            mesh = trimesh.Trimesh(vertices=hull.points, faces=hull.simplices, process=False)
            answer = fcl.DistanceResult()
            brute = min(
                brute,
                fcl.distance(
                    fcl_model(lathe(fixture, step=1.0)),
                    fcl_model(mesh),
                    fcl.DistanceRequest(),
                    answer,
                ),
            )
        # The inscribed mesh of balls lies up to 0.003 mm inside them.
        value = clearance(fixture, tooth).value
        assert value > 0
        assert brute - 0.004 <= value <= brute + 1e-4


def test_floors_against_a_dense_thin_plate_surface(poses):
    rng = np.random.default_rng(24)
    for fixture in poses:
        xy = np.array([(x, y) for x in (-9, -4, 0, 4, 9) for y in (-9, -4, 0, 4, 9)], dtype=float)
        xy += rng.normal(0, 0.7, xy.shape)
        z = -13 + 0.03 * (xy[:, 0] - 2) ** 2 * -1 + rng.normal(0, 0.5, len(xy))
        marks = np.column_stack([xy, z])
        floor = Floor(id="s", of="sinus", points=marks)
        centre = marks.mean(axis=0)
        frame = np.linalg.svd(marks - centre)[2]
        local = (marks - centre) @ frame.T
        spline = RBFInterpolator(local[:, :2], local[:, 2], kernel="thin_plate_spline", degree=1)
        hull = ConvexHull(local[:, :2])
        signed = Distances(fixture)

        def dense(low, high, step, spline=spline, hull=hull, frame=frame, centre=centre):
            axes = [np.arange(a, b, step) for a, b in zip(low, high, strict=True)]
            grid = np.stack(np.meshgrid(*axes), axis=-1).reshape(-1, 2)
            inner = (hull.equations[:, :2] @ grid.T + hull.equations[:, 2:] <= 1e-9).all(axis=0)
            grid = grid[inner]
            return grid, centre + np.column_stack([grid, spline(grid)]) @ frame

        grid, points = dense(local[:, :2].min(0), local[:, :2].max(0), 0.5)
        near = grid[int(np.argmin(signed(points)))]
        _, points = dense(near - 0.7, near + 0.7, 0.025)
        brute = signed(points).min()
        assert clearance(fixture, floor).value == pytest.approx(brute, abs=0.002)


def test_fixture_pairs_apart_against_fcl(poses):
    rng = np.random.default_rng(25)
    for fixture in poses:
        for _ in range(3):
            other = posed(
                CYLINDER, fixture.platform + np.array([rng.normal(0, 1), 9.5, rng.normal(0, 2)]),
                np.append(rng.normal(0, 0.15, 2), -1.0),
            )  # fmt: skip
            models = [fcl_model(lathe(f, step=2.0)) for f in (fixture, other)]
            brute = fcl.distance(*models, fcl.DistanceRequest(), fcl.DistanceResult())
            reading = between_fixtures(fixture, other)
            assert brute > 0
            assert reading.value == pytest.approx(brute, abs=0.001)
            assert np.linalg.norm(reading.witness[1] - reading.witness[0]) == pytest.approx(
                brute, abs=0.001
            )


def test_overlapping_fixture_pairs_against_the_difference_body(poses):
    """Penetration depth = distance from the origin to the hull of all differences of vertices."""
    rng = np.random.default_rng(26)
    for fixture in poses:
        other = posed(
            TAPERED, fixture.platform + np.array([rng.normal(0, 1), 2.0, rng.normal(-2, 1)]),
            np.append(rng.normal(0, 0.3, 2), -1.0),
        )  # fmt: skip
        one, two = (lathe(f, 96, 20.0).vertices[:-2] for f in (fixture, other))
        hull = ConvexHull((two[:, None, :] - one[None, :, :]).reshape(-1, 3))
        depth = -hull.equations[:, 3].max()
        reading = between_fixtures(fixture, other)
        assert depth > 0.2
        # The polygons of 96 sides lie up to 0.0012 mm inside each round body.
        assert reading.value == pytest.approx(-depth, abs=0.005)


def test_first_hit_against_points_of_the_surfaces(poses):
    rng = np.random.default_rng(27)
    ball = trimesh.creation.icosphere(subdivisions=4).vertices
    for fixture in poses:
        y = np.linspace(-15, 15, 8)
        marks = np.column_stack([1 + 0.02 * y**2, y, -13 + 0.05 * y]) + rng.normal(0, 0.4, (8, 3))
        course = Course(id="c", kind="canal", points=marks, diameter_mm=3.0)
        centres = centripetal(marks, 601)
        offset = (centres[:, None, :] + 1.5 * ball[None, ::2, :]).reshape(-1, 3) - fixture.platform
        along = offset @ fixture.towards_apex
        away = np.linalg.norm(offset - np.outer(along, fixture.towards_apex), axis=1)
        brute = along[away <= 4.2].min()
        value = first_hit_along_axis(fixture.platform, fixture.towards_apex, 4.2, course).value
        # The points lie on the balls, so they can only be met later.
        assert value <= brute + 1e-9
        assert value == pytest.approx(brute, abs=0.06)


def test_the_lathe_is_what_it_says(poses):
    """The reference itself: closed, and of the volume of the turned outline (Pappus)."""
    mesh = lathe(poses[0])
    assert mesh.is_watertight
    cones = [(4.2, 4.5, 0.5), (4.5, 4.5, 3.5), (4.5, 3.2, 4.0)]
    volume = sum(np.pi * h / 12 * (a * a + a * b + b * b) for a, b, h in cones)
    assert mesh.volume == pytest.approx(volume, rel=1e-4)
    tree = cKDTree(mesh.vertices)
    assert tree.query(poses[0].platform)[0] < 1e-9
