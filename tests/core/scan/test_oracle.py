"""Exports that lie, against the truth they were made from: nothing is read wrong without a word.

A small fixed draw of every kind; `tests/studies/export_oracle.py` meets many more.
"""

from __future__ import annotations

import pytest

from tests.hostile.lies import KINDS
from tests.hostile.oracle import fault_of, meet

DRAWS, DEAR_DRAWS = 4, 1


@pytest.mark.parametrize("name", KINDS)
@pytest.mark.filterwarnings("ignore")
def test_nothing_is_read_wrong_without_a_word(name, tmp_path):
    count = DEAR_DRAWS if KINDS[name].dear else DRAWS
    met = [(seed, meet(name, f"fixed {seed}", tmp_path / "scan")) for seed in range(count)]
    assert [(seed, one) for seed, one in met if fault_of(name, one)] == []


@pytest.mark.parametrize("name", [name for name, kind in KINDS.items() if kind.nature == "untold"])
def test_the_oracle_sees_what_no_header_tells(name, tmp_path):
    # Else silence about the other kinds would prove nothing.
    ends = {meet(name, f"fixed {seed}", tmp_path / "scan").end for seed in range(DRAWS)}
    assert ends <= {"SILENT", "short, untold"}
    assert ends
