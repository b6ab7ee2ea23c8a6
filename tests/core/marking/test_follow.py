"""A drawn canal between two clicks: found, told where it is not seen, refused where none is.

The canal's middle is a formula; the image is painted from the distance to it by these tests alone.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from scipy.spatial import cKDTree

from core.image.volume import Volume
from core.marking.follow import (
    LEAST_MM,
    MOST_APART_MM,
    Followed,
    follow_canal,
)
from core.measurement import Note

VOXEL = 0.4
SHAPE = (60, 100, 60)
X = np.linspace(-17.0, 17.0, 1401)
LINE = np.stack([1.5 * np.sin(X / 9.0), X, 0.8 * np.cos(X / 7.0)], axis=1)
LUMEN, WALL = 1.1, 0.4


@cache
def scan(*, canal=True, gap=None, seed=1, scale=1.0, shift=0.0, texture=90.0, radius=LUMEN):
    """Spongy bone with grains, cortex on one side, a canal; `gap`: y from which its wall lacks."""
    rng = np.random.default_rng(seed)
    k, j, i = np.indices(SHAPE)
    first = -0.5 * VOXEL * (np.array(SHAPE[::-1]) - 1)
    at = np.stack([i, j, k], axis=-1) * VOXEL + first
    grains = gaussian_filter(rng.standard_normal(SHAPE), 1.0)
    grey = 350.0 + texture / grains.std() * grains
    grey[at[..., 0] > 6.0] = 1500.0
    if canal:
        away = cKDTree(LINE).query(at.reshape(-1, 3), distance_upper_bound=4.0)[0].reshape(SHAPE)
        wall = np.clip(0.5 - (away - radius - WALL) / VOXEL, 0.0, 1.0)
        hole = np.clip(0.5 - (away - radius) / VOXEL, 0.0, 1.0)
        if gap is not None:
            # Where it is not seen, spongy bone runs on as if there were no canal.
            open_at = np.clip((at[..., 1] - gap) / 2.0, 0.0, 1.0)
            wall, hole = wall * (1.0 - open_at), hole * (1.0 - open_at)
        grey = grey + wall * (1000.0 - grey)
        grey = grey + hole * (60.0 - grey)
    grey = gaussian_filter(grey, 0.2 / VOXEL) + rng.normal(0.0, 50.0, SHAPE)
    affine = np.diag([VOXEL, VOXEL, VOXEL, 1.0])
    affine[:3, 3] = first
    return Volume(
        voxels=np.rint(scale * grey + shift).astype(np.int16),
        mm_from_ijk=affine,
        made_up=np.zeros(SHAPE[0], dtype=bool),
    )


def clicks(*y, off=(0.3, 0.0, -0.3)):
    return np.stack([[np.interp(a, X, LINE[:, n]) for n in range(3)] for a in y]) + off


def errors(followed):
    return cKDTree(LINE).query(followed.points_mm)[0]


def test_the_course_between_two_clicks_is_found():
    found = follow_canal(scan(), clicks(-15.0, 15.0))
    assert isinstance(found, Followed)
    assert set(found.seen) == {"yes"}
    assert errors(found).mean() < 0.1
    assert errors(found).max() < 0.3
    assert np.linalg.norm(found.points_mm[0] - clicks(-15.0)[0]) < 1.0
    assert np.linalg.norm(found.points_mm[-1] - clicks(15.0)[0]) < 1.0
    # The rim's steepest place lies a little inside the lumen's edge.
    assert np.all(np.abs(found.lumen_mm - 2 * LUMEN) < 0.6)


@pytest.mark.parametrize(("scale", "shift"), [(0.3, 400.0), (1.0, -3000.0), (6.0, 8000.0)])
def test_the_scale_of_the_grey_values_does_not_matter(scale, shift):
    """Cone-beam grey values are not Hounsfield units."""
    found = follow_canal(scan(scale=scale, shift=shift), clicks(-15.0, 15.0))
    assert isinstance(found, Followed)
    assert errors(found).max() < 0.3


def test_the_order_of_the_clicks_only_turns_the_course_round():
    there, back = (follow_canal(scan(), clicks(*y)) for y in ((-15.0, 15.0), (15.0, -15.0)))
    assert errors(there).max() < 0.3
    gap = cKDTree(there.points_mm).query(back.points_mm[::-1])[0]
    assert gap.max() < 0.6
    assert np.linalg.norm(back.points_mm[0] - there.points_mm[-1]) < 0.5


def test_what_the_image_does_not_show_is_not_seen_and_less_certain():
    found = follow_canal(scan(gap=4.0), clicks(-15.0, 14.0))
    assert isinstance(found, Followed)
    y = found.points_mm[:, 1]
    seen = np.array(found.seen)
    assert set(seen[y < 2.0]) == {"yes"}
    assert set(seen[y > 9.0]) == {"no"}
    assert found.sd_mm[y > 9.0].min() > 3 * found.sd_mm[y < 2.0].max()
    assert errors(found)[y < 2.0].max() < 0.3


@pytest.mark.parametrize("seed", range(6))
def test_nothing_is_proposed_where_no_canal_is(seed):
    found = follow_canal(scan(canal=False, seed=seed, texture=150.0), clicks(-14.0, 14.0))
    assert isinstance(found, Note)
    assert found.code in ("follow-no-canal", "follow-too-wide")


def test_marrow_between_plates_is_no_canal():
    found = follow_canal(scan(radius=2.6, texture=20.0), clicks(-14.0, 14.0))
    assert isinstance(found, Note)


def test_a_click_beside_the_canal_is_not_believed_against_the_image():
    marks = np.concatenate([clicks(-15.0), clicks(0.0, off=(-4.0, 0.0, 3.0)), clicks(15.0)])
    found = follow_canal(scan(), marks)
    if isinstance(found, Followed):
        near = np.abs(found.points_mm[:, 1]) < 2.0
        assert "yes" not in np.array(found.seen)[near]


def test_marks_too_near_too_far_and_outside_the_scan_are_refused():
    near = follow_canal(scan(), clicks(0.0, LEAST_MM - 1.5))
    assert near.code == "follow-too-short"
    far = follow_canal(scan(), [[0.0, 0.0, 0.0], [0.0, MOST_APART_MM + 1.0, 0.0]])
    assert far.code == "follow-too-far"
    beside = follow_canal(scan(), [[100.0, -10.0, 0.0], [100.0, 10.0, 0.0]])
    assert beside.code == "follow-not-scanned"
    for note in (near, far, beside):
        assert note.message


def test_it_stops_when_asked():
    found = follow_canal(scan(), clicks(-15.0, 15.0), cancelled=lambda: True)
    assert found.code == "follow-cancelled"
