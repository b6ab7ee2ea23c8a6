"""Numerals on a picture: each stands nearest to the line that it belongs to."""

from dataclasses import replace
from functools import cache

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

import sample_volumes
from core import load_plan, measure, open_scan
from core.drawing import Label, Line
from core.geometry import PictureGrid
from core.measurement_kinds import MeasurementKind
from core.pictures import chart_desk
from core.pictures.chart_desk import Desk
from core.pictures.overlay import section_overlay

GRID = PictureGrid(
    origin=np.zeros(3), right=np.array([1.0, 0, 0]), up=np.array([0, 0, 1.0]),
    cols=300, rows=300, pixel_mm=0.2,
)  # fmt: skip


def width_line(left: float, right: float, v: float) -> Line:
    return Line(style="witness", points=np.array([[left, v], [right, v]]))


def apart(label: Label, line: Line) -> float:
    """From the label's plate to a level line, by hand."""
    width, height = 0.62 * 2.3 * len(label.text) + 0.9, 2.3 + 0.8
    (left, v), (right, _) = line.points
    across = max(left - label.at[0] - width / 2, label.at[0] - width / 2 - right, 0.0)
    return float(np.hypot(across, max(abs(label.at[1] - v) - height / 2, 0.0)))


@given(
    st.lists(st.floats(2.0, 7.0), min_size=3, max_size=3),
    st.lists(st.floats(2.0, 7.0), min_size=3, max_size=3),
)
def test_widths_2_mm_apart_are_not_read_off_each_other(left, right):
    """Ridge widths at 1, 3 and 5 mm stand closer than a numeral is high."""
    lines = [width_line(-a, b, -2.0 * k) for k, (a, b) in enumerate(zip(left, right, strict=True))]
    desk = Desk(GRID, lines=list(lines))
    for k, line in enumerate(lines):
        half = desk._size(f"{k}.00", "witness") / 2
        desk.put(f"{k}.00", "witness", chart_desk._beside(line.points, 2.4, half), own=line)
    for k, label in enumerate(desk.labels):
        others = [apart(label, line) for line in lines if line is not lines[k]]
        assert apart(label, lines[k]) < min(others)


def test_a_width_is_drawn_on_its_own_section_only_and_a_height_whole():
    """2 mm further on the ridge may be as wide or not: nobody measured it there."""
    row = rows_of_a_site()[0]

    def drawn(kind, witness):
        desk = Desk(GRID)
        details = MeasurementKind(kind).row.details()
        of = replace(row, kind=kind, details=details, reading=replace(row.reading, witness=witness))
        desk.witnesses([of], most=5)
        return len(desk.labels)

    left, right = np.array([-4.0, 0.0, 0.0]), np.array([4.0, 0.0, 0.0])
    along = np.array([0.0, 2.0, 0.0])
    assert drawn("ridge_width", (left, right)) == 1
    assert drawn("ridge_width", (left + along, right + along)) == 0
    assert drawn("clearance", (left + along, right + along)) == 1
    top, canal = np.array([0.0, 0.0, 8.0]), np.array([0.0, 0.0, -10.0])
    assert drawn("ridge_height", (top, canal)) == 1
    assert drawn("clearance", (top, canal)) == 0


@given(
    st.lists(
        st.tuples(*[st.floats(-6.0, 6.0)] * 4), min_size=3, max_size=5, unique_by=lambda e: e[0]
    )
)
def test_no_numeral_hides_a_figure_of_another_and_none_stands_without_its_line(ends):
    """Several roots lie in one direction: their distances leave the fixture nearly on one line."""
    row = rows_of_a_site()[0]
    details = MeasurementKind("clearance").row.details()
    rows = [
        replace(
            row, id=f"r{n}", target=f"root-{n}", kind="clearance", details=details,
            reading=replace(row.reading, witness=(np.array([a, 0, b]), np.array([c, 0, d]))),
        )
        for n, (a, b, c, d) in enumerate(ends)
    ]  # fmt: skip
    desk = Desk(GRID, drawn_at=1.0)
    desk.witnesses(rows, most=5)
    for n, one in enumerate(desk.labels):
        for other in desk.labels[:n]:
            apart = np.abs(np.array(one.at) - np.array(other.at))
            room = (desk._size(one.text, "witness") + desk._size(other.text, "witness")) / 2
            assert (apart > room - 0.31).any(), (one, other)
    assert len(desk.lines) == len(desk.labels) == len(desk.dots) // 2 >= 1


@cache
def rows_of_a_site():
    name = "lower_left_36"
    plan = load_plan(sample_volumes.path(f"{name}.plan.json"))
    ledger = measure(plan, open_scan(sample_volumes.path(name)))
    return [m for m in ledger.measurements if m.kind == "ridge_width" and m.value is not None]


def test_lines_of_equal_distance_say_their_unit():
    """The bench has keys 1, 2, 3 for how well a mark was seen: bare numbers were read as those."""
    plan = load_plan(sample_volumes.path("lower_left_36.plan.json"))
    canal = plan.structures[0]
    here = canal.points[len(canal.points) // 2]
    grid = replace(GRID, origin=here)
    words = [label.text for label in section_overlay(plan, grid, (), most_witnesses=0).labels]
    assert "3 mm" in words
    assert "3" not in words


def test_no_label_covers_the_words_at_the_edges_or_the_bar():
    """Places offered in the middle of each edge and over the bar are not taken."""
    desk = Desk(GRID)
    half = desk.half
    taken = [(0.0, half[1] - 1.0), (0.0, 1.0 - half[1]), (half[0] - 1.0, 0.0), (1.0 - half[0], 0.0),
             (half[0] - 7.0, 3.0 - half[1])]  # fmt: skip
    for place in taken:
        desk.put("2.0", "witness", [np.array(place), np.array([3.0, 4.0])])
        assert desk.labels.pop().at == (3.0, 4.0), place
