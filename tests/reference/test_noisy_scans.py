"""Whether truth lies in the stated doubt of an edge: the committed study, and a small run of it."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from tests.reference.noisy_scans import drawn, reconstructed

REPORTS = Path(__file__).parents[1] / "studies" / "reports"
REPORT, PLATES = REPORTS / "edge_coverage.md", REPORTS / "plate_accuracy.md"
SHARE = r"([\d.]+) % \(([\d.]+) to ([\d.]+)\) of (\d+)"
LINE = re.compile(rf"\| ([\w ,]*) \| ([\w ,]+) \| {SHARE} \| ([\d.]+) % ")


def figures():
    """{(scan, value): (share one a scan, low, high, scans, share of all)}."""
    found, scan = {}, ""
    for row in REPORT.read_text("utf-8").splitlines():
        hit = LINE.match(row)
        if hit:
            scan = hit.group(1).strip() or scan
            numbers = [float(x) for x in hit.groups()[2:]]
            found[scan, hit.group(2)] = tuple(numbers)
    return found


def test_the_committed_report_of_noisy_scans_never_promises_too_much():
    """Truth lies inside in 92 % at least; of cortex in 98 % at most, too.

    Widths stand about 98 %: their doubt is wider than it need be under added noise. It is not
    narrowed, since single outer edges of the sample scans as they are lie inside in 93 %.
    """
    found = figures()
    for value in ("width", "cortex"):
        share, low, high, scans, all_inside = found["reconstructed", value]
        *_, others, others_inside = found["reconstructed", f"{value}, scans that set nothing"]
        assert scans >= 190
        assert others >= 75
        assert low <= share <= high
        assert min(share, all_inside, others_inside) >= 92.0, value
        share_drawn, *_, drawn_inside = found["drawn", value]
        assert min(share_drawn, drawn_inside) >= 92.0, value
    for name in ("cortex", "cortex, scans that set nothing"):
        share, *_, all_inside = found["reconstructed", name]
        assert max(share, all_inside) <= 98.0


def test_the_committed_report_of_plates_reached_what_it_set_out_to():
    """Every target of every kind of scan, the outer edges' doubt among them."""
    targets = PLATES.read_text("utf-8").split("## Targets")[1]
    assert targets.count("within two standard errors") == 3
    assert "**no**" not in targets


@pytest.mark.slow
def test_a_small_run():
    """Six scans of each kind: no error beyond four standard errors, few beyond two."""
    edges = [e for number in range(3) for make in (drawn, reconstructed) for e in make(number)]
    assert len(edges) > 80
    z = np.array([e.off_mm / e.u_mm for e in edges])
    assert np.abs(z).max() < 4.0
    assert np.mean(np.abs(z) <= 2) >= 0.85
