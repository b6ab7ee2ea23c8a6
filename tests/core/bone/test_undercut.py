"""Lingual undercut on outlines whose hollow is known."""

from functools import lru_cache

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.spatial import ConvexHull

from core.bone.edges import ScanEdges
from core.bone.half_maximum import HalfMaximum
from core.bone.ridge import ridge_at_site
from core.bone.undercut import bridge_type, ridge_type, undercut
from core.structures import Course
from tests.core.bone_phantoms import Jaw, scan_of, true_levels

STATION, CREST = 58.0, -4.0
LEVEL = -19.0
RISE = 2.4 * np.tan(np.radians(57.7))


def smooth(points):
    """Lingual outline through places (h, w), dense, by monotone pieces."""
    h, w = np.array(sorted(points)).T
    dense = np.linspace(h[0], h[-1], 400)
    return dense, PchipInterpolator(h, w)(dense)


@lru_cache
def jaw_of(kind):
    """Section whose lingual wall (w = −5.5 at its most lingual) has the hollow asked for."""
    lingual = {
        # P lies RISE above line A and 2.4 mm further lingual (Chan 2011: 2.4 mm, 57.7°).
        "undercut": [
            (-30, -1.5),
            (-24, -2.6),
            (LEVEL, -3.1),
            (LEVEL + RISE, -5.5),
            (-10, -4.4),
            (-4.6, -3.4),
        ],
        "parallel": [(-30, -4.0), (-26, -5.0), (-19, -5.0), (-6, -5.0), (-4.6, -4.4)],
        "convex": [(-30, -6.0), (-25, -8.0), (-19, -7.5), (-12, -5.5), (-4.6, -3.4)],
    }[kind]
    h, w = smooth(lingual)
    left = np.stack([w, h], axis=1)
    right = np.array(
        [[3.0, CREST], [4.6, CREST - 0.6], [5.0, CREST - 1.5], [5.0, -20.0], [3.0, -30.0]]
    )
    crest = np.array([[-2.5, CREST]])
    return Jaw(outline=np.concatenate([left, crest, right]), cortex=1.8)


@lru_cache
def measured(kind, marked=True):
    volume, arch = scan_of(jaw_of(kind), station=STATION, voxel=0.25, heights=(-32.0, 0.0))
    levels = true_levels()
    finder = HalfMaximum(levels=levels)
    frames = [arch.frame(STATION + ds) for ds in (-5, 0, 5)]
    canal = Course(
        id="canal-left",
        kind="canal",
        diameter_mm=3.0,
        points=[f.origin + (LEVEL - 2.0 - 1.5) * f.up for f in frames],
    )
    structures = (canal,) if marked else ()
    ridge = ridge_at_site(volume, arch, STATION, levels, "lower", structures, finder)
    scan = ScanEdges(volume=volume, levels=levels, finder=finder)
    return ridge, undercut(scan, ridge.bone, ridge.crest, structures, "lower"), scan


def test_published_undercut_gives_its_depth_angle_and_type():
    """Chan et al. 2011 (Clin Oral Implants Res 22:201): 2.4 mm, 57.7° → rise 3.80 mm, type U."""
    _, found, _ = measured("undercut")
    assert found.type == "U"
    assert found.level_depth.value == pytest.approx(2.4, abs=0.15)
    assert found.angle.value == pytest.approx(57.7, abs=4.0)
    assert abs(found.angle.value - 57.7) < 2.5 * np.hypot.reduce(found.angle.edge_sd_mm)
    assert found.angle.unit == "deg"
    plane = measured("undercut")[0].bone.plane
    prominent, bone = (plane.w(p) for p in found.level_depth.witness)
    assert [prominent, bone] == pytest.approx([-5.5, -3.1], abs=0.2)
    assert found.width_base.value == pytest.approx(5.0 + 3.1, abs=0.2)


@pytest.mark.parametrize(("kind", "letter"), [("parallel", "P"), ("convex", "C")])
def test_upright_and_widening_walls_are_no_undercut(kind, letter):
    _, found, _ = measured(kind)
    assert found.type == letter
    assert found.level_depth.value < 0.5
    assert found.angle.value is None


def test_bridge_is_the_hollow_below_the_tangent():
    outline = jaw_of("undercut").outline
    lingual = outline[:400]
    _, found, _ = measured("undercut")
    hull = ConvexHull(lingual)
    facets = hull.equations[hull.equations[:, 0] < -0.3]
    true = (-(lingual @ facets[:, :2].T + facets[:, 2])).min(axis=1).max()
    assert found.bridge_depth.value == pytest.approx(true, abs=0.15)


def test_without_a_canal_only_the_bridge_is_read():
    _, found, _ = measured("undercut", marked=False)
    assert found.level_depth.value is None
    assert found.level_depth.notes[0].code == "undercut_no_canal"
    assert found.bridge_depth.value is not None


def test_upper_jaw_is_not_assessed():
    ridge, _, scan = measured("undercut")
    found = undercut(scan, ridge.bone, ridge.crest, (), "upper")
    assert found.bridge_depth.notes[0].code == "undercut_lower_jaw_only"


@pytest.mark.parametrize(("depth", "letter"), [(1.9, "I"), (2.0, "II"), (3.0, "II"), (3.1, "III")])
def test_depth_classes(depth, letter):
    """Parnia et al. 2010 (OOOOE 109:e32): I < 2, II 2 to 3, III > 3 mm; the edges are II."""
    assert bridge_type(depth) == letter


def test_types_by_the_published_code():
    """U where the hollow exceeds eps, else C where the base is wider than the crest, else P."""
    assert ridge_type(2.4, 10, 9, 0.5) == "U"
    assert ridge_type(0.4, 9, 10, 0.5) == "C"
    assert ridge_type(0.4, 10, 10.4, 0.5) == "P"
    assert ridge_type(None, 10, 10, 0.5) == ""
