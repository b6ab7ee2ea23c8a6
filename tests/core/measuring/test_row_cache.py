"""Rows that are kept: the very same while nothing under them moved, and never an old number."""

from __future__ import annotations

import threading
from dataclasses import fields, replace
from functools import cache

import numpy as np
import pytest

import sample_volumes
from core import load_plan, measure, open_scan
from core.arch import fixture_frame
from core.errors import SoundingError
from core.identity import Tooth
from core.measuring.basis import Basis, RowMaker
from core.measuring.row_cache import (
    ABOUT_THE_WORK,
    BESIDE_THE_BONE,
    KeptRows,
    alike,
)
from core.measuring.rows_bone import fixture_bone_rows, site_bone_rows
from core.measuring.rows_danger import DangerRows
from core.plans.plan import (
    ChangedLimit,
    Declaration,
    ImageCheck,
    Plan,
    SideCheck,
)
from core.structures import Course, PointMarks, Ruler, Tapered

SAMPLES = ("lower_left_36", "upper_right_15")
WHEN = "2026-11-25T10:00:00+00:00"


@cache
def sample(name):
    plan = load_plan(sample_volumes.path(f"{name}.plan.json"))
    volume = open_scan(sample_volumes.path(name))
    return plan, volume, Basis.of(plan, volume)


def again(plan, basis):
    return measure(plan, basis.volume, basis=basis, made_at=WHEN)


def anew(basis):
    """The same basis that has measured nothing yet."""
    return replace(basis, kept=KeptRows())


@cache
def told_anew(name):
    plan, _, basis = sample(name)
    return again(plan, anew(basis)).to_json()


@cache
def used(name):
    basis = anew(sample(name)[2])
    again(sample(name)[0], basis)
    return basis


def in_use(name):
    """The same basis, with the rows of the sample's own plan."""
    basis = anew(used(name))
    basis.kept._kept.update(used(name).kept._kept)
    return basis


def noted(plan):
    return {
        "notes": ({"text": "look here", "by": "LM"},),
        "history": (*plan.history, {"what": "note", "by": "LM"}),
        "revision": plan.revision + 1,
        "side_check": SideCheck(
            side=Tooth.of(plan.fixtures[0].tooth).side, against="chart", by="LM", at=WHEN
        ),
        "interpreted_by": "LM",
        "locked": ("36",),
    }


@pytest.mark.parametrize("name", SAMPLES)
def test_a_note_an_answer_or_a_lock_measures_nothing_again(name):
    plan, _, basis = sample(name)
    plan, basis = EDITS["a second fixture"](plan), anew(basis)
    first = again(plan, basis)
    second = again(replace(plan, **noted(plan)), basis)
    assert [m.id for m in first.measurements] == [m.id for m in second.measurements]
    costly = [m for m in first.measurements if m.group == "bone" or m.kind == "clearance"]
    assert len(costly) > 30
    assert all(m is second.get(m.id) for m in costly)


def moved(plan, way):
    first = plan.fixtures[0]
    rest = plan.fixtures[1:]
    return replace(plan, fixtures=(replace(first, platform=first.platform + way), *rest))


def with_limit(plan, key, value):
    changed = ChangedLimit(value=value, by="LM", at=WHEN, reason="test")
    return replace(plan, limits={**plan.limits, key: changed})


def with_first_of(plan, kind, change):
    done = False
    found = []
    for s in plan.structures:
        if isinstance(s, kind) and not done:
            done = True
            found.append(change(s))
        else:
            found.append(s)
    assert done
    return replace(plan, structures=tuple(found))


EDITS = {
    "fixture moved": lambda p: moved(p, np.array([0.1, 0.0, 0.0])),
    "fixture longer": lambda p: replace(p, fixtures=(replace(
        p.fixtures[0], size=replace(p.fixtures[0].size, length_mm=10.0)), *p.fixtures[1:])),
    "tooth named otherwise": lambda p: replace(p, fixtures=(replace(
        p.fixtures[0], tooth=p.fixtures[0].tooth[0] + "4"), *p.fixtures[1:])),
    "a second fixture": lambda p: replace(p, fixtures=(*p.fixtures, replace(
        p.fixtures[0], id="second", platform=p.fixtures[0].platform + np.array([5.0, -3.0, 0.0])))),
    "root wider": lambda p: with_first_of(
        p, Tapered, lambda s: replace(s, diameters_mm=(6.5, 3.5))),
    "root to be removed": lambda p: with_first_of(
        p, Tapered, lambda s: replace(s, to_be_removed=True)),
    "structure deleted": lambda p: replace(p, structures=p.structures[1:]),
    "gum marked": lambda p: replace(p, structures=(*p.structures, PointMarks(
        id="gum-x", kind="gum", points=[p.fixtures[0].on_axis(-3.0)]))),
    "limit of the bone": lambda p: with_limit(p, "wall-buccal", 2.4),
    "limit of a root": lambda p: with_limit(p, "root", 2.6),
    "declared": lambda p: replace(p, declared=(Declaration(
        structure="loop", state="looked for, not visible", reason="x", by="LM", at=WHEN),)),
    "image trouble": lambda p: replace(p, image_check=ImageCheck(
        trouble={"movement": "at the site"}, by="LM", at=WHEN)),
    "midline": lambda p: replace(p, midline=np.array([1.0, -20.0, 0.0])),
    "no site": lambda p: replace(p, sites=()),
    "ruler": lambda p: replace(p, rulers=(Ruler(
        id="ruler-1", points=[[0, 0, 0], [3, 0, 0]]),)),
    "teeth together": lambda p: replace(p, document={**p.document, "teeth_together": True}),
}  # fmt: skip


UPPER = ("fixture moved", "structure deleted")
"""What these move in the upper jaw: its sinus; the other edits name the same rows as below."""


@pytest.mark.parametrize(
    ("name", "edit"),
    [*(("lower_left_36", edit) for edit in EDITS), *(("upper_right_15", edit) for edit in UPPER)],
)
def test_after_every_edit_the_numbers_are_those_of_a_first_measuring(name, edit):
    plan, basis = sample(name)[0], in_use(name)
    edited = EDITS[edit](plan)
    told = again(edited, basis).to_json()
    assert told == again(edited, anew(basis)).to_json()
    if edit in ("fixture moved", "limit of the bone", "root wider", "declared", "image trouble"):
        assert told != told_anew(name), "this edit moves nothing, so the check says nothing"


@pytest.mark.parametrize("fine", [False, True])
def test_what_was_measured_quickly_is_never_taken_for_the_whole(fine):
    plan, volume, basis = sample("lower_left_36")
    kept = anew(basis)
    for each in (not fine, fine):
        found = measure(plan, volume, basis=kept, made_at=WHEN, fine=each)
    alone = measure(plan, volume, basis=anew(basis), made_at=WHEN, fine=fine)
    assert found.to_json() == alone.to_json()
    details = [m.details for m in found.measurements]
    assert details == [m.details for m in alone.measurements]


def test_undo_finds_the_old_numbers():
    plan, basis = sample("lower_left_36")[0], in_use("lower_left_36")
    for edit in ("fixture moved", "root wider", "limit of the bone"):
        again(EDITS[edit](plan), basis)
        assert again(plan, basis).to_json() == told_anew("lower_left_36")


class Guarded(Plan):
    """A plan that refuses to tell what no row may be measured from."""

    barred: frozenset[str] = frozenset()

    def __getattribute__(self, name):
        if name in type(self).barred:
            raise AssertionError(f"a row was measured from plan.{name}")
        return super().__getattribute__(name)


def guarded(plan, barred):
    kind = type("GuardedPlan", (Guarded,), {"barred": frozenset()})
    found = kind(**{f.name: getattr(plan, f.name) for f in fields(Plan)})
    kind.barred = barred
    return found


@pytest.mark.parametrize("name", SAMPLES)
def test_no_row_is_measured_from_what_its_key_leaves_out(name):
    plan, volume, basis = sample(name)
    gum = PointMarks(id="gum-x", kind="gum", points=[plan.fixtures[0].on_axis(-3.0)])
    plan = replace(plan, structures=(*plan.structures, gum))

    def maker(seen, subject, *, is_fixture, **more):
        return RowMaker(
            plan=seen, volume=volume, subject=subject.id, is_fixture=is_fixture,
            tooth=Tooth.of(subject.tooth) if subject.tooth else None, hindrances=(), **more,
        )  # fmt: skip

    bone = guarded(plan, ABOUT_THE_WORK | BESIDE_THE_BONE)
    danger = guarded(plan, ABOUT_THE_WORK)
    for fixture in plan.fixtures:
        frame = fixture_frame(fixture, basis.arch)
        where = {"is_fixture": True, "platform": fixture.platform}
        rows = fixture_bone_rows(bone, basis, fixture, frame, maker(bone, fixture, **where))
        assert len(list(rows)) > 20
        made = DangerRows(
            plan=danger, basis=basis, fixture=fixture, frame=frame,
            maker=maker(danger, fixture, **where), fine=True,
        )  # fmt: skip
        assert list(made.rows())
    for site in plan.sites:
        rows = site_bone_rows(bone, basis, site, maker(bone, site, is_fixture=False))
        assert len(list(rows)) > 10


def test_the_guard_refuses():
    plan = guarded(sample("lower_left_36")[0], frozenset({"notes"}))
    with pytest.raises(AssertionError, match=r"plan\.notes"):
        _ = plan.notes
    assert plan.structures


def test_rows_that_were_broken_off_are_not_kept():
    plan, volume, basis = sample("lower_left_36")
    basis = anew(basis)
    asked = []

    def stop():
        asked.append(1)
        return len(asked) > 12

    with pytest.raises(SoundingError):
        measure(plan, volume, basis=basis, cancelled=stop, made_at=WHEN)
    assert again(plan, basis).to_json() == told_anew("lower_left_36")


def test_two_workers_at_once_get_the_same_rows():
    plan, _, basis = sample("lower_left_36")
    moved_plan = EDITS["fixture moved"](plan)
    expected = {
        False: told_anew("lower_left_36"),
        True: again(moved_plan, anew(basis)).to_json(),
    }
    basis = anew(basis)
    found = []
    workers = [
        threading.Thread(
            target=lambda it=it: found.append(
                (it, again(moved_plan if it else plan, basis).to_json())
            )
        )
        for it in (False, True, False, True)
    ]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert len(found) == 4
    assert expected[False] != expected[True]
    for it, text in found:
        assert text == expected[it]


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (1.0, 1.0, True),
        (1.0, 2.0, False),
        (1, 1.0, False),
        (None, 0.0, False),
        ((1, "a"), (1, "a"), True),
        ((1, "a"), (1,), False),
        (np.array([1.0, 2.0]), np.array([1.0, 2.0]), True),
        (np.array([1.0, 2.0]), np.array([1.0, 2.1]), False),
        ({"a": np.array([1.0])}, {"a": np.array([1.0])}, True),
        ({"a": 1}, {"b": 1}, False),
    ],
)
def test_alike(one, other, same):
    assert alike(one, other) is same


def test_a_structure_made_anew_is_another_one():
    canal = Course(id="canal-left", kind="canal", points=[(0, 0, 0), (1, 0, 0)])
    assert alike(canal, canal)
    assert not alike(canal, replace(canal))
