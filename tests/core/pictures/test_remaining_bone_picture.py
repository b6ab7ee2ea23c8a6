"""The picture of the remaining bone against a map whose lines are known."""

import numpy as np
import pytest

from core.bone.remaining_bone import RemainingBoneMap
from core.bone.remaining_bone_rays import EDGE, NOT_FOUND
from core.fixture import Fixture, FixtureSize
from core.measurement import Evidence
from core.pictures.remaining_bone_picture import remaining_bone_picture
from core.plans.plan import ChangedLimit, Plan

DEPTHS = np.linspace(0.0, 8.0, 17)
TURNS = np.arange(-180.0, 180.0, 5.0)
FIXTURE = Fixture(
    id="36", tooth="36", platform=(0, 0, 0), towards_apex=(0, 0, -1),
    size=FixtureSize(diameter_mm=4.0, length_mm=8.0),
)  # fmt: skip


def remaining(bone, state=None):
    shape = bone.shape
    return RemainingBoneMap(
        depths_mm=DEPTHS, turns_deg=TURNS, bone_mm=bone, gap_mm=np.zeros(shape),
        other_mm=np.zeros(shape), state=np.full(shape, EDGE, np.uint8) if state is None else state,
        sd_mm=np.zeros(shape), surface_mm=np.zeros((*shape, 3)), edge_mm=np.zeros((*shape, 3)),
        evidence=Evidence(rests_on="image"),
    )  # fmt: skip


def growing():
    """Bone of 0.6 mm a millimetre of depth: each line lies level, at its value over 0.6."""
    return np.repeat(0.6 * DEPTHS[:, None], len(TURNS), axis=1)


def test_lines_lie_where_the_bone_has_their_value():
    picture = remaining_bone_picture(remaining(growing()), Plan(), FIXTURE)
    lines = {line.label: line for line in picture.lines if not line.is_limit}
    assert set(lines) == {"1", "2", "3", "4"}
    for label, line in lines.items():
        assert line.points[:, 1] == pytest.approx(float(label) / 0.6, abs=1e-9)
        assert line.points[:, 0].min() == -180.0
        assert line.points[:, 0].max() == 180.0


def test_below_is_judged_by_side_and_depth():
    # 36 is a sixth tooth: buccal 1.5 to 4 mm deep, then 1.0; lingual 1.0; none to the neighbours.
    picture = remaining_bone_picture(remaining(np.full((17, 72), 1.2)), Plan(), FIXTURE)
    at = {turn: picture.below[:, np.flatnonzero(picture.turns_deg == turn)[0]] for turn in
          (0.0, 90.0, 180.0)}  # fmt: skip
    assert at[0.0].tolist() == (DEPTHS <= 4.0).tolist()
    assert not at[90.0].any()
    assert not at[180.0].any()


def test_a_changed_limit_moves_its_line():
    plan = Plan(limits={"wall-lingual": ChangedLimit(value=2.0)})
    picture = remaining_bone_picture(remaining(growing()), plan, FIXTURE)
    limit = np.concatenate([line.points for line in picture.lines if line.is_limit])
    lingual = limit[np.abs(limit[:, 0]) >= 135.0]
    assert lingual[:, 1] == pytest.approx(2.0 / 0.6)


def test_unknown_is_unknown_and_has_no_line():
    bone, state = np.full((17, 72), 1.5), np.full((17, 72), EDGE, np.uint8)
    bone[3:9, 30:40], state[3:9, 30:40] = np.nan, NOT_FOUND
    picture = remaining_bone_picture(remaining(bone, state), Plan(), FIXTURE)
    assert picture.unknown.sum() == 60
    assert not picture.below[picture.unknown].any()
    assert picture.bone_mm.shape == (17, 73)
