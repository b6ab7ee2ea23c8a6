"""Every kind of mark can be taken, dragged, named, locked and deleted in the window."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import Qt

from app.panels.rows_shown import mark_tool
from app.tools.catalogue import TOOL, TOOLS
from app.tools.fixture import EVERY_KIND, Adjust
from app.tools.jaw import ArchTool
from app.tools.rulers import Ridge
from core.kinds import KINDS
from core.plans.edit import is_locked
from core.plans.edit_pose import with_site
from core.plans.marks import marks_of
from core.plans.notes import with_note
from core.plans.plan import Plan
from core.structures import (
    AngleMark,
    Course,
    Floor,
    Foramen,
    KnownObject,
    PointMarks,
    Ruler,
    StentAxis,
    Tapered,
)
from core.words.values import capitalised
from tests.app.tools.table import STATION
from tests.app.tools.test_fixture import frame

F = frame()


def at(u, v):
    return F.origin + u * F.buccal + v * F.up


def row(*places):
    return np.stack([at(u, v) for u, v in places])


THINGS = {
    "canal": Course(id="a", kind="canal", points=row((0, 0), (4, 5))),
    "loop": Course(id="a", kind="loop", points=row((0, 0), (4, 5))),
    "vessel": Course(id="a", kind="vessel", points=row((0, 0), (4, 5))),
    "border": Course(id="a", kind="border", points=row((0, 0), (4, 5))),
    "foramen": Foramen(id="a", mesial=at(0, 0), distal=at(4, 5)),
    "root": Tapered(id="a", kind="root", tooth="35", points=row((0, 0), (4, 5)),
                    diameters_mm=(5, 2)),
    "existing": Tapered(id="a", kind="existing", points=row((0, 0), (4, 5)), diameters_mm=(4, 4)),
    "floor": Floor(id="a", of="sinus", points=row((0, 0), (4, 5), (8, 0), (-6, 3))),
    "mark": PointMarks(id="a", kind="mark", points=row((0, 0))),
    "gum": PointMarks(id="a", kind="gum", points=row((0, 0))),
    "stent_top": PointMarks(id="a", kind="stent_top", points=row((0, 0))),
    "cusp": PointMarks(id="a", kind="cusp", points=row((0, 0))),
    "contact": PointMarks(id="a", kind="contact", points=row((0, 0))),
    "opponent": PointMarks(id="a", kind="opponent", points=row((0, 0))),
    "crest": PointMarks(id="a", kind="crest", points=row((0, 0))),
    "object": KnownObject(id="a", points=row((0, 0), (4, 5)), size_mm=5.0),
    "stent axis": StentAxis(id="a", occlusal=at(0, 0), gingival=at(4, -5)),
    "ruler": Ruler(id="a", points=row((0, 0), (4, 5))),
    "angle": AngleMark(id="a", points=row((0, 0), (4, 5), (9, 0))),
}  # fmt: skip


def with_thing_of(kind):
    thing = THINGS.get(kind)
    if kind == "midline":
        return {"midline": at(0, 0)}
    if kind == "note":
        return {"notes": with_note(Plan(), "here", at(0, 0), at="now").notes}
    name = {"stent axis": "stent_axes", "ruler": "rulers", "angle": "angles"}
    return {name.get(kind, "structures"): (thing,)}


def the_mark(t):
    return next((m for m in marks_of(t.plan) if m.kind != "arch"), None)


def test_no_kind_of_mark_is_left_out():
    """What the plan can hold, the hand can take; the arch has its own tool."""
    assert {*THINGS, "midline", "note"} == EVERY_KIND


@pytest.mark.parametrize("tool", TOOLS, ids=lambda tool: tool.name)
def test_every_tool_has_its_words_and_a_name_of_its_own(tool):
    assert tool.title()
    assert TOOL[tool.name] is tool
    assert len(TOOL) == len(TOOLS)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.id)
def test_every_kind_has_a_tool_of_its_id_that_takes_its_marks(kind):
    tool = TOOL.get(kind.id)
    assert tool is not None, f"no tool of app/tools/catalogue.py is called {kind.id!r}"
    assert kind.file_kind in tool.kinds
    assert tool.kind == kind.id
    assert tool.words or tool.title() == capitalised(kind.words)
    if kind.declared_as:
        assert (
            mark_tool(kind.declared_as) == mark_tool(kind.declared_as.replace(" ", "-")) == kind.id
        )


@pytest.mark.parametrize("kind", sorted(EVERY_KIND))
def test_taken_dragged_named_locked_and_deleted(table, kind):
    t = table(Adjust, jaw="lower", **with_thing_of(kind))
    place = the_mark(t).point_mm
    way = t.drag(t.section, place, (14, 8))
    assert the_mark(t).point_mm == pytest.approx(place + way), "dragged"
    t.type(Qt.Key.Key_Right, Qt.KeyboardModifier.ControlModifier)
    assert np.linalg.norm(the_mark(t).point_mm - place - way) == pytest.approx(0.1), "nudged"
    owner = the_mark(t).owner
    if kind != "midline":  # there is one, and it is called that
        before = t.now()
        t.desk.answers = ["Other name"]
        t.type(Qt.Key.Key_F2)
        assert t.now() != before, "named"
        owner = the_mark(t).owner
        t.click_on(t.section, the_mark(t).point_mm)
    t.type(Qt.Key.Key_L)
    assert is_locked(t.plan, owner), "locked"
    here = the_mark(t).point_mm
    t.drag(t.section, here, (14, 8))
    t.type(Qt.Key.Key_Delete)
    assert the_mark(t) is not None, "what is locked stays"
    assert np.array_equal(the_mark(t).point_mm, here)
    t.type(Qt.Key.Key_L)
    count = len(marks_of(t.plan))
    t.type(Qt.Key.Key_Delete)
    assert len(marks_of(t.plan)) < count, "deleted"
    assert t.undo_all() == t.start


def test_a_point_of_the_arch_is_locked_with_the_arch_and_deleted(table):
    t = table(ArchTool, jaw="lower")
    mark = next(m for m in t.tool.marks() if m.part == "2")
    t.click_on(t.map, mark.point_mm)
    t.type(Qt.Key.Key_L, view=t.map)
    t.type(Qt.Key.Key_Delete, view=t.map)
    assert len(t.plan.arch_points) == 5
    t.type(Qt.Key.Key_L, view=t.map)
    t.type(Qt.Key.Key_Delete, view=t.map)
    assert len(t.plan.arch_points) == 4
    assert t.undo_all() == t.start


def test_a_site_is_deleted_where_it_is_looked_at_and_nowhere_else(table):
    plan, _ = with_site(Plan(), STATION, tooth="36")
    t = table(Ridge, jaw="lower", sites=plan.sites)
    assert "Del deletes the site" in t.tool.hint()
    t.session.go_to(station_mm=STATION - 5.0)
    t.type(Qt.Key.Key_Delete)
    assert len(t.plan.sites) == 1
    assert "Del" not in t.tool.hint()
    t.session.go_to(station_mm=STATION + 1.0)
    t.type(Qt.Key.Key_Delete)
    assert t.plan.sites == ()
    assert t.undo_all() == t.start
