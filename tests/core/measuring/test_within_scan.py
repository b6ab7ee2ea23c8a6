"""No value rests on a mark where nothing was scanned: of whatever kind, whoever makes the row."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import core
from core.arch import fixture_frame
from core.identity import Tooth
from core.image.volume import Volume
from core.measurement import MARKED, SEEN, MarkInfluence, Reading
from core.measurement_kinds import ClearanceDetails, DepthDetails, MeasurementKind
from core.measuring.basis import RowMaker
from core.measuring.rows_crown import crown_rows
from core.measuring.rows_drilling import drilling_rows
from core.measuring.rows_rulers import ruler_rows
from core.structures import AngleMark, Course, PointMarks, Ruler, StentAxis
from tests.sheet_material import arch_of, fixture_at, plan_with, round_jaw

EVERY = pytest.mark.parametrize("kind", MeasurementKind)
INSIDE, OUTSIDE = (5.0, 5.0, 5.0), (480.0, 5.0, 5.0)
VOLUME = Volume(
    voxels=np.zeros((20, 20, 20), np.int16), mm_from_ijk=np.eye(4), made_up=np.zeros(20, bool)
)


def maker(*structures, volume=VOLUME):
    return RowMaker(
        plan=replace(plan_with(), structures=structures), volume=volume, subject="36",
        is_fixture=True, tooth=Tooth.of("36"), hindrances=(), platform=np.array([8.0, 8.0, 8.0]),
    )  # fmt: skip


def row(kind, *structures, evidence=MARKED, target="", **changes):
    mark = MarkInfluence(mark="end-1/0", gradient=(1, 0, 0))
    values = {"value": 4.0, "witness": (INSIDE, INSIDE), "marks": (mark,), "evidence": evidence}
    return maker(*structures).row(
        group="information", kind=kind, target=target, reading=Reading(**(values | changes))
    )


def end(*points):
    return PointMarks(id="end-1", kind="mark", points=points)


def codes(m):
    return [n.code for n in m.reading.notes]


@EVERY
@pytest.mark.parametrize("evidence", [MARKED, SEEN.joined(MARKED)])
def test_no_kind_of_row_has_a_value_that_rests_on_a_mark_outside_the_scan(kind, evidence):
    assert row(kind, end(INSIDE), evidence=evidence).value == 4.0
    # Also where the mark that the reading names is inside and the thing's other mark is not.
    for points in ([OUTSIDE], [INSIDE, OUTSIDE]):
        withheld = row(kind, end(*points), evidence=evidence)
        assert (withheld.value, withheld.budget, withheld.verdict) == (None, None, "not assessed")
        assert codes(withheld) == ["mark-outside-scan"]


@EVERY
def test_no_kind_of_row_goes_to_a_thing_outside_the_scan_or_names_a_mark_nobody_set(kind):
    nothing = {"marks": (), "evidence": SEEN, "target": "end-1"}
    assert codes(row(kind, end(OUTSIDE), **nothing)) == ["mark-outside-scan"]
    assert row(kind, end(INSIDE), **nothing).value == 4.0
    with pytest.raises(ValueError, match="does not have: end-1/0"):
        row(kind)


@EVERY
def test_the_end_on_a_course_must_have_been_scanned_between_its_marks_too(kind):
    course = Course(id="end-1", kind="canal", points=[INSIDE, (6.0, 5.0, 5.0)])
    assert row(kind, course).value == 4.0
    assert codes(row(kind, course, witness=(INSIDE, OUTSIDE))) == ["mark-outside-scan"]


def test_what_comes_of_a_withheld_value_goes_with_it():
    details = {
        MeasurementKind.DEPTH: DepthDetails(of="drilling depth", mark_mm=11.5),
        MeasurementKind.CLEARANCE: ClearanceDetails(by_hand_mm={"free_hand_at_least_mm": 1.0}),
    }
    mark = MarkInfluence(mark="end-1/0", gradient=(1, 0, 0))
    for kind, told in details.items():
        made = maker(end(OUTSIDE)).row(
            group="information", kind=kind, details=told,
            reading=Reading(value=4.0, marks=(mark,), evidence=MARKED),
        )  # fmt: skip
        assert made.value is None
        assert not {"mark_mm", "free_hand_at_least_mm"} & set(made.details.by_key())


def every_marked_row(volume, *, cusps_up=10.0):
    """Rows of crown, entry, drilling, rulers and angles, of one plan with marks for all of them."""
    fixture = fixture_at(15.0, "36")
    bare = plan_with(fixture)
    frame = fixture_frame(fixture, arch_of(bare))

    def at(mesial=0.0, buccal=0.0, up=0.0):
        return fixture.platform + mesial * frame.m + buccal * frame.b + up * frame.a

    def marks(kind, *points, **more):
        name = f"{kind}-{more.get('label', '1')}"
        return PointMarks(id=name, kind=kind, points=np.stack(points), **more)

    plan = replace(
        bare,
        structures=(
            *bare.structures,
            marks("contact", at(mesial=5.5, up=9.0), at(mesial=-6.0, up=9.0)),
            marks("cusp", at(mesial=8.0, up=cusps_up), at(mesial=-8.0, up=cusps_up)),
            marks("opponent", at(up=11.0)),
            marks("gum", at(buccal=1.0, up=3.0)),
            marks("stent_top", at(up=9.0)),
            marks("mark", at(mesial=6, up=8), at(mesial=-6, up=8), label="central groove"),
            marks("mark", at(mesial=1.0, up=4.0), label="gum margin"),
            marks("mark", at(mesial=4.0, up=4.0), label="enamel border"),
        ),
        stent_axes=(StentAxis(id="stent-36", occlusal=at(up=12.0), gingival=at(1.0, up=4.0)),),
        rulers=(Ruler(id="ruler-1", points=[at(), at(mesial=3.0)]),),
        angles=(AngleMark(id="angle-1", points=[at(3.0), at(), at(buccal=3.0)]),),
        document={"teeth_together": {"by": "LM", "at": "2026-09-15T10:30"}},
    )
    maker = RowMaker(
        plan=plan, volume=volume, subject="36", is_fixture=True, tooth=Tooth.of("36"),
        hindrances=(), platform=fixture.platform,
    )  # fmt: skip
    yield from crown_rows(plan, fixture, frame, maker)
    yield from drilling_rows(plan, fixture, {}, maker)
    yield from ruler_rows(plan, volume, arch_of(plan))


def test_every_row_of_crown_entry_drilling_and_rulers_is_withheld_where_nothing_was_scanned():
    scanned = round_jaw()
    marked = [m for m in every_marked_row(scanned) if m.reading.marks]
    aside = scanned.mm_from_ijk.copy()
    aside[2, 3] += 500.0
    away = replace(scanned, mm_from_ijk=aside)
    found = {m.id: m for m in every_marked_row(away)}
    assert {m.kind.value for m in marked} == {"room", "entry", "offset", "angle", "depth", "ruler"}
    assert len(marked) == 16
    for m in marked:
        assert found[m.id].value is None, m.id
        assert codes(found[m.id]) == ["mark-outside-scan"]
        assert "mark_mm" not in found[m.id].details.by_key()


@pytest.mark.parametrize("up", [10.0, 16.0])
def test_the_occlusal_plane_is_made_of_cusps_that_were_scanned(up):
    """Its rows name the ends of the stent and the contacts, not the cusps it runs through."""
    volume = round_jaw()
    rows = {m.id: m for m in every_marked_row(volume, cusps_up=up)}
    made = [rows[f"36/offset/{name}"] for name in ("stent-36/occlusal", "screw/buccal")]
    assert rows["36/offset/stent-36/platform"].value is not None
    assert all((m.value is None) == (up > 12.0) for m in made)


def test_rows_are_made_in_one_place_alone():
    """Else the next maker of rows goes round all of this."""
    folder = Path(core.__file__).parent
    made = {
        path.name for path in folder.rglob("*.py")
        if re.search(r"(?<![\w.])Measurement\(", path.read_text("utf-8"))
    }  # fmt: skip
    assert made == {"basis.py"}
