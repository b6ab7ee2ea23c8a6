"""The site in space under mouse and keys; and on the small jaw, what is seen there."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from app.dialogs.in_space import show_in_space
from app.pictures.space_view import START_DEG, SpaceView
from core.image.volume import Volume
from core.measuring.assemble import measure
from core.plans.plan_parse import parse
from sample_volumes import small_jaw
from tests.app.case_at_hand import IDENTITY, QuietSession
from tests.core.sheet.test_space_picture import ball, scene


@pytest.fixture
def view(qtbot):
    made = SpaceView()
    qtbot.addWidget(made)
    made.resize(400, 320)
    made.show_scene(scene(ball("root", (0.0, 5.0, 0.0), 3.0)))
    made.show()
    qtbot.waitExposed(made)
    return made


def seen(view):
    image = view.grab().toImage()
    return [image.pixel(x, y) for x in range(0, image.width(), 4) for y in range(40, 320, 4)]


def test_a_drag_turns_it_with_the_mouse_and_a_double_click_takes_it_back(view):
    first = seen(view)
    QTest.mousePress(view, Qt.MouseButton.LeftButton, pos=QPoint(200, 160))
    QTest.mouseMove(view, QPoint(260, 140))
    QTest.mouseRelease(view, Qt.MouseButton.LeftButton, pos=QPoint(260, 140))
    assert view.turn_deg == pytest.approx(START_DEG[0] - 60 * 0.45)
    assert view.lift_deg == pytest.approx(START_DEG[1] - 20 * 0.45)
    assert seen(view) != first
    QTest.mouseMove(view, QPoint(100, 100))
    assert view.turn_deg == pytest.approx(START_DEG[0] - 60 * 0.45), "nothing is held any more"
    QTest.mouseDClick(view, Qt.MouseButton.LeftButton, pos=QPoint(200, 160))
    assert (view.turn_deg, view.lift_deg) == START_DEG


def test_keys_turn_and_zoom_and_it_never_turns_over(view):
    for _ in range(40):
        QTest.keyClick(view, Qt.Key.Key_Down)
    assert view.lift_deg == 89.0
    QTest.keyClick(view, Qt.Key.Key_Left)
    assert view.turn_deg == START_DEG[0] + 7.5
    QTest.keyClick(view, Qt.Key.Key_Plus)
    assert view.nearer == pytest.approx(1.15)
    QTest.keyClick(view, Qt.Key.Key_Home)
    assert (view.turn_deg, view.lift_deg, view.nearer) == (*START_DEG, 1.0)


def test_the_wheel_brings_it_nearer(view):
    at = QPointF(200, 160)
    event = QWheelEvent(
        at, view.mapToGlobal(at), QPoint(), QPoint(0, 240), Qt.MouseButton.NoButton,
        Qt.KeyboardModifier.NoModifier, Qt.ScrollPhase.NoScrollPhase, False,
    )  # fmt: skip
    QApplication.sendEvent(view, event)
    assert view.nearer == pytest.approx(1.15**2)


def test_it_says_what_it_is_for_and_shows_the_sides(view, monkeypatch):
    from app.pictures import space_view

    drawn = []
    monkeypatch.setattr(
        space_view, "plate_text", lambda _p, at, text, _f, below: drawn.append(text)
    )
    view.grab()
    assert {"A", "P", "S", "I"} <= set(drawn)
    assert not any(ch.isdigit() for text in drawn for ch in text), "no number stands on it"


def test_the_small_jaw_from_a_worker_with_its_surface_canal_and_distances(
    qtbot, qapp, desk, closing
):
    voxels, affine, truth = small_jaw()
    volume = Volume(
        voxels=voxels, mm_from_ijk=affine, made_up=np.zeros(len(voxels), dtype=bool),
        identity=IDENTITY,
    )  # fmt: skip
    plan = parse({k: v for k, v in truth["plan"].items() if k != "scan"})
    session = QuietSession()
    session.open(volume, plan, window=(0.0, 2000.0))
    session.show_ledger(measure(plan, volume))
    session.go_to(selected="36")
    dialog = closing(show_in_space(session, desk, None))
    qtbot.waitUntil(lambda: dialog.view.scene is not None, timeout=20_000)
    found = dialog.view.scene
    assert found.jaw is not None, found.why_no_jaw
    assert {body.style for body in found.bodies} >= {"fixture", "canal"}
    assert found.distances
    assert "orientation only" in dialog.view.accessibleName() or dialog.how.text().startswith(
        "Drag"
    )
    bright = [p for p in seen(dialog.view) if (p & 0xFF) > 90]
    assert len(bright) > 500
    session.close()
