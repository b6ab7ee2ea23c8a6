"""The plot value: what is read out, listed and drawn are the same numbers."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest

from core.image.volume import Volume
from core.measurement import Budget, Term
from core.pictures.budget_plot import budget_plot, shares
from core.pictures.grey_plots import histogram_plot, ruler_plot
from core.pictures.ink import STROKES
from core.pictures.plot import Axis, Level, Plot, Series, plot_csv
from core.pictures.plot_chart import plot_chart
from core.pictures.plot_layout import SIZE_MM, apart, layout
from core.pictures.plot_words import read_out
from core.structures import Ruler


def two_lines() -> Plot:
    x = np.arange(5.0)
    return Plot(
        title="=two", x=Axis(words="along", low=0.0, high=4.0, unit=" mm"),
        y=Axis(words="width", low=0.0, high=10.0, unit=" mm", rounding="down"),
        series=(
            Series(name="a", style="width near the crest", x=x, y=2.0 * x),
            Series(name="b", style="width at depth", x=x, y=np.array([1.0, np.nan, 3.0, 3.0, 3.0])),
        ),
        levels=(Level(name="needed", style="needed width", value=7.0),),
    )  # fmt: skip


def test_the_read_out_says_what_is_drawn_and_rounds_a_width_down():
    plot = two_lines()
    assert read_out(plot, 2.49, 5.0) == "along 2.5 mm · a 4.9 mm · b 3.0 mm"
    assert read_out(plot, 1.5, 5.0) == "along 1.5 mm · a 3.0 mm · b –"
    assert read_out(plot, 4.1, 5.0) == ""


def test_the_table_holds_every_number_and_nothing_that_a_spreadsheet_runs():
    data = plot_csv(two_lines())
    assert data.startswith("﻿".encode())
    rows = list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))
    assert rows[0] == ["series", "x", "y"]
    assert rows[1] == ["'=two", "along, mm", "width, mm"]
    assert ["a", "3.0000", "6.0000"] in rows
    assert ["b", "1.0000", ""] in rows
    assert rows[-1] == ["needed", "", "7.0000"]
    assert len(rows) == 2 + 10 + 1


def test_lines_lie_where_their_numbers_are_and_a_gap_is_not_drawn_over():
    plot = two_lines()
    chart, place = plot_chart(plot), layout(plot)
    (a,) = [line.points for line in chart.lines if line.style == "width near the crest"]
    wide = (place.right - place.left) / 4.0
    high = (place.top - place.bottom) / 10.0
    assert np.diff(a[:, 0]) == pytest.approx(wide)
    assert np.diff(a[:, 1]) == pytest.approx(2.0 * high)
    b = [line.points for line in chart.lines if line.style == "width at depth"]
    assert [len(points) for points in b] == [3]
    (needed,) = [line.points for line in chart.lines if line.style == "needed width"]
    assert needed[0, 1] == pytest.approx(place.bottom + 7.0 * high)
    assert {"a", "b", "needed", "0", "10"} <= {label.text for label in chart.labels}
    for label in chart.labels:
        assert (np.abs(label.at) < np.array(SIZE_MM) / 2).all()
    assert all(line.style in STROKES for line in chart.lines)


def test_names_are_pushed_apart_in_their_order():
    found = apart([5.0, 4.9, 5.1, 0.0], 1.0, low=0.0, high=6.0)
    assert np.argsort(found).tolist() == [3, 1, 0, 2]
    assert (np.diff(sorted(found)) >= 1.0 - 1e-9).all()
    assert max(found) <= 6.0


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [(0.0, 10.0, (0, 2, 4, 6, 8, 10)), (-0.31, 0.2, (-0.3, -0.2, -0.1, 0.0, 0.1, 0.2)),
     (0.0, 3000.0, (0, 500, 1000, 1500, 2000, 2500, 3000))],
)  # fmt: skip
def test_ticks_are_round_numbers(low, high, ticks):
    assert Axis(words="", low=low, high=high).ticks(7) == pytest.approx(ticks)


def test_an_axis_without_length_is_refused():
    with pytest.raises(ValueError, match="greater"):
        Axis(words="", low=1.0, high=1.0)


def step_volume() -> Volume:
    """Grey 100 up to x = 10 mm, 900 from there on; voxels of 0.5 mm."""
    voxels = np.full((8, 8, 60), 100, dtype=np.int16)
    voxels[:, :, 20:] = 900
    return Volume(
        voxels=voxels, mm_from_ijk=np.diag([0.5, 0.5, 0.5, 1.0]),
        made_up=np.zeros(8, dtype=bool),
    )  # fmt: skip


def test_greys_along_a_ruler_are_those_of_the_scan_at_their_place():
    ruler = Ruler(id="ruler-1", points=np.array([[6.0, 2.0, 2.0], [16.0, 2.0, 2.0]]))
    plot = ruler_plot(step_volume(), ruler)
    (series,) = plot.series
    assert series.x[0] == -2.0
    assert series.x[-1] == pytest.approx(12.0)
    # Between voxel centres at 9.5 and 10.0 mm the trilinear value rises linearly.
    expected = 100.0 + 800.0 * np.clip((6.0 + series.x - 9.5) / 0.5, 0.0, 1.0)
    assert series.y == pytest.approx(expected, abs=0.5)
    assert [level.value for level in plot.levels] == pytest.approx([0.0, 10.0])
    assert read_out(plot, 3.75, 500.0).endswith("grey value 500")


def test_beyond_the_scan_there_is_no_grey_value():
    ruler = Ruler(id="ruler-1", points=np.array([[25.0, 2.0, 2.0], [35.0, 2.0, 2.0]]))
    series = ruler_plot(step_volume(), ruler).series[0]
    assert np.isnan(series.y[-1])
    assert np.isfinite(series.y[0])
    off = Ruler(id="ruler-1", points=np.array([[225.0, 2.0, 2.0], [235.0, 2.0, 2.0]]))
    assert ruler_plot(step_volume(), off) is None


def test_the_histogram_counts_every_voxel_looked_at():
    volume = step_volume()
    plot = histogram_plot(volume, (200.0, 800.0))
    (series,) = plot.series
    counts = np.round(np.where(10.0**series.y > 0.9, 10.0**series.y, 0.0))[:-1]
    assert counts.sum() == volume.voxels.size
    full = np.flatnonzero(counts)
    assert counts[full].tolist() == [8 * 8 * 20, 8 * 8 * 40]
    assert series.x[full[0]] <= 100.0 <= series.x[full[0] + 1]
    assert read_out(plot, 900.0, 1.0).endswith("voxels looked at 2560")
    assert [level.value for level in plot.levels] == [200.0, 800.0]


def test_the_parts_of_an_uncertainty_add_up_to_the_whole():
    budget = Budget(
        terms=tuple(
            Term(name=name, u=u, source="")
            for name, u in (("edge", 0.3), ("voxel", 0.4), ("scale", 0.0))
        )
    )
    assert shares(budget) == pytest.approx({"edge": 0.36, "voxel": 0.64})
    plot = budget_plot(budget, name="Canal", unit="mm")
    (bars,) = plot.series
    assert bars.x == pytest.approx([64.0, 36.0])
    assert next(words for _, words in plot.y.names).endswith("0.40 mm")
    assert read_out(plot, 1.0, 1.1).endswith("36 %")
    assert "1.00 mm" in plot.subtitle
    assert budget_plot(Budget(terms=()), name="", unit="mm") is None
