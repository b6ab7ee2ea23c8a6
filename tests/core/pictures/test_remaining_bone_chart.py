"""The remaining bone as a chart: places, greys and hatches follow the map."""

from __future__ import annotations

import numpy as np
import pytest

from core.bone.remaining_bone_rays import EDGE, NOT_FOUND
from core.pictures.ink import STROKES
from core.pictures.remaining_bone_chart import SIZE_MM, direction_marks, remaining_bone_chart
from core.pictures.remaining_bone_picture import remaining_bone_picture
from core.plans.plan import Plan
from tests.core.pictures.test_remaining_bone_picture import FIXTURE, growing, remaining


def test_a_line_lies_where_its_depth_and_direction_are():
    picture = remaining_bone_picture(remaining(growing()), Plan(), FIXTURE)
    chart = remaining_bone_chart(picture)
    drawn = [line for line in chart.lines if line.style == "bone line"]
    wanted = [line for line in picture.lines if not line.is_limit]
    assert len(drawn) == len(wanted) > 0
    deepest = picture.depths_mm[-1]
    for line, of in zip(drawn, wanted, strict=True):
        assert line.points[:, 0] / SIZE_MM[0] * 360.0 == pytest.approx(of.points[:, 0])
        depth = (SIZE_MM[1] / 2 - line.points[:, 1]) / SIZE_MM[1] * deepest
        assert depth == pytest.approx(of.points[:, 1])
    assert {label.text for label in chart.labels} >= {"1", "2", "3"}
    assert all(line.style in STROKES for line in chart.lines)


def test_greys_are_mm_of_bone_and_unknown_is_hatched_not_shaded():
    bone = np.full((17, 72), 3.5)
    state = np.full(bone.shape, EDGE, dtype=np.uint8)
    bone[8:, :36] = np.nan
    state[8:, :36] = NOT_FOUND
    chart = remaining_bone_chart(remaining_bone_picture(remaining(bone, state), Plan(), FIXTURE))
    known = chart.grey[np.isfinite(chart.grey)]
    assert known == pytest.approx(3.5)
    assert np.isnan(chart.grey[-1, 10])
    assert np.isfinite(chart.grey[0, 10])
    hatched = [line for line in chart.lines if line.style == "not found"]
    assert hatched
    for line in hatched:
        assert (line.points[:, 1] < 1.5).all()
        assert (line.points[:, 0] < 1.5).all()


def test_vermilion_only_where_bone_is_below_its_limit():
    good = remaining_bone_chart(
        remaining_bone_picture(remaining(np.full((17, 72), 4.5)), Plan(), FIXTURE)
    )
    assert not any(line.below for line in good.lines)
    poor = remaining_bone_chart(
        remaining_bone_picture(remaining(np.full((17, 72), 0.5)), Plan(), FIXTURE)
    )
    below = [line for line in poor.lines if line.below]
    assert {line.style for line in below} == {"bone below limit"}


def test_labels_cover_no_other_and_stay_on_the_picture():
    chart = remaining_bone_chart(remaining_bone_picture(remaining(growing()), Plan(), FIXTURE))
    places = np.array([label.at for label in chart.labels])
    assert (np.abs(places) < np.array(SIZE_MM) / 2).all()
    for n, one in enumerate(places):
        for other in places[n + 1 :]:
            assert (np.abs(one - other) > (1.5, 2.5)).any()


def test_words_of_the_directions():
    assert [w for _, w in direction_marks("lower")] == [
        "lingual", "distal", "buccal", "mesial", "lingual",
    ]  # fmt: skip
    assert direction_marks("upper")[0] == (-180.0, "palatal")
    assert [w for _, w in direction_marks("lower", named=False)][1::2] == ["towards R", "towards L"]
