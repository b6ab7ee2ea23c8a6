"""Names of ledger rows: both jaws, and no two rows of a fixture alike."""

from __future__ import annotations

import pytest

from core.measurement import Measurement, Note, Reading
from core.measuring.row_names import row_words
from tests.details import details_of


def row(kind, target="", **details):
    reading = Reading(value=None, notes=(Note("no_such_part"),))
    return Measurement(
        id="x",
        group="bone",
        kind=kind,
        target=target,
        fixture="36",
        reading=reading,
        details=details_of(kind, details),
    )


@pytest.mark.parametrize(
    ("measurement", "words"),
    [
        (row("clearance", "canal-left"), "Canal left"),
        (row("clearance", "canal-left", with_tip_mm=1.5), "Canal left, with the drill’s tip"),
        (row("clearance", "root-35", zone="deep"), "Root of 35, deeper"),
        (row("clearance", "37", zone="deep", of="fixture"), "Fixture 37, deeper"),
        (
            row("ridge_width", at_depth_mm=3.0, along="axis"),
            "Ridge width, 3 mm below the crest, along the axis",
        ),
        (row("wall", side="buccal"), "Remaining bone, buccal"),
        (row("ridge_height", of="usable", at_width_mm=7.0), "Usable height, 7 mm wide"),
        (row("undercut_depth", definition="undercut-bridge"), "Undercut depth, by bridge"),
    ],
)
def test_names(measurement, words):
    assert row_words(measurement, jaw="lower") == words


def test_lingual_reads_palatal_in_the_upper_jaw():
    wall = row("wall", side="lingual")
    assert row_words(wall, jaw="upper") == "Remaining bone, palatal"
    assert row_words(wall, jaw="lower") == "Remaining bone, lingual"
