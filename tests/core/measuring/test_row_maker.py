"""What every row takes with it, whoever makes it."""

import math
from dataclasses import replace

import numpy as np
import pytest

from core.image.volume import Volume
from core.measurement import ENTERED, MARKED, PLANNED, SEEN, MarkInfluence, Note, Reading
from core.measurement_kinds import MeasurementKind
from core.measuring.basis import RowMaker
from core.plans.plan import Plan
from core.structures import PointMarks

VOLUME = Volume(
    voxels=np.zeros((20, 20, 20), np.int16), mm_from_ijk=np.eye(4), made_up=np.zeros(20, bool)
)
PLAN = Plan(structures=(PointMarks(id="a", kind="mark", points=[(9, 9, 9)]),))


def row(evidence, image_sd_mm, **changes):
    maker = RowMaker(
        plan=PLAN,
        volume=VOLUME,
        subject="36",
        is_fixture=False,
        tooth=None,
        hindrances=(),
        image_sd_mm=image_sd_mm,
    )
    marks = (MarkInfluence(mark="a/0", gradient=(0, 0, 1)),) if evidence is MARKED else ()
    reading = Reading(
        **({"value": 8.0, "edge_sd_mm": (0.1,), "evidence": evidence, "marks": marks} | changes)
    )
    return maker.row(
        group="bone", kind=MeasurementKind.RIDGE_WIDTH, reading=reading, base_length_mm=5.0
    )


def test_a_fault_of_the_image_makes_a_value_found_in_it_less_sure():
    plain, faulty = row(SEEN, 0.0), row(SEEN, 0.15)
    assert faulty.budget.u == pytest.approx(math.hypot(plain.budget.u, 0.15))
    assert faulty.at_least < plain.at_least


@pytest.mark.parametrize("evidence", [MARKED, ENTERED, PLANNED])
def test_what_a_hand_set_or_entered_does_not_rest_on_the_image(evidence):
    assert row(evidence, 0.15).budget.u == pytest.approx(row(evidence, 0.0).budget.u)


def test_what_rests_on_marks_names_them_or_there_is_no_row():
    assert "placement" in {term.name for term in row(MARKED, 0.0).budget.terms}
    with pytest.raises(ValueError, match="rests on marks and names none"):
        row(MARKED, 0.0, marks=())
    nothing = {"value": None, "notes": (Note("ruler-no-length"),)}
    assert row(MARKED, 0.0, marks=(), **nothing).budget is None


def test_a_row_on_levels_that_a_person_pointed_at_says_so():
    pointed = replace(SEEN, levels_from="person")
    codes = [n.code for n in row(pointed, 0.0).reading.notes]
    assert codes == ["levels_pointed"]
    assert row(SEEN.joined(MARKED), 0.0).reading.notes == ()
    joined = row(pointed.joined(MARKED), 0.0)
    assert [n.code for n in joined.reading.notes] == ["levels_pointed"]
    assert "pointed at by a person" in joined.reading.notes[0].message


def test_an_angle_found_in_a_faulty_image_is_less_sure_by_its_base():
    plain, faulty = row(SEEN, 0.0, unit="deg"), row(SEEN, 0.15, unit="deg")
    wider = math.degrees(0.15 / 5.0)
    assert faulty.budget.u == pytest.approx(math.hypot(plain.budget.u, wider))
