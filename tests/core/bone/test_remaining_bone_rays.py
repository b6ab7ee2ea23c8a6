"""What is marked along the rays of a pose: each place against the structure's own balls."""

import numpy as np
import pytest

from core.bone.edges import STEP_MM
from core.bone.half_maximum import HalfMaximum
from core.bone.remaining_bone_rays import (
    EDGE,
    GAP,
    NO_BONE,
    OTHER,
    REACHES,
    ROOT,
    _edges,
    _marked,
    _shows_faintly,
    remaining_bone_rays,
)
from core.distances.tubes import balls_along, tubes_of
from core.image.volume import Volume
from core.structures import Course, Tapered
from tests.core.bone.test_remaining_bone import TOP, placed, scene
from tests.core.bone_phantoms import CORTEX, SOFT, true_levels


def marked_things(gone):
    _, arch, *_, station = scene()
    f, beside = arch.frame(station), arch.frame(station + 4.0)
    root = Tapered(
        id="root-35",
        kind="root",
        tooth="35",
        points=[beside.origin + (TOP - 0.5) * f.up, beside.origin + (TOP - 9.0) * f.up],
        diameters_mm=(4.0, 1.5),
        to_be_removed=gone,
    )
    across = [f.origin + 4.0 * f.buccal + (TOP - 6.0) * f.up + s * f.travel for s in (-9, 0, 9)]
    return root, Course(id="canal-left", kind="canal", points=across, diameter_mm=2.0)


@pytest.mark.parametrize("gone", [False, True])
def test_a_place_is_marked_where_a_ball_holds_it(gone):
    volume, fixture, frame, levels, finder = placed()
    root, canal = marked_things(gone)
    rays = remaining_bone_rays(
        volume, fixture.platform, frame, levels, finder, (root, canal),
        length_mm=10.0, radius_mm=2.0,
    )  # fmt: skip
    t = np.arange(0, rays.marked.shape[1], 2) * STEP_MM
    places = rays.axis_mm[:, None] + t[:, None] * rays.outward[:, None]
    ends = np.array(root.points)
    along = (places - ends[0]) @ (ends[1] - ends[0]) / np.sum((ends[1] - ends[0]) ** 2)
    share = np.clip(along, 0.0, 1.0)
    off = np.linalg.norm(places - ends[0] - share[..., None] * (ends[1] - ends[0]), axis=-1)
    radius = 2.0 - 1.25 * share
    found = rays.marked[:, ::2]
    kind = GAP if gone else ROOT
    assert (found[off < radius - 0.1] >= kind).all()
    assert (off < radius - 0.1).any()
    assert not (found[off > radius + 0.1] == kind).any()
    middle = np.abs(places - canal.points[1]) @ np.eye(3)
    near = np.linalg.norm(middle, axis=-1) < 0.8
    assert near.any()
    assert (found[near] >= OTHER).all()


def test_every_place_in_its_nearest_ball_is_marked_and_no_other():
    """Each place asked of each ball by itself, without trees and boxes."""
    draw = np.random.default_rng(5)
    structures = [*marked_things(False), marked_things(True)[0]]
    middle = structures[1].points[1]
    points = middle + draw.normal(size=(300, 3)) * 4.0
    outward = draw.normal(size=(300, 3))
    outward /= np.linalg.norm(outward, axis=1)[:, None]
    outward[:3] = np.eye(3)
    t = np.arange(0, 120, 2) * STEP_MM
    places = points[:, None] + t[:, None] * outward[:, None]
    expected = np.zeros(places.shape[:2], dtype=np.uint8)
    for structure, kind in zip(structures, (ROOT, OTHER, GAP), strict=True):
        centres, radii = balls_along(tubes_of(structure)[0], 0.1)
        off = np.linalg.norm(places[:, :, None] - centres, axis=-1)
        inside = off.min(axis=2) < radii[off.argmin(axis=2)]
        expected[inside] = np.maximum(expected[inside], kind)
    assert (expected > 0).sum() > 300
    assert (_marked(points, outward, structures, 120)[:, ::2] == expected).all()


def test_a_plate_too_faint_to_be_bone_still_says_that_there_may_be_bone():
    levels = true_levels(noise=60.0)
    noise = np.random.default_rng(1).normal(0.0, levels.noise_sd, (6, 12, 120))
    empty = levels.soft + noise
    assert not _shows_faintly(empty, levels).any()
    plate = empty.copy()
    plate[..., 60:66] += 0.2 * (levels.cortical - levels.soft)
    assert _shows_faintly(plate, levels).all()


def edges_through(*walls_mm):
    """Edge and state of rays along x from 0 through bone up to a wall, and again from 9 mm on."""
    x = 0.25 * np.arange(-60, 61)
    grey = np.full((40 * len(walls_mm), 40, len(x)), SOFT)
    for n, wall in enumerate(walls_mm):
        grey[40 * n : 40 * (n + 1)] = np.where((x < wall) | (x > 9.0), CORTEX, SOFT)
    matrix = np.diag([0.25, 0.25, 0.25, 1.0])
    matrix[0, 3] = x[0]
    volume = Volume(
        voxels=grey.astype(np.int16), mm_from_ijk=matrix, made_up=np.zeros(len(grey), bool)
    )
    axis = np.array([[0.0, 5.0, 10.0 * n + 5.0] for n in range(len(walls_mm))])
    outward = np.tile([1.0, 0.0, 0.0], (len(walls_mm), 1))
    along = STEP_MM * np.arange(round(14.0 / STEP_MM) + 1)
    outside = np.array([(along > wall) & (along < 9.0) for wall in walls_mm])
    finder = HalfMaximum(levels=true_levels(0.0))
    edge, _, state = _edges(volume, finder, axis, outward, far=14.0, outside=outside)
    return edge, state


def test_what_lies_beyond_the_outside_is_not_bone_around_the_axis():
    # From the axis on there is none, though each ray ends in other bone 9 mm away.
    edge, state = edges_through(-1.0)
    assert state.tolist() == [NO_BONE]
    assert np.isnan(edge).all()
    edge, state = edges_through(3.0, -1.0, 9.5)
    assert state.tolist() == [EDGE, NO_BONE, REACHES]
    # A voxel is bone or not: the drawn step lies half a voxel before the wall or behind it.
    assert edge[0] == pytest.approx(3.0, abs=0.13)
    assert np.isinf(edge[2])
