"""The tables behind archive objects: the same values, and others may run while they are read."""

from __future__ import annotations

import json
import pkgutil
import sys

from highdicom import _standard_utils

from core.sheet import attribute_tables
from core.sheet.attribute_tables import read_tables_in_steps

FILE = "_standard/module_attribute_map.json"


def test_every_part_is_a_call_of_pythons_own_and_the_values_are_the_same() -> None:
    """At a call of Python's own the interpreter hands over to whoever waits for it."""
    read_tables_in_steps()
    read_tables_in_steps()
    steps = 0

    def count(frame, event, _value) -> None:
        nonlocal steps
        steps += event == "call" and frame.f_code is attribute_tables._Rows.kept.__code__

    before = sys.getprofile()
    sys.setprofile(count)
    try:
        found = _standard_utils.get_module_attribute_map.__wrapped__()
    finally:
        sys.setprofile(before)
    expected = json.loads(pkgutil.get_data("highdicom", FILE))
    assert found == expected
    # As many as rows, and one for the whole.
    assert steps == sum(len(rows) for rows in expected.values()) + 1


def test_rows_that_say_the_same_are_one_and_others_stay_apart() -> None:
    read_tables_in_steps()
    rows = [
        {"keyword": "Rows", "type": "1", "path": ["Shared"]},
        {"keyword": "Rows", "type": "1", "path": ["Shared"]},
        {"keyword": "Rows", "type": "2", "path": ["Shared"]},
        {"keyword": "Rows", "type": "1", "path": []},
        {"keyword": "Rows", "type": "1"},
        {"keyword": "Rows", "type": "1"},
    ]
    found = _standard_utils.json.loads(json.dumps(rows))
    assert found == rows
    assert found[0] is found[1]
    assert len({id(row) for row in found}) == 5
    assert found[2]["path"] is found[0]["path"]
