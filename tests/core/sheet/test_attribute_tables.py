"""The tables behind archive objects: the same values, and others may run while they are read."""

from __future__ import annotations

import gc
import json
import pkgutil

import pytest
from highdicom import _standard_utils

from core.sheet.attribute_tables import read_tables_in_steps

FILE = "_standard/module_attribute_map.json"


def test_every_module_has_the_same_rows_in_the_same_order() -> None:
    read_tables_in_steps()
    read_tables_in_steps()
    found = _standard_utils.get_module_attribute_map.__wrapped__()
    expected = json.loads(pkgutil.get_data("highdicom", FILE))
    assert list(found) == list(expected)
    assert {name: found[name] for name in found} == expected
    assert found["ct-image"] is found["ct-image"]
    assert "no such module" not in found
    with pytest.raises(KeyError):
        found["no such module"]


def test_what_nobody_asked_for_stays_packed() -> None:
    """Each row that is there is walked through whenever garbage is looked for."""
    read_tables_in_steps()
    gc.collect()
    before = len(gc.get_objects())
    found = _standard_utils.get_module_attribute_map.__wrapped__()
    assert len(gc.get_objects()) < before + 1000
    rows = found["ct-image"]
    assert len(gc.get_objects()) > before + len(rows)


def test_each_module_is_read_by_a_call_of_its_own(monkeypatch) -> None:
    """At a call of Python's own the interpreter hands over to whoever waits for it."""
    read_tables_in_steps()
    lengths = []
    loads = json.loads
    monkeypatch.setattr(json, "loads", lambda text: (lengths.append(len(text)), loads(text))[1])
    found = _standard_utils.get_module_attribute_map.__wrapped__()
    assert found["rt-patient-position-acquisition-instruction"]
    assert max(lengths) < 1_000_000


@pytest.mark.parametrize(
    "text",
    [
        '{\n  "a": [\n    1\n  ],\n  "b": [\n    {\n      "c": []\n    }\n  ]\n}\n',
        '{\n  "a: [": [\n    1\n  ]\n}',
        '{\n  "a \\" b": [\n    1\n  ]\n}',
        '{\n  "s": "x",\n  "a": [\n    1\n  ]\n}',
        '{\n  "s": [],\n  "a": [\n    1\n  ]\n}',
        '{\n  "a": [\n    1\n  ],\n  "s": "x"\n}',
        '{\n  "s": {\n    "t": [\n    1\n  ]\n}\n}',
        '{"a": [1], "b": [2]}',
        "[\n  [\n    1\n  ]\n]",
        "{}",
        "[]",
    ],
)
def test_any_layout_gives_what_json_gives(text) -> None:
    read_tables_in_steps()
    assert _standard_utils.json.loads(text) == json.loads(text)
