"""Crowns beyond a gap are led on to where they stand on the row's own curve, and nowhere else."""

from __future__ import annotations

import numpy as np
import pytest

from core.proposing.beyond_gap import crowns_beyond
from core.proposing.heights import NONE, Heights

RADIUS, MIDDLE = 30.0, (45.0, 45.0)


def on_arch(degrees):
    turn = np.radians(degrees)
    return MIDDLE[0] + RADIUS * np.cos(turn), MIDDLE[1] + RADIUS * np.sin(turn)


def tops(*crowns, crest=NONE):
    """A grid with a round crown of 7 mm, as high as told, at each place."""
    top = np.full((90, 90), crest)
    rows, columns = np.mgrid[:90, :90]
    for (u, v), height in crowns:
        top[np.hypot(columns - u, rows - v) < 3.5] = height
    return Heights(
        top=top, origin=np.zeros(3), u=np.array([1.0, 0, 0]), v=np.array([0, 1.0, 0]),
        normal=np.array([0, 0, 1.0]),
    )  # fmt: skip


ROW = np.array([(*on_arch(d), 0.0) for d in np.arange(40.0, 150.1, 2.0)])
"""About 57 mm of a row that ends at a gap."""


def crown(degrees, height=0.0):
    return on_arch(degrees), height


@pytest.mark.parametrize("height", [0.0, -4.5, 2.5])
def test_one_tooth_beyond_a_gap_is_found_where_it_stands(height):
    found = crowns_beyond(tops(crown(100.0), crown(178.0, height)), ROW)
    assert len(found) == 1
    assert found[0].place[:2] == pytest.approx(on_arch(178.0), abs=0.3)
    assert found[0].half_mm == pytest.approx(3.0, abs=0.6)
    way = np.radians(178.0 + 90.0)
    assert found[0].way[:2] @ [np.cos(way), np.sin(way)] > np.cos(np.radians(10.0))


def test_two_teeth_with_a_gap_between_are_found_one_after_the_other():
    found = crowns_beyond(tops(crown(100.0), crown(196.0), crown(170.0)), ROW)
    assert [tuple(np.round(c.place[:2])) for c in found] == [
        tuple(np.round(on_arch(d))) for d in (170.0, 196.0)
    ]


@pytest.mark.parametrize(
    ("why", "place"),
    [
        ("too far", crown(215.0)),
        ("a crest, not a crown", crown(178.0, -8.0)),
        ("higher than any crown", crown(178.0, 4.5)),
        ("beside the curve", ((28.0, 45.0), 0.0)),
        ("outside of it", ((5.0, 70.0), 0.0)),
    ],
)
def test_what_is_no_tooth_of_the_row_is_left_alone(why, place):
    assert crowns_beyond(tops(crown(100.0), place), ROW) == [], why


def test_a_splinter_or_a_whole_other_row_is_no_crown():
    small = tops(crown(100.0))
    u, v = np.rint(on_arch(178.0)).astype(int)
    small.top[v : v + 2, u : u + 2] = 0.0
    assert crowns_beyond(small, ROW) == []
    large = tops(crown(100.0))
    large.top[20:60, 5:22] = 0.0
    assert crowns_beyond(large, ROW) == []
