"""Bad sites in the panels: why there is no number, or what is lacking, as in the ledger."""

import pytest

from app.case.settings import settings_of
from app.panels.my_sizes import MySizes
from app.panels.remaining_bone import RemainingBone
from core.plans.sizes import default_sizes
from tests.app.case_at_hand import QuietSession
from tests.core.measuring.test_bad_sites_told import measured


@pytest.fixture
def opened(qapp):
    sessions = []

    def open_(kind):
        made, sizes = measured(kind)
        session = QuietSession()
        settings_of(session).change(sizes=made.sizes)
        session.open(made.volume, made.plan, window=(0.0, 3000.0))
        session.show_ledger(made.ledger)
        sessions.append(session)
        return session, sizes

    yield open_
    for session in sessions:
        settings_of(session).change(sizes=default_sizes())
        session.close()


def shown(qtbot, panel):
    qtbot.addWidget(panel)
    panel.resize(640, 230)
    panel.show()
    return panel


def test_without_bone_the_reason_stands_in_place_of_the_picture(qtbot, desk, opened):
    session, _ = opened("empty")
    panel = shown(qtbot, RemainingBone(session, desk))
    qtbot.waitUntil(lambda: bool(panel.said.text()), timeout=90_000)
    assert panel.said.text().startswith("No bone can be told from its surroundings")
    assert panel.words.isVisible()
    assert panel.picture is None


def test_beside_the_scans_edge_it_is_hatched_and_nothing_is_said_to_lack(qtbot, desk, opened):
    session, _ = opened("half outside")
    panel = shown(qtbot, RemainingBone(session, desk))
    qtbot.waitUntil(lambda: panel.picture is not None, timeout=90_000)
    picture = panel.picture
    assert picture.unknown[:, abs(picture.turns_deg) <= 45.0].all()
    assert not picture.below[:, abs(picture.turns_deg) <= 45.0].any()
    assert "Falling hatch" in panel.said.text()
    assert "Buccal" not in panel.lacking.text()


@pytest.mark.parametrize("kind", ["knife", "in a tooth", "upper"])
def test_what_is_lacking_is_said_of_the_side_that_the_ledger_finds_below(qtbot, desk, opened, kind):
    session, _ = opened(kind)
    panel = shown(qtbot, RemainingBone(session, desk))
    qtbot.waitUntil(lambda: panel.picture is not None, timeout=90_000)
    walls = [m for m in session.ledger.measurements if m.kind == "wall"]
    for side, name in (
        ("buccal", "Buccal"),
        ("lingual", "Palatal" if kind == "upper" else "Lingual"),
    ):
        below = any(m.verdict == "below limit" for m in walls if m.details.side == side)
        assert (f"{name}: " in panel.lacking.text()) == below


@pytest.mark.parametrize("kind", ["empty", "half outside", "socket"])
def test_no_size_is_said_to_meet_what_was_not_assessed(qtbot, desk, opened, kind):
    session, sizes = opened(kind)
    panel = shown(qtbot, MySizes(session, desk))
    qtbot.waitUntil(lambda: len(panel.model.rows) == len(sizes), timeout=90_000)
    for number, row in enumerate(sizes):
        assert panel.model.index(number, 2).data() == f"{row.limits - row.met} not met"
        assert panel.model.index(number, 3).data() == row.note.message
        assert row.met < row.limits
