"""The picture of remaining bone follows a fixture that a real mouse drags, before it is let go."""

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest

import sample_volumes
from app.window.bench import Bench
from core.arch import fixture_frame
from core.bone.remaining_bone import remaining_bone_map

SCAN = "lower_left_36"
LEFT, NONE = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier


@pytest.fixture
def bench(qtbot, tmp_path):
    made = Bench(tmp_path / "cases")
    made.resize(1366, 768)
    with qtbot.waitExposed(made):
        made.show()
    plan = str(sample_volumes.path(f"{SCAN}.plan.json"))
    made.opening.scan(str(sample_volumes.path(SCAN)), plan=plan)
    qtbot.waitUntil(lambda: made.session.ledger_is_whole, timeout=90_000)
    yield made
    made.close()
    made.deleteLater()


def test_the_picture_is_of_the_dragged_pose_before_it_is_let_go(qtbot, bench):
    session, view = bench.session, bench.pictures.section
    panel = bench.work.panels["remaining bone"]
    QTest.mouseClick(bench.work.folds["remaining bone"], LEFT)
    qtbot.waitUntil(lambda: panel.shown_of is session.fixture, timeout=90_000)
    fine = panel.picture
    start = session.fixture
    bench.take_tool("Adjust")
    size = view.size()
    first = view.screen_position(start.on_axis(3.0)).toPoint()
    QTest.mousePress(view, LEFT, NONE, first)
    for step in range(1, 9):
        QTest.mouseMove(view, first + QPoint(0, 3 * step))
        qtbot.wait(15)
        # Whatever stands there in full is of the pose that the session shows.
        assert panel.plot.waiting or panel.shown_of is session.fixture
    assert view.size() == size, "words that come and go must not move what is dragged"
    # All eight steps of the hand: 24 pixels.
    way = 24 * view.mm_per_pixel()

    def has_followed():
        moved = float(np.linalg.norm(session.fixture.platform - start.platform))
        return moved == pytest.approx(way, rel=0.05) and not panel.plot.waiting

    qtbot.waitUntil(has_followed, timeout=30_000)
    assert session.dragging, "it is still held"
    dragged = session.fixture
    assert panel.shown_of is dragged
    shown = panel.picture
    assert shown.bone_mm.shape != fine.bone_mm.shape, "coarse while it moves"
    basis = panel._basis.of(session.plan, session.volume)
    expected = remaining_bone_map(
        session.volume, dragged, fixture_frame(dragged, basis.arch), basis.levels, basis.finder,
        session.plan.structures, step_mm=1.0, turn_step_deg=10.0,
    )  # fmt: skip
    np.testing.assert_allclose(shown.bone_mm[:, :-1], expected.bone_mm, atol=1e-9)
    QTest.mouseRelease(view, LEFT, NONE, first + QPoint(0, 24))
    assert not session.dragging
    qtbot.waitUntil(
        lambda: panel.picture.bone_mm.shape[1] == fine.bone_mm.shape[1] and not panel.plot.waiting,
        timeout=60_000,
    )
    assert panel.shown_of is session.fixture
