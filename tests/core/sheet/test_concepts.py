"""The private coding scheme: no code without a version, and whose code a row's target gets."""

from __future__ import annotations

import hashlib
import json
from types import SimpleNamespace

import pytest

from core.identity import Tooth, expected_structures
from core.kinds import KINDS
from core.measurement_kinds import ROWS
from core.sheet.concepts import MANDIBLE, OWN, VERSION, scheme, target_code

SUMS = {"2": "3c00f1a08e2660160151b127c5e70a447a12c0e63d429eab45f1e25155a1197a"}
"""Version of the scheme → SHA-256 of its codes, meanings and definitions. What was given away under
a version stays what it was: another code is another version, with a line of its own here."""


def test_a_code_more_is_another_version():
    written = json.dumps(sorted(scheme().items())).encode()
    found = hashlib.sha256(written).hexdigest()
    assert SUMS.get(VERSION) == found, (
        "the private scheme changed: raise VERSION of core.sheet.concepts and add its line here"
    )


def test_no_code_means_two_things():
    kinds = [k.concept for k in KINDS if k.concept] + [row.concept for row in ROWS.values()]
    own = [c for c in kinds if not c.scheme]
    assert {c.code for c in own} & set(OWN) == set()
    assert len({(c.code, c.meaning, c.definition) for c in own}) == len({c.code for c in own})
    assert all(c.meaning for c in kinds)


@pytest.mark.parametrize("iso", ["11", "14", "36", "31", "34"])
def test_what_is_expected_and_not_marked_is_coded_as_what_it_is(iso):
    """The row's target is the name of a declaration, which need not begin with the kind's id."""
    for expected in expected_structures(Tooth.of(iso)):
        row = SimpleNamespace(target=expected.name.replace(" ", "-"))
        found = target_code(row, {}, "lower")
        if expected.name.startswith("root-"):
            assert found.meaning.startswith(f"Tooth {expected.name[-2:]}, ")
        else:
            (kind,) = (k for k in KINDS if k.declared_as == expected.name)
            assert (found.value, found.meaning) == (kind.concept.code, kind.concept.meaning)


@pytest.mark.parametrize("target", ["", "fixture-35", "nasal", "root", "canals"])
def test_what_is_no_kinds_name_is_the_bone(target):
    assert target_code(SimpleNamespace(target=target), {}, "lower") == MANDIBLE
