"""Rows of crown and entry: only where marks exist, and worth what can be worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.arch import fixture_frame
from core.bone.level_learning import bone_levels
from core.identity import Tooth
from core.measurement import Reading
from core.measuring.basis import RowMaker
from core.measuring.rows_crown import crown_rows, gum_rows
from core.structures import PointMarks, StentAxis
from tests.sheet_material import arch_of, fixture_at, plan_with, round_jaw

VOLUME = round_jaw()
FIXTURE = fixture_at(15.0, "36")
FRAME = fixture_frame(FIXTURE, arch_of(plan_with(FIXTURE)))


def at(mesial=0.0, buccal=0.0, up=0.0):
    return FIXTURE.platform + mesial * FRAME.m + buccal * FRAME.b + up * FRAME.a


def marks(kind, *points, id_=None, **more):
    return PointMarks(id=id_ or f"{kind}-1", kind=kind, points=np.stack(points), **more)


def rows_of(*more, document=None, stents=()):
    plan = plan_with(FIXTURE)
    plan = replace(
        plan, structures=(*plan.structures, *more), stent_axes=stents, document=document or {}
    )
    return {m.id: m for m in crown_rows(plan, FIXTURE, FRAME, maker_of(plan))}


def maker_of(plan):
    return RowMaker(
        plan=plan, volume=VOLUME, subject="36", is_fixture=True, tooth=Tooth.of("36"),
        hindrances=(), platform=FIXTURE.platform,
    )  # fmt: skip


def test_a_plan_without_such_marks_has_no_such_row():
    assert rows_of() == {}


@pytest.mark.parametrize("apart", [True, False])
def test_room_and_entry_between_contacts(apart):
    mesial, distal = at(mesial=5.5, up=9.0), at(mesial=-6.0, up=9.0)
    contacts = (
        (marks("contact", mesial, id_="contact-35"), marks("contact", distal, id_="contact-37"))
        if apart
        else (marks("contact", distal, mesial, id_="contacts"),)
    )
    rows = rows_of(*contacts)
    assert set(rows) == {"36/room/neighbours", "36/entry/mesial", "36/entry/distal"}
    assert rows["36/room/neighbours"].value == pytest.approx(11.5)
    assert rows["36/entry/mesial"].value == pytest.approx(5.5)
    assert rows["36/entry/distal"].value == pytest.approx(6.0)
    keys = {i.mark for i in rows["36/room/neighbours"].reading.marks}
    assert keys == ({"contact-35/0", "contact-37/0"} if apart else {"contacts/0", "contacts/1"})
    assert all(m.budget is not None and m.limit is None and m.verdict is None
               for m in rows.values())  # fmt: skip


def test_one_contact_alone_gives_its_own_distance_and_no_room():
    assert set(rows_of(marks("contact", at(mesial=5.5, up=9.0)))) == {"36/entry/mesial"}


def test_contacts_of_another_gap_do_not_count():
    assert rows_of(marks("contact", at(mesial=13.0, up=9.0))) == {}


def test_stent_axis_at_platform_and_occlusal_plane():
    stent = StentAxis(id="stent-36", occlusal=at(buccal=1.0, up=12.0), gingival=at(up=4.0))
    cusps = marks("cusp", at(mesial=8.0, up=10.0), at(mesial=-8.0, up=10.0))
    rows = rows_of(cusps, stents=(stent,))
    # 1 mm over 8 mm of height: at 10 mm over the platform 0.75 mm, at the platform 0.5 the
    # other way, shortened by the lean of the axis.
    lean = np.cos(np.arctan(1 / 8))
    assert rows["36/offset/stent-36/occlusal"].value == pytest.approx(0.75)
    assert rows["36/offset/stent-36/platform"].value == pytest.approx(0.5 * lean)
    assert rows["36/angle/stent-36"].value == pytest.approx(np.degrees(np.arctan(1 / 8)))


def test_screw_exit_from_the_middle_between_the_neighbours():
    cusps = marks("cusp", at(mesial=8.0, buccal=1.0, up=10.0), at(mesial=-6.0, buccal=1.0, up=10.0))
    rows = rows_of(cusps)
    assert rows["36/offset/screw/buccal"].value == pytest.approx(-1.0)
    assert rows["36/offset/screw/mesial"].value == pytest.approx(-1.0)


@pytest.mark.parametrize("marked", [True, False])
def test_a_room_that_was_entered_rules_whether_the_opponent_is_marked_or_not(marked):
    said = {"entered_room": {"36": {"mm": 6.5, "by": "LM", "at": "2026-11-24T10:00:00Z"}}}
    opponent = (marks("opponent", at(up=9.5)),) if marked else ()
    room = rows_of(*opponent, document=said)["36/room/opponent"]
    assert room.value == 6.5
    assert room.verdict == "below limit"
    assert [n.code for n in room.reading.notes] == ["room_entered"]
    for rooms in (
        {"35": {"mm": 6.5, "by": "LM"}}, {"36": {"mm": 6.5}}, {"36": {"mm": "6.5", "by": "LM"}},
        {"36": {"mm": -1, "by": "LM"}}, {"36": {"mm": True, "by": "LM"}}, {"36": 6.5}, [6.5],
    ):  # fmt: skip
        assert rows_of(document={"entered_room": rooms}) == {}


def test_the_opponent_counts_only_where_somebody_said_that_the_teeth_were_together():
    opponent = marks("opponent", at(up=8.5))
    open_mouth = rows_of(opponent)["36/room/opponent"]
    assert open_mouth.value is None
    assert open_mouth.verdict == "not assessed"
    assert [n.code for n in open_mouth.reading.notes] == ["teeth_not_together"]
    said = {"teeth_together": {"by": "LM", "at": "2026-11-20"}}
    room = rows_of(opponent, document=said)["36/room/opponent"]
    assert room.value == pytest.approx(8.5)
    assert (room.limit.value, room.verdict) == (7.0, "meets limit")
    assert str(room.limit.source) == "common practice, no source"
    low = rows_of(marks("opponent", at(up=6.5)), document=said)["36/room/opponent"]
    assert low.verdict == "below limit"
    assert rows_of(opponent, document={"teeth_together": {}})["36/room/opponent"].value is None


def test_own_marks_count_by_their_label():
    grooves = (
        marks("mark", at(mesial=9.0, buccal=-0.5, up=8.0), id_="a", label="Central groove"),
        marks("mark", at(mesial=-9.0, buccal=-0.5, up=8.0), id_="b", label="central groove"),
    )
    margin = marks("mark", at(up=3.0), id_="c", label="gum margin")
    rows = rows_of(*grooves, margin, marks("mark", at(up=2.0), id_="d", label="something else"))
    assert rows["36/entry/grooves"].value == pytest.approx(0.5)
    assert rows["36/entry/gum-margin"].value == pytest.approx(3.0)
    assert set(rows) == {"36/entry/grooves", "36/entry/gum-margin"}


def test_gum_has_a_thickness_only_where_air_lies_on_it():
    class Basis:
        volume = VOLUME
        levels = bone_levels(VOLUME, arch_of(plan_with(FIXTURE)))

    def found(height):
        # Air begins at z = 24, 4 mm over the platform.
        plan = plan_with(FIXTURE)
        gum = marks("gum", at(up=height))
        plan = replace(plan, structures=(*plan.structures, gum))
        depth = Reading(value=1.0, edge_sd_mm=(0.1,))
        return [m.value for m in gum_rows(plan, Basis(), FIXTURE, depth, maker_of(plan))]

    assert found(4.0) == [pytest.approx(3.0)]
    assert found(1.0) == []
