"""Number boxes of a fixture: what is read is what setting it gives back."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.arch import Arch, fixture_frame
from core.fixture import Fixture, FixtureSize
from core.level import Level
from core.plans.pose import Pose, placed, pose_of, turn_through

X = np.linspace(-25.0, 25.0, 9)
ARCH = Arch.trace(
    np.stack([X, X**2 / 20.0, np.zeros_like(X)], axis=1),
    level=Level(origin=(0, 0, 0), up=(0, 0, 1)),
)


def fixture(tooth="36", way=-1.0):
    return Fixture(
        id="f",
        tooth=tooth,
        platform=(18.0, 16.2, 0.0),
        towards_apex=(0.0, 0.0, way),
        size=FixtureSize(diameter_mm=4.0, length_mm=8.0),
    )


@given(
    station=st.floats(5.0, 60.0),
    buccal=st.floats(-2.0, 2.0),
    height=st.floats(-15.0, 5.0),
    lean=st.tuples(st.floats(-50.0, 50.0), st.floats(-50.0, 50.0)),
    upper=st.booleans(),
)
def test_reading_what_was_set(station, buccal, height, lean, upper):
    pose = Pose(
        station_mm=station,
        buccal_mm=buccal,
        height_mm=height,
        lean_buccal_deg=lean[0],
        lean_mesial_deg=lean[1],
    )
    start = fixture(tooth="", way=1.0 if upper else -1.0)
    back = pose_of(placed(start, pose, ARCH), ARCH)
    for name in ("station_mm", "buccal_mm", "height_mm", "lean_buccal_deg", "lean_mesial_deg"):
        assert getattr(back, name) == pytest.approx(getattr(pose, name), abs=1e-4)


def test_buccal_is_away_from_the_tongue_and_mesial_towards_the_midline():
    pose = pose_of(fixture(), ARCH)
    out = placed(fixture(), Pose(**_fields(pose, buccal_mm=pose.buccal_mm + 1.0)), ARCH)
    assert out.platform[0] > fixture().platform[0]  # the patient's left is +x (LPS)
    leaned = placed(fixture(), Pose(**_fields(pose, lean_mesial_deg=10.0)), ARCH)
    # The platform's end leans to the front: LPS y grows backwards.
    assert leaned.a[1] < fixture().a[1]


@given(st.floats(-180.0, 180.0), st.floats(0.0, 8.0), st.floats(0.1, 9.0))
def test_the_plane_holds_the_point(turn, depth, far):
    f = fixture()
    frame = fixture_frame(f, ARCH)
    point = f.on_axis(depth) + far * frame.direction(turn)
    found = turn_through(f, frame, point)
    assert -90.0 <= found <= 90.0
    right = frame.direction(found)
    off_plane = (point - f.platform) @ np.cross(f.a, right)
    assert abs(off_plane) < 1e-6


def test_a_point_on_the_axis_needs_no_turn():
    f = fixture()
    assert turn_through(f, fixture_frame(f, ARCH), f.on_axis(9.0)) == 0.0


def _fields(pose, **changes):
    names = ("station_mm", "buccal_mm", "height_mm", "lean_buccal_deg", "lean_mesial_deg")
    return {name: getattr(pose, name) for name in names} | changes
