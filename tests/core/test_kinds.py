"""The table of kinds: each goes everywhere, and one more is a row of the table.

A limit with figures of its own and a tool to mark it are further places: DEVELOPERS.md names them.
"""

from __future__ import annotations

import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

from core.kinds import KIND, KINDS, Expected, StructureKind, declared_kind
from core.plans.limits import KEYS, row_for
from core.structures import Course, Floor, Foramen, PointMarks, Tapered
from tests.core.kind_journey import journey

ROOT = Path(__file__).parents[2]
EVERY = pytest.mark.parametrize("kind_id", KIND)
JOURNEY = cache(journey)


@EVERY
def test_it_is_written_to_a_plan_file_and_read_back(kind_id):
    found = JOURNEY(kind_id)
    assert found.same
    assert found.written["kind"] == found.kind.file_kind
    assert found.marks == {found.kind.file_kind}


@EVERY
def test_its_clearance_stands_in_the_ledger_where_the_table_says(kind_id):
    found, kind = JOURNEY(kind_id), KIND[kind_id]
    assert {m.group for m in found.rows} == ({kind.group} if kind.group else set())
    assert all(m.value is not None and m.value < 8.0 for m in found.rows)
    keys = {m.limit.key.removesuffix("-deep") for m in found.rows if m.limit is not None}
    assert keys == ({kind.limit} if kind.limit else set())
    assert bool(kind.limit) == any(m.verdict for m in found.rows)


@EVERY
def test_it_takes_the_place_of_bone_where_the_table_says(kind_id):
    codes = {"": set(), "other": {2}, "root": {3}}
    assert JOURNEY(kind_id).in_bone == codes[KIND[kind_id].in_bone]


@EVERY
def test_pictures_draw_it_in_its_own_style_and_explain_it(kind_id):
    found, kind = JOURNEY(kind_id), KIND[kind_id]
    hatch = {"canal hatch"} if kind.drawn is not None and kind.drawn.hatched else set()
    assert found.styles == ({kind.drawn.style} | hatch if kind.drawn else set())
    assert found.drawn
    assert found.legend == ([kind.drawn.legend] if kind.drawn else [])
    assert bool(found.lines) == kind.is_danger


@EVERY
def test_sheet_report_and_declarations_name_it(kind_id):
    found, kind = JOURNEY(kind_id), KIND[kind_id]
    assert str(kind.words) in found.sheet
    if kind.concept is not None:
        assert set(found.report) <= {kind.concept.meaning}
    if kind.declared_as:
        assert declared_kind(found.declared) is kind
    else:
        assert found.declared == ""


def test_limits_in_the_table_are_shipped_ones():
    for kind in KINDS:
        for key in (kind.limit, f"{kind.limit}-deep") if kind.zoned else (kind.limit,):
            assert not key or key in KEYS
            assert not key or row_for(key).value > 0


def test_what_is_judged_cannot_go_without_a_limit():
    with pytest.raises(ValueError, match="cleft"):
        StructureKind(id="cleft", shape="course", words="cleft", group="danger")
    with pytest.raises(ValueError, match="thickness"):
        StructureKind(id="cleft", shape="points", words="cleft", in_bone="other")


@pytest.mark.parametrize(
    "make",
    [
        lambda: Course(id="a", kind="root", points=[(0, 0, 0)]),
        lambda: Foramen(id="a", kind="canal", mesial=(0, 0, 0), distal=(1, 0, 0)),
        lambda: Tapered(id="a", kind="x", points=[(0, 0, 0), (1, 0, 0)], diameters_mm=(1, 1)),
        lambda: Floor(id="a", of="canal", points=[(0, 0, 0)]),
        lambda: PointMarks(id="a", kind="vessel", points=[(0, 0, 0)]),
    ],
)
def test_a_kind_of_another_shape_is_refused(make):
    with pytest.raises(ValueError, match="is none of"):
        make()


MADE_UP = """
    StructureKind(
        id="cleft",
        shape="course",
        words="cleft",
        group="danger",
        limit="vessel",
        is_danger=True,
        in_bone="other",
        ends_height=True,
        diameter="needed",
        declared_as="cleft",
        expected=(Expected(jaw="lower", positions=(6,)),),
        drawn=Drawn(style="cleft", legend="cleft of bone", hue="orange"),
        concept=Concept(code="cleft", meaning="Cleft of bone"),
    ),
"""
"""A row as a developer would write it into the table."""

CHILD = """
import sys, types
text = open("core/kinds.py", encoding="utf-8").read()
start = "KINDS: tuple[StructureKind, ...] = ("
assert text.count(start) == 1
module = sys.modules["core.kinds"] = types.ModuleType("core.kinds")
exec(compile(text.replace(start, start + sys.argv[1]), "core/kinds.py", "exec"), module.__dict__)

from tests.core.kind_journey import journey
from core.plans.plan_checks import DECLARABLE

found = journey("cleft")
assert found.same and found.written["kind"] == "cleft" and found.marks == {"cleft"}
assert [m.limit.key for m in found.rows] == ["vessel"], found.rows
assert found.rows[0].group == "danger" and 0 < found.rows[0].value < 8
assert found.in_bone == {2} and found.lines
assert found.styles == {"cleft"} and found.drawn and found.legend == ["cleft of bone"]
assert found.sheet.startswith("cleft, 4 marks") and found.report == ["Cleft of bone"]
assert found.declared == "cleft" and "cleft" in DECLARABLE and ("cleft",) in found.expected
print("everywhere")
"""


def test_a_further_kind_is_one_row_of_the_table():
    ran = subprocess.run(
        [sys.executable, "-c", CHILD, MADE_UP],
        cwd=ROOT, capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    assert ran.stdout.strip() == "everywhere", ran.stderr[-2000:]


@pytest.mark.parametrize(
    "wrong",
    [
        {"shape": "points", "group": "danger", "limit": "canal"},
        {"shape": "object", "group": "danger", "limit": "canal"},
        {"shape": "tapered", "group": "danger", "limit": "canal"},
        {"shape": "course", "group": "roots", "limit": "root"},
        {"shape": "course", "group": "danger"},
        {"shape": "points", "in_bone": "other"},
        {"shape": "course", "declared_as": "some cleft"},
        {"shape": "course", "expected": (Expected(jaw="lower", positions=(6,)),)},
    ],
)
def test_a_row_that_nothing_could_measure_is_refused(wrong):
    with pytest.raises(ValueError, match="made-up"):
        StructureKind(id="made-up", words="made-up thing", **wrong)


def test_what_the_kinds_are_is_written_a_second_time():
    """By hand, as the measuring was before there was a table: a changed row must be meant."""

    def of(flag):
        return {kind.id for kind in KINDS if getattr(kind, flag)}

    judged = {"canal", "foramen", "loop", "vessel", "border", "sinus", "nasal", "root", "existing"}
    assert of("limit") == of("ends_height") == judged
    assert of("is_danger") == judged - {"border", "root", "existing"}
    assert of("in_bone") == {"canal", "loop", "vessel", "root", "existing"}
    assert {k.id for k in KINDS if k.in_bone == "root"} == {"root"}
    assert of("along_arch") == {"canal", "border"}
    assert of("joins") == {"canal", "loop", "foramen"}
    assert of("smooth") == {kind.id for kind in KINDS} - {"border"}
    assert of("canal_sized") == {"canal", "loop"}
    assert of("fits") == {"canal"}
    assert of("turns_back") == {"loop"}
    assert of("ends_at_marks") == {"existing"}
    assert of("zoned") == {"root", "existing"}
    assert {k.id: k.diameter for k in KINDS if k.diameter} == {
        "canal": "assumed", "loop": "needed", "vessel": "needed",
    }  # fmt: skip
    assert of("declared_as") == {"canal", "foramen", "loop", "sinus", "nasal", "root"}
