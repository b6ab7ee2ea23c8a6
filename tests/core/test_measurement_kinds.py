"""Kinds of measurement: one table, and details that hold what their rows have and nothing else."""

from __future__ import annotations

import sys
from dataclasses import fields, replace
from pathlib import Path
from types import ModuleType
from unittest.mock import patch

import pytest

from core import measurement_kinds
from core.measurement import Budget, Measurement, Reading, Term
from core.measurement_kinds import (
    ROWS,
    ClearanceDetails,
    Details,
    HeightDetails,
    KindRow,
    MeasurementKind,
    RemainingBoneDetails,
    WidthDetails,
)
from core.measuring.row_names import row_words
from core.sheet.concepts import name_of
from core.trust.figures import shown, shown_at_least

EVERY = pytest.mark.parametrize("kind", MeasurementKind)
BUDGET = Budget(terms=(Term(name="edge", u=0.1, source="test"),))


def row(kind, **changes):
    values = {"id": "x", "group": "bone", "kind": kind, "fixture": "36", "budget": BUDGET}
    return Measurement(**values, reading=Reading(value=2.34), **changes)


@EVERY
def test_every_kind_is_defined_named_coded_and_rounded(kind):
    m = row(kind)
    assert str(ROWS[kind].words).split()[0] in f"{kind.row.definition} entry".lower()
    assert row_words(m, jaw="lower").lower() == str(ROWS[kind].words)
    assert name_of(kind).meaning
    assert shown(m) == {"down": "2.3", "nearest": "2.3", "up": "2.4"}[kind.row.rounding]
    # 2.34 - 1.645 x 0.1 = 2.1755 (JCGM 106:2012, one-sided 95 %)
    assert shown_at_least(m, decimals=2) == ("2.17" if kind.row.more_is_safer else "–")


@EVERY
def test_a_row_has_the_details_of_its_kind_and_no_others(kind):
    own = kind.row.details
    assert type(row(kind).details) is own
    other = RemainingBoneDetails if own is not RemainingBoneDetails else WidthDetails
    with pytest.raises(ValueError, match=f"{kind}: its details are {own.__name__}"):
        row(kind, details=other())


def test_a_kind_that_is_not_in_the_table_is_refused():
    with pytest.raises(ValueError, match="thickness"):
        row("thickness")
    assert row("wall").kind is MeasurementKind.REMAINING_BONE


def test_a_kind_without_a_row_says_what_is_missing_and_where():
    """As a developer would meet it who adds a member to the enumeration alone."""
    text = Path(measurement_kinds.__file__).read_text("utf-8")
    more = text.replace('    DEPTH = "depth"', '    DEPTH = "depth"\n    FACE = "face"')
    assert more != text
    module = ModuleType("core.measurement_kinds")
    module.__file__ = "core/measurement_kinds.py"
    names = {**vars(module), "__name__": "made_up_kinds"}
    with (
        patch.dict(sys.modules, {"made_up_kinds": module}),
        pytest.raises(ValueError, match="without a row in ROWS: face"),
    ):
        exec(compile(more, "core/measurement_kinds.py", "exec"), names)


@pytest.mark.parametrize(
    "said",
    ["rounding", "more_is_safer", "within_jaw", "overlaps", "drawn", "for_entry", "for_laboratory"],
)
def test_a_kind_says_how_it_is_told_and_where_it_stands_or_is_none(said):
    values = {f.name: getattr(ROWS[MeasurementKind.ENTRY], f.name) for f in fields(KindRow)}
    assert KindRow(**values) == ROWS[MeasurementKind.ENTRY]
    with pytest.raises(TypeError, match=said):
        KindRow(**{name: value for name, value in values.items() if name != said})


def test_the_lists_of_kinds_that_pages_and_pictures_are_made_of():
    """Said once more, so that none leaves a page in silence."""

    def those(said):
        return {str(kind) for kind, row in ROWS.items() if said(row)}

    assert those(lambda row: row.for_entry) >= {"entry", "angle", "offset"}
    assert those(lambda row: row.for_laboratory) >= {"entry", "angle", "offset", "room"}
    assert those(lambda row: row.overlaps) >= {"clearance", "wall"}
    assert those(lambda row: row.drawn == "fixture") >= {"clearance", "wall"}
    assert those(lambda row: row.drawn == "ridge") == {"ridge_width", "ridge_height"}


def test_what_is_nought_is_told_and_what_is_not_known_is_not():
    assert RemainingBoneDetails(side="buccal", from_platform_mm=0.0, turn_deg=0.0).by_key() == {
        "side": "buccal", "from_platform_mm": 0.0, "turn_deg": 0.0,
    }  # fmt: skip
    assert ClearanceDetails().by_key() == Details().by_key() == {}
    assert HeightDetails(counted_from="platform").by_key() == {"from": "platform"}
    by_hand = ClearanceDetails(by_hand_mm={"free_hand_at_least_mm": 0.0}, own_figures="LM: 12")
    told = {"free_hand_at_least_mm": 0.0, "own_figures": "LM: 12"}
    assert by_hand.by_key() == told
    assert replace(by_hand, own_figures="").by_key() == {"free_hand_at_least_mm": 0.0}
