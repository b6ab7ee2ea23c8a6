"""What is marked along the rays of a pose: each place against the structure's own balls."""

import numpy as np
import pytest

from core.bone.edges import STEP_MM
from core.bone.remaining_bone_rays import GAP, OTHER, ROOT, _shows_faintly, remaining_bone_rays
from core.structures import Course, Tapered
from tests.core.bone.test_remaining_bone import TOP, placed, scene
from tests.core.bone_phantoms import true_levels


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


def test_a_plate_too_faint_to_be_bone_still_says_that_there_may_be_bone():
    levels = true_levels(noise=60.0)
    noise = np.random.default_rng(1).normal(0.0, levels.noise_sd, (6, 12, 120))
    empty = levels.soft + noise
    assert not _shows_faintly(empty, levels).any()
    plate = empty.copy()
    plate[..., 60:66] += 0.2 * (levels.cortical - levels.soft)
    assert _shows_faintly(plate, levels).all()
