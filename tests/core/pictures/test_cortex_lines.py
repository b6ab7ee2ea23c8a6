"""Edges of the cortex on pictures, against a jaw whose edges are known."""

from __future__ import annotations

import numpy as np
import pytest

from core.bone.level_learning import bone_levels
from core.image.section import across_arch_grid
from core.pictures.chart import View, across_arch_chart, through_axis_chart
from core.pictures.cortex_lines import cortex_lines
from tests.sheet_material import arch_of, fixture_at, plan_with, round_jaw

VOLUME = round_jaw(voxel_mm=0.4)
FIXTURE = fixture_at(15.0, "36")
PLAN = plan_with(FIXTURE)
ARCH = arch_of(PLAN)
LEVELS = bone_levels(VOLUME, ARCH)


def test_outer_and_inner_edges_lie_where_the_jaw_has_them():
    station = ARCH.station(FIXTURE.platform)
    grid = across_arch_grid(
        ARCH, station, size_mm=(46.0, 60.0), pixel_mm=0.2, centre_height_mm=-15.0
    )
    lines = cortex_lines(VOLUME, LEVELS, PLAN.level, grid, upper=False)
    points = np.concatenate([line.points for line in lines])
    heights = PLAN.level.origin[2] - 15.0 + points[:, 1]
    middle = points[(heights > 2.0) & (heights < 18.0)]
    # Bone within 6 mm of the arch, its cortex 1.5 mm thick. Every voxel of 0.4 mm is of one kind
    # (no partial volumes) and has noise: for looking, an edge within about a voxel.
    off = np.abs(middle[:, 0])
    assert np.percentile(np.abs(off[off > 5.2] - 6.0), 90) < 0.25
    assert np.percentile(np.abs(off[(off > 3.5) & (off < 5.2)] - 4.5), 90) < 0.5
    assert (off > 5.2).sum() > 50
    assert ((off > 3.5) & (off < 5.2)).sum() > 50
    # No second line beside the outer edge.
    assert not ((off > 6.25) | ((off > 5.2) & (off < 5.75))).any()
    assert heights.max() == pytest.approx(20.0, abs=0.4)


def test_they_are_drawn_only_across_the_ridge_and_only_where_asked_for():
    def drawn(turn=0.0, **more):
        chart = through_axis_chart(VOLUME, PLAN, ARCH, FIXTURE, turn_deg=turn, view=View(**more))
        return any(line.style == "cortex" for line in chart.lines)

    assert drawn(levels=LEVELS)
    assert not drawn(90.0, levels=LEVELS)
    assert not drawn()
    across = across_arch_chart(VOLUME, PLAN, ARCH, 30.0, view=View(levels=LEVELS))
    assert "cortex" in across.styles
