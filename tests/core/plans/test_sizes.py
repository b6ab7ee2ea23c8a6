"""My sizes: CSV there and back, and refusals that name the row."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.errors import PlanError
from core.fixture import FixtureSize
from core.plans.sizes import ListedSize, default_sizes, next_size, read_sizes, sizes_csv

mm = st.floats(0.1, 20.0).map(lambda x: round(x, 3))


@st.composite
def listed(draw):
    diameter, length = draw(mm), draw(st.floats(2.0, 30.0))
    return ListedSize(
        label=draw(st.text("abc ,;\"'ä", max_size=6)).strip(),
        size=FixtureSize(
            diameter_mm=diameter,
            length_mm=length,
            apical_diameter_mm=draw(st.none() | st.floats(0.1, diameter)),
            taper_from_mm=draw(st.none() | st.floats(0.5, length - 0.5)),
            bone_level_mm=draw(st.floats(-2.0, 2.0)),
        ),
    )


@given(st.lists(listed(), min_size=1, max_size=5, unique=True))
def test_there_and_back(sizes):
    assert read_sizes(sizes_csv(tuple(sizes))) == tuple(sizes)


def test_defaults_are_round_and_sixteen():
    sizes = default_sizes()
    assert len(sizes) == 16
    assert {s.size.diameter_mm for s in sizes} == {3.5, 4.0, 4.5, 5.0}
    assert read_sizes(sizes_csv(sizes)) == sizes


def test_semicolons_with_decimal_commas():
    (size,) = read_sizes("length_mm;diameter_mm\r\n10,5;4,1\r\n")
    assert (size.size.diameter_mm, size.size.length_mm) == (4.1, 10.5)


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        ("", "sizes-empty", "no size"),
        ("diameter_mm,length_mm\n", "sizes-empty", "no size"),
        ("diameter_mm,depth\n4,8\n", "sizes-no-column", "length_mm"),
        ("diameter_mm,length_mm,colour\n4,8,red\n", "sizes-unknown-column", "colour"),
        ("diameter_mm,length_mm\n4,8\n4,x\n", "sizes-row", "Row 3"),
        ("diameter_mm,length_mm\n\n-4,8\n", "sizes-row", "Row 3"),
        ("diameter_mm,length_mm\n4,nan\n", "sizes-row", "Row 2"),
        ("diameter_mm,length_mm\n4,8,9\n", "sizes-row", "Row 2"),
        ("diameter_mm,length_mm\n4,8\n5,8\n4.0,8.0\n", "sizes-twice", "Row 4"),
    ],
)
def test_refusals_name_the_place(text, code, words):
    with pytest.raises(PlanError) as refusal:
        read_sizes(text)
    assert refusal.value.code == code
    assert words in str(refusal.value)


@pytest.mark.parametrize(
    ("dimension", "way", "found"),
    [("length", 1, (4.0, 10.0)), ("length", -1, (4.0, 6.0)),
     ("diameter", 1, (4.5, 8.0)), ("diameter", -1, (3.5, 8.0))],
)  # fmt: skip
def test_the_next_size_of_a_list_differs_in_one_dimension_alone(dimension, way, found):
    sizes = [each.size for each in default_sizes()]
    now = FixtureSize(diameter_mm=4.0, length_mm=8.0)
    other = next_size(sizes, now, dimension, way)
    assert (other.diameter_mm, other.length_mm) == found
    last = FixtureSize(diameter_mm=5.0 if way > 0 else 3.5, length_mm=12.0 if way > 0 else 6.0)
    assert next_size(sizes, last, dimension, way) is None
    # A typed size between two of the list still finds its way back to it.
    assert next_size(sizes, FixtureSize(diameter_mm=4.0, length_mm=9.0), "length", 1) == (
        FixtureSize(diameter_mm=4.0, length_mm=10.0)
    )
