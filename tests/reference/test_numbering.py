"""The whole numbering table: ISO 3950 against 1-32.

Sources: ISO 3950 for the two-digit numbers ("18 17 16 15 14 13 12 11", "21 22 23 24 25 26 27 28");
for 1-32: 1 is the maxillary right third molar, 17 the mandibular left third molar, on to 32.
Pairs seen in print: 8/11, 9/21, 7/12, 10/22, 13/25, 14/26, 16/28; the others follow from the rule.
"""

from __future__ import annotations

import pytest

from core.identity import Tooth

NAMES = "third molar, second molar, first molar, second premolar, first premolar, canine, "
NAMES += "lateral incisor, central incisor"
RIGHT = NAMES.split(", ")

# 1-32 runs right to left above, left to right below.
TABLE = [
    (1, "18"), (2, "17"), (3, "16"), (4, "15"), (5, "14"), (6, "13"), (7, "12"), (8, "11"),
    (9, "21"), (10, "22"), (11, "23"), (12, "24"), (13, "25"), (14, "26"), (15, "27"), (16, "28"),
    (17, "38"), (18, "37"), (19, "36"), (20, "35"), (21, "34"), (22, "33"), (23, "32"), (24, "31"),
    (25, "41"), (26, "42"), (27, "43"), (28, "44"), (29, "45"), (30, "46"), (31, "47"), (32, "48"),
]  # fmt: skip
WORDS = (
    [f"upper right {n}" for n in RIGHT]
    + [f"upper left {n}" for n in reversed(RIGHT)]
    + [f"lower left {n}" for n in RIGHT]
    + [f"lower right {n}" for n in reversed(RIGHT)]
)


@pytest.mark.parametrize(("row", "name"), list(zip(TABLE, WORDS, strict=True)), ids=str)
def test_every_row_both_ways(row, name):
    number, iso = row
    assert Tooth.of_1_to_32(number).iso == iso
    assert Tooth.of(iso).number_1_to_32 == number
    assert str(Tooth.of(iso).name) == name
    assert str(Tooth.of(iso).words()) == f"{iso}, {name} ({number} in 1–32)"
