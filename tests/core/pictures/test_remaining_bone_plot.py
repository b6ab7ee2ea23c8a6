"""The remaining bone as a plot: places, greys and hatches follow the map."""

from __future__ import annotations

import numpy as np
import pytest

from core.bone.remaining_bone_rays import EDGE, NOT_FOUND
from core.pictures.ink import STROKES
from core.pictures.plot_chart import plot_chart
from core.pictures.plot_layout import layout
from core.pictures.plot_words import read_out
from core.pictures.remaining_bone_picture import remaining_bone_picture
from core.pictures.remaining_bone_plot import direction_marks, remaining_bone_plot
from core.plans.plan import Plan
from tests.core.pictures.test_remaining_bone_picture import FIXTURE, growing, remaining

SIZE_MM = (106.0, 52.0)


def plotted(picture):
    return remaining_bone_plot(picture, jaw="lower")


def remaining_bone_chart(picture):
    return plot_chart(plotted(picture), size_mm=SIZE_MM)


def test_a_line_lies_where_its_depth_and_direction_are():
    picture = remaining_bone_picture(remaining(growing()), Plan(), FIXTURE)
    chart = remaining_bone_chart(picture)
    drawn = [line for line in chart.lines if line.style == "bone line"]
    wanted = [line for line in picture.lines if not line.is_limit]
    assert len(drawn) == len(wanted) > 0
    deepest = picture.depths_mm[-1]
    place = layout(plotted(picture), SIZE_MM)
    for line, of in zip(drawn, wanted, strict=True):
        turn = (line.points[:, 0] - place.left) / (place.right - place.left) * 360.0 - 180.0
        assert turn == pytest.approx(of.points[:, 0])
        depth = (place.top - line.points[:, 1]) / (place.top - place.bottom) * deepest
        assert depth == pytest.approx(of.points[:, 1])
    assert {label.text for label in chart.labels} >= {"1", "2", "3"}
    assert all(line.style in STROKES for line in chart.lines)


def test_greys_are_mm_of_bone_and_unknown_is_hatched_not_shaded():
    bone = np.full((17, 72), 3.5)
    state = np.full(bone.shape, EDGE, dtype=np.uint8)
    bone[8:, :36] = np.nan
    state[8:, :36] = NOT_FOUND
    picture = remaining_bone_picture(remaining(bone, state), Plan(), FIXTURE)
    chart, place = remaining_bone_chart(picture), layout(plotted(picture), SIZE_MM)
    known = chart.grey[np.isfinite(chart.grey)]
    assert known == pytest.approx(3.5)
    col = round((place.left + SIZE_MM[0] / 2) / chart.pixel_mm) + 10
    assert np.isnan(chart.grey[round((SIZE_MM[1] / 2 - place.bottom) / chart.pixel_mm) - 2, col])
    assert np.isfinite(chart.grey[round((SIZE_MM[1] / 2 - place.top) / chart.pixel_mm) + 2, col])
    middle = np.array([(place.left + place.right) / 2, (place.bottom + place.top) / 2])
    hatched = [line for line in chart.lines if line.style == "not found"]
    assert hatched
    for line in hatched:
        assert (line.points - middle < 1.8).all()


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


def test_the_read_out_is_the_bone_at_the_nearest_ray_and_nothing_where_it_is_not_known():
    bone = np.full((17, 72), 3.58)
    state = np.full(bone.shape, EDGE, dtype=np.uint8)
    bone[8:, :36] = np.nan
    state[8:, :36] = NOT_FOUND
    plot = plotted(remaining_bone_picture(remaining(bone, state), Plan(), FIXTURE))
    assert read_out(plot, 90.0, 6.0) == "depth 6.0 mm · mesial · bone 3.5 mm"
    assert read_out(plot, 45.0, 6.0) == "depth 6.0 mm · buccal–mesial · bone 3.5 mm"
    assert read_out(plot, -90.0, 6.0).endswith("bone not known")
