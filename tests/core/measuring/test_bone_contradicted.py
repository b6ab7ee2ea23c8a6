"""A fixture is not inside the bone by one reading of a side and outside it by the other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.arch import fixture_frame
from core.identity import Tooth
from core.measurement import SEEN, Budget, Measurement, Note, Reading, Term
from core.measurement_kinds import ClearanceDetails, RemainingBoneDetails
from core.measuring import rows_bone
from core.measuring.basis import Basis, RowMaker
from core.measuring.bone_contradicted import is_contradicted
from tests.core.sheet.test_measured_parts import case_for

HALF_U = 0.1


def row(kind, value, details):
    doubt = Budget(terms=(Term(name="edge", u=HALF_U, source="test"),))
    why = (Note("wall_no_bone"),) if value is None else ()
    reading = Reading(value=value, evidence=SEEN, notes=why)
    return Measurement(
        id=kind, group="bone", kind=kind, fixture="36", reading=reading, budget=doubt,
        details=details,
    )  # fmt: skip


def surface(value, side="lingual"):
    return row("clearance", value, ClearanceDetails(side=side))


def remaining(value, side="lingual"):
    return row("wall", value, RemainingBoneDetails(side=side))


@pytest.mark.parametrize(
    ("way_mm", "bone_mm", "contradicted"),
    [
        (1.38, -1.5, True),
        (1.38, -0.21, True),
        (1.38, -0.19, False),  # within its doubt it may stand level with the surface
        (1.38, 0.0, False),  # a socket or a root ends the bone, and the surface is further on
        (0.21, -1.5, True),
        (0.19, -1.5, False),
        (-0.4, -1.5, False),  # both say that it stands out
    ],
)
def test_inside_and_outside_at_once_by_more_than_the_doubts(way_mm, bone_mm, contradicted):
    assert is_contradicted(surface(way_mm), [remaining(2.0), remaining(bone_mm)]) == contradicted


def test_only_the_same_side_and_only_values_contradict():
    assert not is_contradicted(surface(1.38, "buccal"), [remaining(-1.5)])
    assert not is_contradicted(surface(1.38), [remaining(None), surface(-1.5)])
    assert not is_contradicted(surface(None), [remaining(-1.5)])
    assert not is_contradicted(remaining(1.38), [remaining(-1.5)])


def test_a_surface_that_is_contradicted_meets_no_limit_and_says_why(monkeypatch):
    case = case_for("whole")
    fixture = case.plan.fixtures[0]
    basis = Basis.of(case.plan, case.volume)
    frame = fixture_frame(fixture, basis.arch)
    witness = (fixture.platform, fixture.platform + np.array([0.0, 3.0, 0.0]))
    found = dict.fromkeys(
        ("buccal", "lingual", "apical"), Reading(value=3.0, witness=witness, evidence=SEEN)
    )
    monkeypatch.setattr(rows_bone, "surface_on", lambda *_, **__: found)
    maker = RowMaker(
        plan=case.plan, volume=case.volume, subject=fixture.id, is_fixture=True,
        tooth=Tooth.of(fixture.tooth), hindrances=(),
    )  # fmt: skip

    def lingual(beside):
        rows = rows_bone.surface_rows(
            None, case.plan, basis, fixture=fixture, frame=frame, remaining=beside, maker=maker
        )
        return next(m for m in rows if m.details.side == "lingual")

    agreed, denied = lingual((remaining(2.9),)), lingual((remaining(-1.5),))
    assert (agreed.value, agreed.verdict) == (3.0, "meets limit")
    assert (denied.value, denied.verdict) == (None, "not assessed")
    (note,) = denied.reading.notes
    assert note.code == "surface-contradicted"
    assert "lingual" in note.message
    assert replace(denied, reading=agreed.reading).limit == agreed.limit
