"""The case: undo, history, what is confirmed, and which numbers may be shown."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from app.case.attestations import signed
from app.case.session import Session
from core.fixture import Fixture, FixtureSize
from core.geometry import vector
from core.level import Level
from core.plans.history import history_findings, sign_off_state
from core.plans.plan import Plan, ScanTie, Site
from core.proposing.proposal import Proposal
from core.structures import Ruler
from tests.app import coded
from tests.app.case_at_hand import IDENTITY, QuietSession, plan, proposed, volume

SIGNED_AT = "2026-11-24T10:41:00+00:00"


def fixture(**changes) -> Fixture:
    values = {
        "id": "36", "tooth": "36", "platform": vector((20.0, -9.0, -2.0)),
        "towards_apex": vector((0, 0, -1)), "size": FixtureSize(diameter_mm=4.0, length_mm=8.0),
    }  # fmt: skip
    return Fixture(**(values | changes))


@pytest.fixture
def session(qtbot):
    made = Session()
    yield made
    made.close()
    qtbot.waitUntil(lambda: not made._measuring.busy, timeout=10000)


def settled(qtbot, session):
    qtbot.waitUntil(lambda: session.ledger_is_whole, timeout=30000)


def test_every_step_can_be_undone_and_stays_written(session):
    session.open(coded.volume([[20, -9, -8]]), coded.plan())
    session.change("site 36 named", lambda p: replace(p, sites=(Site(id="36", station_mm=50.0),)))
    assert len(session.plan.sites) == 1
    session.undo_stack.undo()
    assert session.plan.sites == ()
    session.undo_stack.redo()
    assert len(session.plan.sites) == 1
    what = [entry["what"] for entry in session.plan.history]
    assert what == ["site 36 named", "undone: site 36 named", "done again: site 36 named"]
    assert session.plan.revision == 4
    assert history_findings(session.plan) == ()


def test_a_scan_that_changed_under_its_plan_gives_no_number(session, qtbot):
    volume = coded.volume([[20, -9, -8]])
    tie = ScanTie(series_uid=volume.identity.series_uid, fingerprint="sha256:other")
    session.open(volume, coded.plan(fixtures=(fixture(),), scan=tie))
    qtbot.waitUntil(lambda: session.ledger_problem is not None, timeout=20000)
    assert session.ledger_problem.code == "plan-scan-changed"
    assert session.ledger is None


def test_a_drag_is_one_step_and_escape_leaves_nothing(session):
    session.open(coded.volume([[20, -9, -8]]), coded.plan(fixtures=(fixture(),)))
    start = session.plan

    def moved(mm):
        return replace(start, fixtures=(fixture(platform=vector((20.0, -9.0, -2.0 - mm))),))

    session.preview(moved(1.0))
    session.preview(moved(2.0))
    session.abandon()
    assert session.undo_stack.count() == 0
    assert session.plan.fixtures[0].platform[2] == -2.0
    session.preview(moved(1.0))
    session.preview(moved(3.0))
    session.commit("fixture moved")
    assert session.undo_stack.count() == 1
    assert session.plan.fixtures[0].platform[2] == -5.0
    session.undo_stack.undo()
    assert session.plan.fixtures[0].platform[2] == -2.0


def test_a_drag_of_one_move_is_shown_though_the_whole_was_still_being_measured(session, qtbot):
    session.open(coded.volume([[20, -9, -8]]), coded.plan(fixtures=(fixture(),)))
    settled(qtbot, session)
    session._measure()
    assert session._measuring.busy
    moved = replace(session.plan, fixtures=(fixture(platform=vector((20.0, -9.0, -3.0))),))
    session.preview(moved)
    qtbot.waitUntil(lambda: session.plan is moved and session.ledger.plan is moved, timeout=10000)
    session.abandon()


def test_only_what_was_proposed_is_confirmed(session):
    """Where no arch was recognised the plane alone is: the history must not name an arch."""
    plane = Proposal(level=coded.plan().level, plane_from="crest")
    session.open(coded.volume([[20, -9, -8]]), Plan(), proposal=plane)
    session.confirm_proposal("lower")
    assert session.plan.level is plane.level
    assert session.plan.arch_points is None
    assert not session.confirmed
    assert session.undo_stack.undoText() == "jaw plane confirmed as suggested, lower jaw"


def test_a_plane_that_is_only_the_scanner_s_level_is_not_confirmed(session):
    """It guides the pictures, but nobody found it: a person sets it."""
    level = Proposal(level=coded.plan().level)
    session.open(coded.volume([[20, -9, -8]]), Plan(), proposal=level)
    assert session.guide.level is level.level
    assert not session.plane_is_found
    session.confirm_proposal("lower")
    assert session.plan.level is None
    assert session.undo_stack.undoText() == "lower jaw"


def test_no_number_until_jaw_plane_and_arch_are_confirmed(session, qtbot):
    proposal = proposed(coded.plan())
    session.open(coded.volume([[20, -9, -8]]), Plan(fixtures=(fixture(),)), proposal=proposal)
    assert session.arch is not None
    assert not session.confirmed
    qtbot.wait(150)
    assert session.ledger is None
    session.confirm_proposal("lower")
    assert session.confirmed
    settled(qtbot, session)
    assert session.ledger.of("36")
    session.undo_stack.undo()
    assert session.ledger is None


def test_while_a_fixture_is_dragged_numbers_and_pose_change_together(session, qtbot):
    session.open(coded.volume([[20, -9, -8]]), coded.plan(fixtures=(fixture(),)))
    settled(qtbot, session)
    start = session.plan
    pairs = []
    session.ledger_changed.connect(
        lambda: pairs.append(
            (session.ledger_is_current, getattr(session.ledger, "plan", None) is session.plan)
        )
    )
    for mm in (0.2, 0.4, 0.6, 0.8):
        platform = vector((20.0, -9.0, -2.0 - mm))
        session.preview(replace(start, fixtures=(fixture(platform=platform),)))
        qtbot.wait(10)
    qtbot.waitUntil(lambda: session.plan.fixtures[0].platform[2] == -2.8, timeout=20000)
    assert pairs
    assert all(current and same for current, same in pairs)
    session.commit("fixture moved")
    settled(qtbot, session)
    assert session.ledger.plan.fixtures[0].platform[2] == -2.8


def test_a_named_tooth_against_the_side_leaves_no_verdict_even_on_a_known_arch(session, qtbot):
    """Rule: a contradiction of tooth and side is never silent, also when the levels are kept."""
    session.open(coded.volume([[20, -9, -8]]), coded.plan(fixtures=(fixture(),)))
    settled(qtbot, session)
    wrong = fixture(tooth="46")
    session.apply("tooth named", replace(session.plan, fixtures=(wrong,)))
    settled(qtbot, session)
    assert session.side.warning == "Left and right may be swapped. Check."
    judged = {row.verdict for row in session.ledger.measurements if row.limit is not None}
    assert judged == {"not assessed"}


def test_steps_stay_near_the_arch_and_leave_the_plane_through_an_axis(session):
    session.open(coded.volume([[20, -9, -8]]), coded.plan(fixtures=(fixture(),)))
    session.go_to(turn_deg=370.0)
    assert session.turn_deg == 10.0
    session.step(1)
    assert session.turn_deg is None
    session.step(1000)
    assert session.station_mm == pytest.approx(session.arch.length_mm + 10.0)


def test_a_mark_outside_the_scan_is_not_taken(session, qtbot):
    session.open(coded.volume([[20, -9, -8]]), coded.plan(fixtures=(fixture(),)))
    refused = []
    session.refused.connect(refused.append)
    before = session.plan
    inside = Ruler(id="ruler-1", points=[(20, -9, -8), (20, -9, -6)])
    assert session.apply("ruler", replace(before, rulers=(inside,)))
    away = replace(inside, points=[(20, -9, -8), (900, -9, -6)])
    assert not session.apply("moved", replace(session.plan, rulers=(away,)))
    assert session.plan.rulers == (inside,)
    session.preview(replace(session.plan, rulers=(away,)))
    session.commit("dragged")
    assert session.plan.rulers == (inside,)
    assert len(refused) == 2
    assert "nothing was scanned" in refused[0]


def test_closing_lets_go_of_everything(session):
    session.open(coded.volume([[20, -9, -8]]), coded.plan(fixtures=(fixture(),)))
    session.go_to(point_mm=np.array([1.0, 2.0, 3.0]))
    session.close()
    assert session.volume is None
    assert session.arch is None
    assert session.point_mm is None
    assert session.fixture is None


def test_a_signed_plan_keeps_jaw_plane_and_sites_until_it_is_opened_again(qapp):
    case = QuietSession()
    _, signed_plan = signed(
        plan(), IDENTITY, fingerprint="0" * 64, name="A", role="b", at=SIGNED_AT
    )
    case.open(volume(), signed_plan, window=(0.0, 1.0))
    told = []
    case.refused.connect(told.append)
    moved = Level(origin=(0, 0, 1), up=(0, 0, 1))
    site = Site(id="site-46", tooth="46", station_mm=12.0)
    for other in (
        replace(signed_plan, level=moved),
        replace(signed_plan, sites=(site,)),
        replace(signed_plan, jaw="upper"),
    ):
        case.apply("changed", other)
        assert case.plan is signed_plan
        case.preview(other)
        case.commit("dragged")
        assert case.plan is signed_plan
    assert len(told) == 6
    assert "Reopen for editing" in told[0]
    assert sign_off_state(case.plan) == "signed"
    case.apply("reopened after sign-off", replace(case.plan, locked=()))
    case.apply("changed", replace(case.plan, level=moved))
    assert case.plan.level is moved
    assert sign_off_state(case.plan) == "void"
    case.close()


def test_a_section_at_the_fixture_goes_along_with_it_and_back(session):
    """Else it shows a place without a fixture under the fixture's name."""
    session.open(coded.volume([[20, -9, -8]]), coded.plan(fixtures=(fixture(),)))
    arch = session.arch
    first = session.station_mm
    assert first == pytest.approx(arch.station(fixture().platform))
    there = fixture(platform=arch.frame(first + 6.0).origin - vector((0, 0, 2.0)))
    session.apply("36 moved 6.0 mm distal", replace(session.plan, fixtures=(there,)))
    assert session.station_mm == pytest.approx(arch.station(there.platform))
    assert session.station_mm > first + 4.0
    session.undo_stack.undo()
    assert session.station_mm == pytest.approx(first)


def test_a_section_that_looks_elsewhere_stays(session):
    session.open(coded.volume([[20, -9, -8]]), coded.plan(fixtures=(fixture(),)))
    arch, first = session.arch, session.station_mm
    session.go_to(station_mm=first - 3.0)
    there = fixture(platform=arch.frame(first + 6.0).origin - vector((0, 0, 2.0)))
    session.apply("36 moved 6.0 mm distal", replace(session.plan, fixtures=(there,)))
    assert session.station_mm == first - 3.0
