"""A copied picture says what it is, is unnamed unless wished, and holds what the view shows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication, QImage
from PySide6.QtTest import QTest

from app.pictures import copy
from app.pictures.copy import LINE_PX, ONE_PICTURE, PAD_PX, caption, picture_with_caption
from app.widgets import style
from core.plans.history import sign_off_state
from tests.app.window.test_bench import SCAN, bench, opened

__all__ = ["bench"]
CTRL, SHIFT = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.ShiftModifier


@pytest.fixture
def open_bench(bench, qtbot):
    opened(bench, qtbot, f"{SCAN}.plan.json")
    qtbot.waitUntil(lambda: bench.session.ledger_is_whole, timeout=60000)
    bench.activateWindow()
    return bench


def pixels(image):
    image = image.convertToFormat(QImage.Format.Format_RGB32)
    data = np.frombuffer(image.constBits(), np.uint8)
    whole = data.reshape(image.height(), image.bytesPerLine() // 4, 4)
    return whole[:, : image.width(), :3].copy()  # the image is gone when this returns


def test_ctrl_c_copies_the_picture_with_the_focus(open_bench, qtbot):
    for view in (open_bench.pictures.section, open_bench.pictures.panorama):
        QGuiApplication.clipboard().clear()
        view.setFocus()
        QTest.keyClick(open_bench, Qt.Key.Key_C, CTRL)
        image = QGuiApplication.clipboard().image()
        assert image.width() == view.width() - 4
        assert view.height() < image.height() <= view.height() + 6 * LINE_PX + 2 * PAD_PX
        # The same pixels as on the screen, letters and bar with them.
        grey = pixels(view.grab().toImage())[2:-2, 2:-2]
        assert np.array_equal(pixels(image)[: len(grey)], grey)
        # Below it words, in ink on dark.
        assert (pixels(image)[len(grey) :].max(axis=2) > 200).sum() > 500
        assert "copied" in open_bench.said.text()


def test_no_name_leaves_unless_it_is_wished(open_bench, monkeypatch):
    captions = []
    real = copy.caption

    def heard(*given, **more):
        captions.append(" ".join(real(*given, **more)))
        return real(*given, **more)

    monkeypatch.setattr(copy, "caption", heard)
    open_bench.pictures.section.setFocus()
    QTest.keyClick(open_bench, Qt.Key.Key_C, CTRL)
    QTest.keyClick(open_bench, Qt.Key.Key_C, CTRL | SHIFT)
    without, named = captions
    for word in ("QUARRY", "1961-04-02", "S-0107"):
        assert word not in without
        assert word in named
    assert "2026-09-14" in named
    for text in captions:
        assert "DRAFT" in text
        assert "not signed off" in text
        assert str(ONE_PICTURE) in text
        assert "Section across the arch" in text


def test_after_signing_it_says_so(open_bench):
    from app.case.attestations import signed

    session = open_bench.session
    text, plan = signed(
        session.plan, session.volume.identity, fingerprint=session.volume.fingerprint(),
        name="L. Marsh", role="dentist", at="2026-11-24T10:31:00Z",
    )  # fmt: skip
    session.apply(text, plan)
    assert sign_off_state(session.plan) == "signed"
    words = " ".join(caption(open_bench.pictures.section, session, with_name=False))
    assert "signed, rev" in words
    assert "DRAFT" not in words
    session.apply("moved", replace(session.plan, locked=()))
    words = " ".join(caption(open_bench.pictures.section, session, with_name=False))
    assert "DRAFT" in words


def test_a_narrow_picture_wraps_its_caption_and_loses_no_word(open_bench):
    view = open_bench.pictures.neighbours[0]
    image = picture_with_caption(view, open_bench.session, with_name=True)
    assert image.width() == view.width() - 4
    words = pixels(image)[view.height() - 4 :]
    # Nothing is written over the edge: the last columns stay dark.
    dark = style.PICTURE.value()
    assert words[:, -3:].max() <= dark + 8
    assert words[:, :3].max() <= dark + 8
