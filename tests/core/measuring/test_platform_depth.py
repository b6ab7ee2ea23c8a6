"""By how much a platform is set to the lowest edge of the bone around it."""

from __future__ import annotations

import pytest

from core.measurement_kinds import DepthDetails
from core.measuring.platform_depth import platform_depths, to_the_edge_mm


class Rows:
    """The rows of one fixture."""

    def __init__(self, **depths):
        self.rows = [Row(DepthDetails(of="platform below bone", side=s), v)
                     for s, v in depths.items()]  # fmt: skip
        self.rows.append(Row(DepthDetails(of="drill to the apex", counted_from="gum"), 9.0))

    def of(self, fixture_id):
        return self.rows if fixture_id == "36" else []


class Row:
    def __init__(self, details, value):
        self.details, self.value = details, value


@pytest.mark.parametrize(
    ("depths", "by"),
    [
        ({"buccal": -0.42, "lingual": 0.1}, 0.5),
        ({"buccal": -0.4, "lingual": 0.1}, 0.4),
        ({"buccal": 0.3, "lingual": 0.2, "mesial": -1.11}, 1.2),
        ({"buccal": 1.04, "lingual": 2.0}, -1.0),
        ({"buccal": 0.0, "lingual": 0.0}, 0.0),
        ({"buccal": -0.4}, None),
        ({"buccal": -0.4, "lingual": None}, None),
        ({}, None),
    ],
)
def test_it_is_never_short_of_the_lowest_edge_and_silent_where_that_is_unknown(depths, by):
    found = to_the_edge_mm(Rows(**depths), "36")
    assert found == (None if by is None else pytest.approx(by))
    if found is not None:
        assert -1e-9 <= min(platform_depths(Rows(**depths), "36").values()) + found < 0.1
    assert to_the_edge_mm(Rows(**depths), "46") is None
