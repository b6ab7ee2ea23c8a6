"""Places between rays are on a surface where rays end near them, or the outside is beside them."""

import numpy as np

from core.bone.between_rays import on_a_surface
from core.bone.outside import Outside

CORNER = np.array([-15.0, -15.0, -15.0])


def block(dark):
    """An outside of 0.3 mm cells: True where `dark` (x, y, z in mm) says so."""
    at = CORNER[:, None, None, None] + 0.3 * np.indices((100, 100, 100))
    mouth = dark(*at)
    none = np.zeros_like(mouth)
    return Outside(corner_mm=CORNER, ways=np.eye(3), mouth=mouth, hollow=none, closed=none)


def test_a_bridge_through_bone_between_a_near_and_a_far_surface_is_none():
    # Rays along x: one ends at x = -6, its neighbour passes beneath and ends at x = +6.
    ends = np.array([[-6.0, 0.0, 0.0], [6.0, 0.0, 0.75]])
    bridge = ends[0] + np.linspace(0.0, 1.0, 9)[:, None] * (ends[1] - ends[0])
    outside = block(lambda x, y, z: (x < -6.0) | (x > 6.0))
    kept = on_a_surface(bridge, ends, outside)
    assert kept.tolist() == [True, *[False] * 7, True]


def test_a_steep_surface_between_two_rays_stays():
    """The same ends, and the outside beneath: what lies between them is a surface of bone."""
    ends = np.array([[-6.0, 0.0, 0.0], [6.0, 0.0, 0.75]])
    bridge = ends[0] + np.linspace(0.0, 1.0, 9)[:, None] * (ends[1] - ends[0])
    outside = block(lambda x, y, z: z < 0.3)
    assert on_a_surface(bridge, ends, outside).all()


def test_places_without_a_corner_are_on_none():
    places = np.array([[np.nan, 0.0, 0.0], [-6.0, 0.0, 0.1]])
    ends = np.array([[-6.0, 0.0, 0.0], [np.nan, 0.0, 0.0]])
    outside = block(lambda x, y, z: x < -6.0)
    assert on_a_surface(places, ends, outside).tolist() == [False, True]
