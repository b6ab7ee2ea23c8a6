"""The arch map is cut at other heights by its slider, which follows where the pictures look."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest

from app.window.height_slider import HeightSlider
from core.image.volume import Volume
from core.plans.plan_parse import parse
from sample_volumes import small_jaw
from tests.app.case_at_hand import IDENTITY, QuietSession


@pytest.fixture
def case(qapp):
    voxels, affine, truth = small_jaw()
    volume = Volume(
        voxels=voxels, mm_from_ijk=affine, made_up=np.zeros(len(voxels), dtype=bool),
        identity=IDENTITY,
    )  # fmt: skip
    plan = parse({k: v for k, v in truth["plan"].items() if k != "scan"})
    session = QuietSession()
    session.open(volume, plan, window=(0.0, 2000.0))
    yield session
    session.close()


def test_keys_on_the_slider_move_the_place_along_up_and_nothing_else(qtbot, case):
    slider = HeightSlider(case)
    qtbot.addWidget(slider)
    slider.show()
    station = case.station_mm
    for _ in range(3):
        QTest.keyClick(slider, Qt.Key.Key_Up)
    level = case.arch.level
    assert float(level.height_mm(case.point_mm)[0]) == pytest.approx(1.5)
    assert case.station_mm == station
    assert case.arch.station(case.point_mm) == pytest.approx(station, abs=1e-6)
    QTest.keyClick(slider, Qt.Key.Key_PageDown)
    assert float(level.height_mm(case.point_mm)[0]) == pytest.approx(-3.5)
    assert slider.toolTip() == "-3.5 mm from the jaw plane"
    QTest.keyClick(slider, Qt.Key.Key_Right)
    assert slider.height_mm == -3.5, "that key steps along the arch"


def test_it_stands_where_a_click_went(qtbot, case):
    slider = HeightSlider(case)
    qtbot.addWidget(slider)
    frame = case.arch.frame(case.station_mm)
    case.go_to(point_mm=frame.origin - 8.0 * case.arch.level.up)
    assert slider.height_mm == pytest.approx(-8.0)
    assert float(case.arch.level.height_mm(case.point_mm)[0]) == pytest.approx(-8.0)
