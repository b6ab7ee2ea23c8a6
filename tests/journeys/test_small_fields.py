"""A fixture in a scan of 40 mm, by mouse and keys, at eight places of the mouth.

The jaws are drawn: a bar of bone along the arch of the table of sides, so that the way of mesial
and cheek is known. Nothing is asked that cannot be answered from the mouth or the chart.
"""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("PySide6")

from PySide6.QtCore import Qt, QTimer
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QInputDialog, QLineEdit

from app.dialogs.answers.side_question import SideQuestion
from core.image.volume import ScanIdentity, Volume
from core.plans.plan import Plan
from core.proposing.proposal import Proposal
from tests.app.window.test_bench import bench
from tests.core.plans.test_side_table import FLAT, SITES, is_true_end, jaw, truth

__all__ = ["bench"]
LEFT = Qt.MouseButton.LeftButton
VOXEL_MM = 0.4
FIELD_MM = 40.0
AIR, BONE = -900, 900


def field_at(place_mm):
    """A cube of 40 mm round a place: bone 4 mm to either side of the arch, 14 mm high."""
    count = int(FIELD_MM / VOXEL_MM)
    middle = place_mm - (0, 0, 4.0)
    affine = np.diag([VOXEL_MM, VOXEL_MM, VOXEL_MM, 1.0])
    affine[:3, 3] = middle - VOXEL_MM * (count - 1) / 2
    k, j, i = np.indices((count, count, count), dtype=np.float32)
    x, y, z = (affine[a, a] * n + affine[a, 3] for a, n in enumerate((i, j, k)))
    arch = jaw()[::8]
    flat = np.stack([x[0].ravel(), y[0].ravel()], axis=1)
    off = np.min(np.linalg.norm(flat[:, None, :] - arch[None, :, :2], axis=2), axis=1)
    bone = (off.reshape(count, count)[None] <= 4.0) & (np.abs(z - place_mm[2] + 6.0) <= 8.0)
    return Volume(
        voxels=np.where(bone, BONE, AIR).astype(np.int16), mm_from_ijk=affine,
        made_up=np.zeros(count, dtype=bool),
        identity=ScanIdentity(patient_name="QUARRY^Sample", series_uid="1.2.3"),
    )  # fmt: skip


def typing(words):
    """Answers the question that a click opens, with real keys."""
    timer = QTimer(interval=30)

    def answer():
        box = QApplication.activeModalWidget()
        if isinstance(box, QInputDialog):
            timer.stop()
            line = box.findChild(QLineEdit)
            line.selectAll()
            QTest.keyClicks(line, words)
            QTest.keyClick(line, Qt.Key.Key_Return)

    timer.timeout.connect(answer)
    timer.start()
    return timer


def answer_questions(bench, qtbot, t):
    """Answer what is asked, truly, by mouse; the questions in their order."""
    asked = []
    while True:
        open_now = [d for d in bench.findChildren(SideQuestion) if d.isVisible()]
        if not open_now:
            return asked
        dialog = open_now[-1]
        asked.append(dialog.question)
        assert len(asked) <= 3, asked
        buttons = {b.text(): b for b in dialog.choices.buttons()}
        if dialog.question == "teeth":
            words = {"left back": "patient’s left", "right back": "patient’s right",
                     "front": "Front"}[t.regions[0]]  # fmt: skip
            chosen = next(b for text, b in buttons.items() if words in text)
        elif dialog.question == "tongue":
            chosen = next(b for text, b in buttons.items() if text.startswith("Yes"))
        else:
            # The trace was laid from the patient's right to the left: A is its first end.
            region = bench.session.plan.side_answers.region
            chosen = buttons["A" if is_true_end(t, region, True) else "B"]
        QTest.mouseClick(chosen, LEFT, pos=chosen.rect().center() - chosen.rect().center() / 2)
        if not chosen.isChecked():
            QTest.keyClick(chosen, Qt.Key.Key_Space)
        QTest.mouseClick(dialog.ok, LEFT)
        qtbot.waitUntil(lambda d=dialog: not d.isVisible())


def click(view, place_mm):
    QTest.mouseClick(view, LEFT, pos=view.screen_position(place_mm).toPoint())


@pytest.mark.parametrize("number", SITES)
def test_a_fixture_in_a_small_field(bench, qtbot, number):
    t = truth(number, FIELD_MM)
    session, section = bench.session, bench.pictures.section
    proposal = Proposal(level=FLAT, arch_points=t.line, plane_from="crest")
    session.open(field_at(t.place), Plan(), proposal, window=(-1000.0, 1500.0))
    bench.pages.setCurrentWidget(bench.work)
    qtbot.waitUntil(lambda: section.has_picture and not bench.pictures.busy, timeout=20000)
    name = "for_upper" if t.tooth.jaw == "upper" else "for_lower"
    QTest.mouseClick(getattr(bench.work.proposed, name), LEFT)
    asked = answer_questions(bench, qtbot, t)
    session.go_to(station_mm=session.arch.station(t.place), across=True)
    qtbot.waitUntil(lambda: not bench.pictures.busy, timeout=20000)

    QTest.mouseClick(bench.work.tool_row.button("Fixture"), LEFT)
    answering = typing(number)
    click(section, t.place)
    qtbot.waitUntil(lambda: bool(session.plan.fixtures), timeout=20000)
    assert not answering.isActive()
    asked += answer_questions(bench, qtbot, t)
    if session.side.question == "midline":
        asked.append("midline")
        bench.take_tool("Midline")
        click(bench.pictures.arch_map, t.midline)
    assert session.side.question is None
    assert session.side.against == ()
    assert len(asked) <= 3, asked

    qtbot.wait(100)  # the placed fixture leads to its marks; here they are set by hand
    bench.take_tool("canal" if t.tooth.jaw == "lower" else "sinus")
    for step in (-3, 3):
        session.go_to(station_mm=session.arch.station(t.place) + step, across=True)
        qtbot.waitUntil(lambda: not bench.pictures.busy, timeout=20000)
        frame = session.arch.frame(session.station_mm)
        click(section, frame.origin - (0, 0, 12.0))
    sides = {s.id.split("-")[1] for s in session.plan.structures}
    assert sides == {t.tooth.side}

    (fixture,) = session.plan.fixtures
    assert fixture.tooth == number
    frame = session.arch.frame(session.arch.station(fixture.platform))
    assert frame.buccal @ t.cheek > 0.9
    assert frame.travel @ t.travel > 0.9
    assert section.warning == ""
