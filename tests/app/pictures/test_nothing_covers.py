"""While something is compared with the image, no distance line and no numeral lies over it."""

import numpy as np

from app.pictures.chart_painter import Ink
from core.drawing import Dot, Label, Line
from core.pictures.chart_desk import DISTANCE_LINE

ENDS = np.array([[0.0, 0.0], [1.0, 1.0]])


def test_an_ink_without_distances_keeps_all_else():
    lines = [Line(style=s, points=ENDS) for s in ("canal", DISTANCE_LINE, "fixture")]
    labels = [
        Label(text="3 mm", at=(0, 0), style="numeral"),
        Label(text="x", at=(0, 0), style="name"),
    ]
    ink = Ink(lines, [Dot(at=(0, 0))], labels)
    calm = ink.without_distances
    assert [style for style, _, _ in calm.paths] == ["canal", "fixture"]
    assert [label.text for label in calm._labels] == ["x"]
    assert calm._dots == ink._dots
    assert len(ink.paths) == 3, "the chart itself is as it was"
