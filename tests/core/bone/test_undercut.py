"""Lingual undercut on outlines whose hollow is known."""

from functools import lru_cache
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.spatial import ConvexHull

from core.bone.bone_in_plane import Plane
from core.bone.edges import ScanEdges
from core.bone.half_maximum import HalfMaximum
from core.bone.ridge import ridge_at_site
from core.bone.undercut import _bridge, _level, _Outline, bridge_type, ridge_type, undercut
from core.measurement import SEEN
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


class TestOutlines:
    """Both definitions on lingual outlines drawn by hand: x to the tongue, y to the crowns."""

    PLANE = Plane(origin=(0, 0, 0), across=(1, 0, 0), coronal=(0, 0, 1))

    def outline(self, x_of, low=0.0, high=20.0, sd=0.1):
        y = np.arange(low, high + 1e-9, 0.25)
        bone = SimpleNamespace(plane=self.PLANE)
        return _Outline(x=np.array([x_of(v) for v in y]), y=y, sd=sd, bone=bone, evidence=SEEN)

    @staticmethod
    def bulging(y):
        """A parabola with its most lingual point at 6 mm to the tongue, 10 mm up."""
        return 6.0 - 0.04 * (y - 10.0) ** 2

    def test_level_depth_and_angle(self):
        depth, angle = _level(self.outline(self.bulging), 4.0, 0.5)
        assert depth.value == pytest.approx(0.04 * 36, abs=1e-9)
        # Witness: x to the tongue is -w.
        assert depth.witness[0] == pytest.approx([-6, 0, 4])
        assert depth.witness[1] == pytest.approx([-4.56, 0, 4])
        assert depth.edge_sd_mm == (0.1, 0.1)
        assert angle.value == pytest.approx(np.degrees(np.arctan2(6, 1.44)))
        assert angle.witness[1] == pytest.approx([-6, 0, 10])
        # Both edges turn the line by their part across it, the bulge's height by the other.
        one, two, height = angle.edge_sd_mm
        assert one == two == pytest.approx(np.degrees(0.1 * 6 / (36 + 1.44**2)))
        # The bulge is flat within 0.1 / 3 mm: 2 sqrt(0.0333 / 0.04), in steps of 0.25 mm.
        assert height == pytest.approx(np.degrees(1.5 / np.sqrt(12) * 1.44 / (36 + 1.44**2)))

    def test_only_what_lies_above_the_level_counts(self):
        depth, _ = _level(self.outline(self.bulging), 14.0, 0.5)
        assert depth.value == pytest.approx(0.0, abs=0.05)
        depth, angle = _level(self.outline(lambda y: 5.0), 4.0, 0.5)
        assert depth.value == 0.0
        assert angle.notes[0].code == "undercut_angle_flat"

    @pytest.mark.parametrize(("eps", "told"), [(1.43, True), (1.45, False)])
    def test_a_depth_that_is_no_difference_has_no_angle(self, eps, told):
        assert (_level(self.outline(self.bulging), 4.0, eps)[1].value is not None) is told

    @pytest.mark.parametrize(
        ("level", "told"), [(-0.1, False), (0.1, True), (19.2, True), (19.3, False)]
    )
    def test_a_level_beyond_the_outline_is_not_assessed(self, level, told):
        depth, angle = _level(self.outline(self.bulging), level, 0.5)
        assert (depth.value is not None) is told
        if not told:
            assert {r.notes[0].code for r in (depth, angle)} == {"undercut_level_outside"}

    def test_the_bridge_is_the_greatest_distance_below_a_tangent(self):
        """A notch of 3 mm between two tops of one line, and one of 2 mm on a slanting one."""
        straight = self.outline(lambda y: 5.0 - max(0.0, 3.0 - abs(y - 8.0)))
        found = _bridge(straight)
        assert found.value == pytest.approx(3.0)
        assert found.witness[0] == pytest.approx([-5, 0, 8])
        assert found.witness[1] == pytest.approx([-2, 0, 8])
        assert found.edge_sd_mm == (0.1, 0.1)
        slanting = self.outline(lambda y: 0.75 * y - max(0.0, 2.5 - abs(y - 8.0)))
        assert _bridge(slanting).value == pytest.approx(2.5 * 0.8)

    @pytest.mark.parametrize(("at", "counts"), [(13.0, True), (13.5, False)])
    def test_only_in_the_lower_two_thirds(self, at, counts):
        found = _bridge(self.outline(lambda y: 5.0 - max(0.0, 3.0 - abs(y - at))))
        assert found.value == pytest.approx(3.0 if counts else 0.0)
        assert (found.witness is not None) is counts

    def test_a_convex_outline_has_no_hollow(self):
        found = _bridge(self.outline(self.bulging))
        assert found.value == pytest.approx(0.0, abs=1e-9)
        assert found.edge_sd_mm == (0.1,)

    def test_of_two_hollows_the_deeper(self):
        two = self.outline(
            lambda y: 5.0 - max(0.0, 1.0 - abs(y - 3.0)) - max(0.0, 1.5 - abs(y - 9.0))
        )
        assert _bridge(two).value == pytest.approx(1.5)
