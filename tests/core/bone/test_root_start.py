"""Where a root begins to be looked for, against the cone that was painted."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from core.bone.bone_levels import Blur
from core.bone.root_start import _circle, root_start
from core.image.volume import Volume
from tests.core.bone.test_found_root import APEX, AXIS, NECK, levels, scan, true_diameter

UP = np.array([0.0, 0.0, -1.0])
MIDDLE = 0.5 * (NECK + APEX)


def start(click, **other):
    return root_start(scan(), replace(levels(), **other), MIDDLE + np.array(click), UP)


@pytest.mark.parametrize(
    "click",
    [
        (0, 0, 0),
        (0.7, 0, 0),
        (-0.7, 0, 0),
        (0, 0.7, 0),
        (0, -0.7, 0),
        (0.6, 0.6, 1),
        (-0.5, 0.5, 3),
    ],
)
def test_the_circle_is_the_roots_wherever_in_it_one_clicks(click):
    click = np.array(click, dtype=float)
    _, cone = start(click)
    # On the root's axis, at the click's height.
    along = float((MIDDLE + click - NECK)[2] / AXIS[2])
    at = NECK + along * AXIS
    assert cone.origin[2] == pytest.approx(at[2])
    assert np.linalg.norm(cone.origin - at) < 0.3
    assert 2 * cone.radius == pytest.approx(true_diameter(at), abs=0.8)
    assert cone.axis.tolist() == UP.tolist()
    assert cone.one @ UP == pytest.approx(0.0)
    assert cone.taper < 0
    assert cone.sd is None


def test_its_levels_are_those_of_the_scan():
    known, _ = start((0, 0, 0))
    assert known.soft == 50.0
    assert known.dentine == pytest.approx(1550, abs=40)
    # Blur of the scan and of the voxel together; a voxel's is its edge over the root of twelve.
    assert known.blur_mm == pytest.approx(math.sqrt(0.2**2 + 0.3**2 / 12))
    # Three layers are averaged, texture is 4 % of the contrast, a voxel is three samples long.
    one = math.hypot(40.0 / math.sqrt(3), 0.04 * (known.dentine - 50.0))
    assert known.noise == pytest.approx(one * math.sqrt(3))


def test_a_sharpened_scan_has_the_voxels_blur_at_least():
    blur = Blur(variance_mm2=-0.05, sd_mm=0.05, seen=True)
    assert start((0, 0, 0), blur=blur)[0].blur_mm == pytest.approx(0.12)


def test_what_is_darker_than_half_of_cortex_is_no_root():
    """Dentine reads 1550 over 50: half as bright as cortex of 3050."""
    assert start((0, 0, 0), cortical=3150.0).code == "root-not-found"
    assert not hasattr(start((0, 0, 0), cortical=2950.0), "code")


def test_outside_the_scan_there_is_none():
    assert start((0, 0, -30.0)).code == "root-not-scanned"
    assert start((-12.0, 0, 0)).code == "root-not-scanned"


def test_where_nothing_is_darker_all_round_there_is_none():
    even = Volume(
        voxels=np.full_like(scan().voxels, 1500), mm_from_ijk=scan().mm_from_ijk,
        made_up=scan().made_up,
    )  # fmt: skip
    assert root_start(even, levels(), MIDDLE, UP).code == "root-not-found"


U = 0.2 * np.arange(-38, 39)


def disc(middle, radius, *, ring=50.0, beyond=400.0):
    a, b = np.meshgrid(U, U, indexing="ij")
    away = np.hypot(a - middle[0], b - middle[1]) - radius
    share = [np.clip(0.5 - (away - more) / 0.4, 0.0, 1.0) for more in (0.0, 0.5)]
    return 1550.0 * share[0] + ring * (share[1] - share[0]) + beyond * (1 - share[1])


class TestCircle:
    """Circles of a picture, dark all round: middles every 0.3 mm, radii every 0.2."""

    @pytest.mark.parametrize("middle", [(0, 0), (0.6, 0), (-0.6, 0.3), (0.3, -0.9), (-0.9, -0.6)])
    @pytest.mark.parametrize("radius", [1.0, 1.8, 3.0, 4.2])
    def test_middle_and_radius(self, middle, radius):
        found, size = _circle(disc(middle, radius), U, 1550.0, 50.0)
        assert found == pytest.approx(middle, abs=0.31)
        assert size == pytest.approx(radius, abs=0.25)

    def test_alike_whichever_way_the_picture_is_turned(self):
        picture = disc((0.6, -0.3), 2.0)
        (a, b), size = _circle(picture, U, 1550.0, 50.0)
        for turned, middle in (
            (picture.T, (b, a)),
            (picture[::-1], (-a, b)),
            (picture[:, ::-1], (a, -b)),
        ):
            found, other = _circle(turned, U, 1550.0, 50.0)
            assert found == pytest.approx(middle, abs=1e-9)
            assert other == size

    def test_of_two_the_one_around_the_click(self):
        near, far = disc((0.0, 0.0), 1.6), disc((4.2, 0.0), 1.6)
        both = np.where(U[:, None] < 2.1, near, far)
        assert _circle(both, U, 1550.0, 50.0)[0] == pytest.approx((0.0, 0.0), abs=1e-9)

    def test_a_dark_ring_within_is_not_crossed(self):
        """A root, its ligament, the lamina dura as bright, and marrow: not the lamina's outside."""
        a, b = np.meshgrid(U, U, indexing="ij")
        away = np.hypot(a, b)
        picture = np.select([away < 1.6, away < 2.0, away < 2.6], [1550.0, 900.0, 1550.0], 300.0)
        assert _circle(picture, U, 1550.0, 50.0)[1] == pytest.approx(1.6, abs=0.21)

    @pytest.mark.parametrize(("rise", "seen"), [(0.03, False), (0.08, True)])
    def test_a_ring_hardly_darker_than_inside_is_none(self, rise, seen):
        picture = disc((0, 0), 2.0, ring=1550.0 - rise * 1500.0, beyond=1550.0)
        assert (_circle(picture, U, 1550.0, 50.0) is not None) is seen
