"""Drilling rows: depths counted along the axis, rounded down; nothing for what is not marked."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.arch import fixture_frame
from core.distances.drilling import marks_at
from core.identity import Tooth
from core.measurement import Note, Reading
from core.measuring.basis import RowMaker
from core.measuring.drill_table import drilling_plan
from core.measuring.rows_drilling import drill_rows_of, drilling_rows
from core.structures import PointMarks
from tests.details import details_of
from tests.sheet_material import arch_of, fixture_at, ledger_of, on_arch, plan_with, round_jaw

VOLUME = round_jaw()
FIXTURE = fixture_at(15.0, "36")  # platform at z = 20, 8 mm long, straight down
RIMS = {
    "buccal": Reading(value=1.15, edge_sd_mm=(0.1,)),
    "lingual": Reading(value=0.7, edge_sd_mm=(0.1,)),
    "mesial": Reading(value=1.3, edge_sd_mm=(0.1,)),
    "distal": Reading(value=1.0, edge_sd_mm=(0.1,)),
}
GUM = PointMarks(id="gum-1", kind="gum", points=on_arch(15.0, 23.2)[None])
STENT = PointMarks(id="stent-top-1", kind="stent_top", points=on_arch(15.0, 32.9)[None])


def rows_of(*marks, rims=RIMS, fixture=FIXTURE):
    plan = plan_with(fixture)
    plan = replace(plan, structures=(*plan.structures, *marks))
    maker = RowMaker(
        plan=plan, volume=VOLUME, subject=fixture.id, is_fixture=True,
        tooth=Tooth.of(fixture.tooth), hindrances=(), platform=fixture.platform,
    )  # fmt: skip
    return plan, list(drilling_rows(plan, fixture, rims, maker))


def test_each_depth_is_counted_to_the_apex_and_rounded_down_to_a_mark():
    _, rows = rows_of(GUM, STENT)
    found = {m.details.counted_from: (m.value, m.details.mark_mm) for m in rows}
    assert found["buccal rim"] == (pytest.approx(9.15), 9.0)
    assert found["highest rim"] == (pytest.approx(9.3), 9.0)
    assert found["gum"] == (pytest.approx(11.2), 11.0)
    assert found["stent top"] == (pytest.approx(20.9), 20.5)
    assert all(m.budget is not None and m.verdict is None for m in rows)
    assert [m.id for m in rows][:2] == ["36/depth/drill/buccal rim", "36/depth/drill/highest rim"]


def test_gum_and_stent_have_no_row_where_they_are_not_marked():
    _, rows = rows_of()
    assert [m.details.counted_from for m in rows] == ["buccal rim", "highest rim"]


def test_a_rim_that_was_not_found_is_not_assessed_and_never_a_number():
    lost = Reading(value=None, notes=(Note("rim_not_found"),))
    _, rows = rows_of(rims=RIMS | {"lingual": lost})
    by_place = {m.details.counted_from: m for m in rows}
    assert by_place["buccal rim"].value == pytest.approx(9.15)
    assert by_place["highest rim"].value is None
    assert by_place["highest rim"].verdict == "not assessed"
    assert by_place["highest rim"].details.mark_mm is None


@given(st.floats(-3.0, 6.0))
def test_the_mark_is_never_deeper_than_the_depth(depth_mm):
    _, rows = rows_of(rims=dict.fromkeys(RIMS, Reading(value=depth_mm, edge_sd_mm=(0.1,))))
    for m in rows:
        assert 0.0 <= m.value - m.details.mark_mm + 1e-5 < 0.5 + 2e-5


def test_marks_of_another_tooth_never_count():
    here = replace(GUM, id="gum-36", tooth="36")
    there = replace(GUM, id="gum-35", tooth="35")
    assert marks_at(FIXTURE, (there,), "gum") is None
    assert marks_at(FIXTURE, (there, here), "gum") is here
    far = replace(GUM, points=on_arch(60.0, 23.2)[None])
    assert marks_at(FIXTURE, (far,), "gum") is None
    assert marks_at(FIXTURE, (far, GUM), "gum") is GUM
    beside = replace(here, id="gum-36-2", points=np.add(here.points, [3.0, 0.0, 0.0]))
    assert marks_at(FIXTURE, (beside, here), "gum") is here, "of two the nearer one"


@pytest.mark.parametrize("scanned", [True, False], ids=["scanned", "gum outside the scan"])
@pytest.mark.parametrize("tooth", ["36", ""])
def test_the_drill_table_of_the_day_has_the_same_depths(tooth, scanned):
    fixture = replace(FIXTURE, tooth=tooth)
    plan = plan_with(fixture)
    gum = GUM if scanned else replace(GUM, points=np.add(GUM.points, (0, 0, 14)))
    plan = replace(plan, structures=(*plan.structures, gum))
    arch = arch_of(plan)
    maker = RowMaker(
        plan=plan, volume=VOLUME, subject="36", is_fixture=True, tooth=None, hindrances=()
    )
    named = {"mesial": "mesial", "distal": "distal"}
    if not fixture_frame(fixture, arch).named_by_tooth:
        named = {"mesial": "left", "distal": "right"}
    platform = [
        maker.row(
            group="information", kind="depth", parts=("platform", named.get(place, place)),
            reading=reading, details=details_of(
                "depth", {"of": "platform below bone", "side": named.get(place, place)}
            ),
        )
        for place, reading in RIMS.items()
    ]  # fmt: skip
    drills = list(drilling_rows(plan, fixture, RIMS, maker))
    ledger = replace(ledger_of(plan_with(fixture)), measurements=(*platform, *drills))
    table = drilling_plan(fixture, plan, VOLUME, ledger, arch)[0]
    of_table = {
        d.counted_from: d.reading.value for d in table.depths if d.reading.value is not None
    }
    rows = drill_rows_of(ledger.measurements)
    assert of_table == {m.details.counted_from: m.value for m in rows if m.value is not None}
    assert set(of_table) == {"buccal rim", "highest rim", *(("gum",) if scanned else ())}
    assert np.isclose(of_table["highest rim"], 9.3)
