"""A fixture is not inside the bone by one reading of a side and outside it by the other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.arch import fixture_frame
from core.bone.remaining_bone import remaining_bone_map
from core.identity import Tooth
from core.measurement import SEEN, Budget, Measurement, Note, Reading, Term
from core.measurement_kinds import ClearanceDetails, DepthDetails, RemainingBoneDetails
from core.measuring import rows_beside
from core.measuring.basis import Basis, RowMaker
from core.measuring.bone_contradicted import axis_may_be_out, is_contradicted
from core.measuring.unseen_ends import UnseenEnds, unseen_end
from core.structures import Floor
from tests.core.sheet.test_measured_parts import case_for

HALF_U = 0.1


def row(kind, value, details):
    doubt = Budget(terms=(Term(name="edge", u=HALF_U, source="test"),))
    return Measurement(
        id=kind, group="bone", kind=kind, fixture="36", reading=reading(value), budget=doubt,
        details=details,
    )  # fmt: skip


def reading(value):
    return Reading(
        value=value, evidence=SEEN, notes=(Note("wall_no_bone"),) if value is None else ()
    )


def surface_rows_of(monkeypatch, values, beside=(), hidden=None, rims=None):
    """Rows of the sides of a fixture of 4 mm, their distances given."""
    case = case_for("whole")
    fixture = case.plan.fixtures[0]
    basis = Basis.of(case.plan, case.volume)
    witness = (fixture.platform, fixture.platform + np.array([0.0, 3.0, 0.0]))
    found = {s: replace(reading(v), witness=witness) for s, v in values.items()}
    monkeypatch.setattr(rows_beside, "surface_on", lambda *_, **__: found)
    maker = RowMaker(
        plan=case.plan, volume=case.volume, subject=fixture.id, is_fixture=True,
        tooth=Tooth.of(fixture.tooth), hindrances=(),
    )  # fmt: skip
    rows = rows_beside.surface_rows(
        None, case.plan, basis, fixture=fixture, frame=fixture_frame(fixture, basis.arch),
        remaining=beside, unseen=UnseenEnds(everywhere=hidden, rims=rims or {}), maker=maker,
    )  # fmt: skip
    return {m.details.side: m for m in rows if not m.details.with_tip_mm}


def surface(value, side="lingual"):
    return row("clearance", value, ClearanceDetails(side=side))


def remaining(value, side="lingual"):
    return row("wall", value, RemainingBoneDetails(side=side))


def rim(value):
    return row("depth", value, DepthDetails(of="platform below bone", side="lingual"))


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


@pytest.mark.parametrize(
    ("side", "own_mm", "other_mm", "out"),
    [
        (
            "lingual",
            3.39,
            -1.41,
            True,
        ),  # a fixture of 4 mm, out of the bone to 0.6 mm from its axis
        ("buccal", 3.39, -1.41, True),
        ("lingual", 3.39, -1.24, False),
        ("lingual", 3.39, None, False),
        ("lingual", -0.4, -1.41, False),  # says itself that it is out
        ("lingual", None, -1.41, False),
        ("apical", 3.39, -1.41, False),
    ],
)
def test_a_surface_that_comes_near_the_axis_may_lie_on_the_other_side_of_it(
    side, own_mm, other_mm, out
):
    other = "buccal" if side != "buccal" else "lingual"
    found = {s: reading(v) for s, v in ((side, own_mm), (other, other_mm))}
    assert axis_may_be_out(side, found, 2.0) == out
    assert not axis_may_be_out(side, {side: reading(own_mm)}, 2.0)


def test_a_fixture_out_of_the_bone_to_its_axis_is_clear_on_neither_side(monkeypatch):
    rows = surface_rows_of(monkeypatch, {"buccal": -1.9, "lingual": 3.39, "apical": 3.0})
    assert (rows["lingual"].value, rows["lingual"].verdict) == (None, "not assessed")
    assert rows["lingual"].reading.notes[0].code == "surface-axis-out"
    clear = surface_rows_of(monkeypatch, {"buccal": -0.5, "lingual": 3.39, "apical": 3.0})
    assert (clear["lingual"].value, clear["lingual"].verdict) == (3.39, "meets limit")


def test_a_surface_that_is_contradicted_meets_no_limit_and_says_why(monkeypatch):
    values = dict.fromkeys(("buccal", "lingual", "apical"), 3.0)
    agreed = surface_rows_of(monkeypatch, values, (remaining(2.9),))["lingual"]
    denied = surface_rows_of(monkeypatch, values, (remaining(-1.5),))["lingual"]
    assert (agreed.value, agreed.verdict) == (3.0, "meets limit")
    assert (denied.value, denied.verdict) == (None, "not assessed")
    (note,) = denied.reading.notes
    assert note.code == "surface-contradicted"
    assert "lingual" in note.message


@pytest.mark.parametrize(("apical_mm", "told"), [(2.4, True), (3.0, False)])
@pytest.mark.parametrize("cut", ["buccal", "lingual"])
def test_nothing_beside_the_apex_that_was_not_scanned_may_lie_nearer(
    monkeypatch, cut, apical_mm, told
):
    def ends(_volume, _fixture, _frame, side, within_mm):
        return side == cut and within_mm >= 2.5

    monkeypatch.setattr(rows_beside, "scan_ends_beside", ends)
    rows = surface_rows_of(monkeypatch, {"buccal": 1.0, "lingual": 1.0, "apical": apical_mm})
    assert (rows["apical"].value == apical_mm) == told
    assert rows["apical"].verdict == ("meets limit" if told else "not assessed")


def test_where_one_plate_may_not_show_no_side_is_more_than_an_upper_bound(monkeypatch):
    """A knife edge: 1.38 mm was read to a lingual plate of which no voxel shows the true one."""
    hidden = Note("ridge_one_plate")
    values = {"buccal": 3.0, "lingual": 2.5, "apical": 4.0}
    rows = surface_rows_of(monkeypatch, values, hidden=hidden)
    assert rows["lingual"].reading.upper_bound
    assert rows["lingual"].verdict not in {"meets limit", None}
    assert [n.code for n in rows["lingual"].reading.notes] == ["ridge_one_plate"]
    assert not rows["apical"].reading.upper_bound
    clear = surface_rows_of(monkeypatch, values)
    assert clear["lingual"].verdict == "meets limit"


def test_so_is_remaining_bone_and_what_was_seen_as_far_as_8_mm():
    hidden = Note("ridge_one_plate")
    far = Reading(value=8.0, lower_bound=True, evidence=SEEN)
    told = UnseenEnds(everywhere=hidden).bounded(far, "lingual")
    assert told.upper_bound
    assert not told.lower_bound
    assert not told.evidence.is_sound
    assert UnseenEnds().bounded(far, "lingual") is far
    assert UnseenEnds(everywhere=hidden).bounded(far, "apical") is far
    none = reading(None)
    assert UnseenEnds(everywhere=hidden).bounded(none, "buccal") is none


@pytest.mark.parametrize(("deep", "bound"), [(0.29, True), (0.31, False), (None, False)])
def test_a_platform_that_may_stand_out_of_the_bone_is_clear_there_of_nothing(
    monkeypatch, deep, bound
):
    """Lingual 3.37 ± 0.68 was read for none on a real jaw, whose platform read 0.17 ± 0.14 deep."""
    rims = {"lingual": rim(deep)}
    values = {"buccal": 3.0, "lingual": 2.5, "apical": 4.0}
    rows = surface_rows_of(monkeypatch, values, rims=rims)
    assert rows["lingual"].reading.upper_bound is bound
    assert rows["lingual"].verdict == ("not assessed" if bound else "meets limit")
    told = [n.code for n in rows["lingual"].reading.notes]
    assert told == (["wall_rim_at_edge"] if bound else [])
    assert not rows["buccal"].reading.upper_bound
    assert not rows["apical"].reading.upper_bound


def test_so_is_the_bone_beside_the_platform_and_what_stands_out_already_is_read_as_it_is():
    at_edge = UnseenEnds(rims={"buccal": rim(0.1)})
    assert at_edge.bounded(reading(3.0), "buccal").upper_bound
    assert not at_edge.bounded(reading(3.0), "buccal", at_rim=False).upper_bound
    out = reading(-0.3)
    assert at_edge.bounded(out, "buccal") is out
    floor = Note("wall-floor-reached")
    further = at_edge.bounded(reading(3.0), "buccal", at_rim=False, else_by=floor)
    assert [n.code for n in further.notes] == ["wall-floor-reached"]
    both = at_edge.bounded(reading(3.0), "buccal", else_by=floor)
    assert [n.code for n in both.notes] == ["wall_rim_at_edge"]


def test_where_gum_is_as_bright_as_bone_every_side_is_an_upper_bound(monkeypatch):
    """Apical 3.77 was read for 0.73: rays ended at gum far out, before the bone."""
    hidden = Note("image_shaded", {"percent": "42"})
    values = {"buccal": 3.0, "lingual": 2.5, "apical": 4.0}
    rows = surface_rows_of(monkeypatch, values, hidden=hidden)
    assert rows["apical"].reading.upper_bound
    assert rows["lingual"].reading.upper_bound
    assert rows["apical"].verdict != "meets limit"


def test_what_hides_an_edge_is_asked_of_the_image_first_and_of_the_widths():
    from types import SimpleNamespace

    def told(codes, faults):
        widths = [SimpleNamespace(reading=Reading(value=None, notes=(Note(c),))) for c in codes]
        everywhere = [SimpleNamespace(note=Note(code)) for code in faults]
        basis = SimpleNamespace(faults=SimpleNamespace(everywhere=everywhere))
        note = unseen_end(SimpleNamespace(widths=widths), basis)
        return note and note.code

    assert told(["edge_weak"], ["image_rings"]) is None
    assert told(["edge_weak", "ridge_one_plate"], ["image_rings"]) == "ridge_one_plate"
    assert told(["edge_weak", "ridge_narrows_suddenly"], []) == "ridge_narrows_suddenly"
    assert told(["ridge_one_plate"], ["image_rings", "image_shaded"]) == "image_shaded"


@pytest.mark.parametrize(
    ("away", "reached"), [(-0.03, True), (0.29, True), (0.31, False), (None, False)]
)
def test_beside_the_end_of_a_fixture_that_reaches_a_floor_bone_is_an_upper_bound(
    monkeypatch, away, reached
):
    """A corner of the apex 0.25 mm through the floor: 1.93 was read on a ray with none."""
    case = case_for("upper")
    basis = Basis.of(case.plan, case.volume)
    fixture = case.plan.fixtures[0]
    monkeypatch.setattr(
        rows_beside, "clearance", lambda *_: reading(away) if away is not None else reading(None)
    )
    around = fixture.apex + np.array([(-4, 0, 1), (4, 0, 1), (0, 4, 1), (0, -4, 1.0)])
    plan = replace(case.plan, structures=(Floor(id="sinus-left", of="sinus", points=around),))
    note = rows_beside._floor_reached(fixture, basis, plan)
    assert (note is not None) is reached
    told = UnseenEnds(everywhere=note).bounded(reading(2.0), "buccal")
    assert told.upper_bound is reached
    assert rows_beside._floor_reached(fixture, basis, replace(case.plan, structures=())) is None


def test_the_zone_at_the_shoulder_stands_clear_of_a_floor_that_the_end_reaches(monkeypatch):
    case = case_for("whole")
    basis = Basis.of(case.plan, case.volume)
    fixture = case.plan.fixtures[0]
    frame = fixture_frame(fixture, basis.arch)
    monkeypatch.setattr(rows_beside, "_floor_reached", lambda *_: Note("wall-floor-reached"))
    remaining = remaining_bone_map(
        basis.volume, fixture, frame, basis.levels, basis.finder, case.plan.structures
    )
    maker = RowMaker(
        plan=case.plan, volume=case.volume, subject=fixture.id, is_fixture=True,
        tooth=Tooth.of(fixture.tooth), hindrances=(),
    )  # fmt: skip
    rows = rows_beside.remaining_bone_rows(
        remaining, basis, fixture=fixture, frame=frame, unseen=UnseenEnds(), maker=maker
    )
    told = {
        m.id.split("/", 1)[1]: any(n.code == "wall-floor-reached" for n in m.reading.notes)
        for m in rows
        if m.reading.value is not None
    }
    assert not told.get("wall/buccal", False)
    assert told.pop("wall/lingual", True)
    assert told.pop("wall/buccal/deep", True)
    assert len(told) <= 1
