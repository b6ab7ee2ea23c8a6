"""Every picture: where a click lands in the patient, which side is which, what is in step."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QImage
from PySide6.QtTest import QTest

from app.case.session import Session
from app.pictures import maps
from app.pictures.in_step import Pictures
from app.pictures.places import neighbour_words
from app.pictures.rendering import _COLOURS, HATCH, NOT_SCANNED
from app.widgets import style
from core.fixture import Fixture, FixtureSize
from core.geometry import vector
from core.pictures.ink import DARK
from core.plans.side import arch_of
from tests.app import coded
from tests.watchdog import PATIENCE


@pytest.fixture
def shown(qtbot):
    """Pictures of a coded scan, painted at a size; gives them back with their session."""

    made = []

    def make(balls, *, plan=None, station=None, turn=None, flip=False, size=(380, 340)):
        session = Session()
        pictures = Pictures(session)
        for view in pictures.views:
            view.resize(*size)
            with qtbot.waitExposed(view):
                view.show()
        session.open(coded.volume(balls, flip=flip), plan or coded.plan(), window=(0.0, 900.0))
        if station is not None:
            session.go_to(station_mm=station, turn_deg=turn)
        qtbot.waitUntil(lambda: not pictures.busy and pictures.panorama.has_picture, timeout=30000)
        made.append((session, pictures))
        return session, pictures

    yield make
    for session, pictures in made:
        session.close()
        pictures.stop()
        wait_for(pictures)
        for view in pictures.views:
            view.close()
            view.deleteLater()


def brightest(view) -> QPointF:
    """Middle of the brightest spot as painted, in the widget's own pixels."""
    view._chart = view._mark_ink = type(view._chart)()
    pixels = np.frombuffer(view._image.bits(), np.uint32)
    pixels[pixels == _COLOURS[HATCH]] = _COLOURS[NOT_SCANNED]  # the hatch is no spot
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("app.pictures.picture_view.paint_annotations", lambda painter, view: None)
        grabbed = view.grab()
    image = grabbed.toImage().convertToFormat(QImage.Format.Format_Grayscale8)
    rows, stride = image.height(), image.bytesPerLine()
    grey = np.frombuffer(image.constBits(), np.uint8).reshape(rows, stride)[:, : image.width()]
    grey = grey.astype(float)
    grey = np.where(grey > 60, grey, 0.0)
    edge = round(1.5 * grabbed.devicePixelRatio()) + 2  # the frame of focus
    grey[:edge] = grey[-edge:] = 0
    grey[:, :edge] = grey[:, -edge:] = 0
    row, col = np.unravel_index(int(grey.argmax()), grey.shape)
    reach = round(4.0 / view.mm_per_pixel())
    part = grey[max(row - reach, 0) : row + reach, max(col - reach, 0) : col + reach]
    part = np.maximum(part - 60, 0.0)
    r, c = np.indices(part.shape)
    ratio = image.width() / view.width()
    x = (max(col - reach, 0) + (c * part).sum() / part.sum() + 0.5) / ratio
    y = (max(row - reach, 0) + (r * part).sum() / part.sum() + 0.5) / ratio
    return QPointF(x, y)


def hits_of(view):
    hits = []
    view.pressed.connect(hits.append)
    return hits


def off_by_px(view, hit, ball, *, keep=(1, 1, 1)) -> float:
    """Distance between where the click landed and the ball, in screen pixels."""
    return float(np.linalg.norm((hit.point_mm - ball) * np.array(keep))) / view.mm_per_pixel()


BALL = np.array([20.6, -3.3, -9.1])


def check_click(view, ball, keep=(1, 1, 1)):
    hits = hits_of(view)
    at = brightest(view)
    # A mouse event carries whole pixels: the ball's middle is up to 0.5 px from them each way,
    # so the place asked for is the pixel's own, and the ball's painted middle is compared.
    pixel = QPoint(round(at.x()), round(at.y()))
    QTest.mouseClick(view, Qt.MouseButton.LeftButton, pos=pixel)
    rest = np.array([at.x() - pixel.x(), at.y() - pixel.y()])
    shown_at = view.screen_position(ball)
    clicked_at = view.screen_position(hits[0].point_mm)
    assert abs(shown_at.x() - at.x()) < 0.5
    assert abs(shown_at.y() - at.y()) < 0.5
    moved = np.array([shown_at.x() - clicked_at.x(), shown_at.y() - clicked_at.y()])
    np.testing.assert_allclose(moved, rest, atol=0.5)
    assert off_by_px(view, hits[0], ball, keep=keep) < 0.5 + float(np.hypot(*rest)) + 1e-6


@pytest.mark.parametrize("times", [0.7, 1.0, 2.3])
def test_a_click_lands_on_what_is_painted_there(shown, qtbot, times):
    """Outside truth: the ball's place is written into the voxels by the affine's definition."""
    arch = arch_of(coded.plan())
    station = arch.station(BALL)
    frame = arch.frame(station)
    # The ball is put exactly on the plane of a section, so that it is cut through its middle.
    ball = frame.origin + 1.3 * frame.buccal - 9.1 * frame.up
    _session, pictures = shown([ball], station=station)
    for view in (pictures.section, pictures.neighbours[3]):
        view.zoom(times)
        check_click(view, ball)
    flat = ball * np.array([1, 1, 0])
    pictures.arch_map.zoom(times, pictures.arch_map.screen_position(flat))
    _session.go_to(point_mm=ball)
    qtbot.wait(1)
    wait_for(pictures)
    hits = hits_of(pictures.arch_map)
    at = brightest(pictures.arch_map)
    pixel = QPoint(round(at.x()), round(at.y()))
    QTest.mouseClick(pictures.arch_map, Qt.MouseButton.LeftButton, pos=pixel)
    rest = float(np.hypot(at.x() - pixel.x(), at.y() - pixel.y()))
    assert off_by_px(pictures.arch_map, hits[0], flat) < 0.5 + rest


def wait_for(pictures):
    from PySide6.QtCore import QEventLoop, QTimer

    for _ in range(400):
        loop = QEventLoop()
        QTimer.singleShot(20, loop.quit)
        loop.exec()
        if not pictures.busy:
            return
    raise AssertionError("pictures never settled")


@pytest.mark.parametrize("times", [1.0, 2.0])
def test_a_click_on_the_panorama_lands_on_the_arch_at_that_height(shown, times):
    frame = arch_of(coded.plan()).frame(20.0)
    ball = frame.origin - 6.0 * frame.up
    _session, pictures = shown([ball], station=20.0)
    view = pictures.panorama
    view.zoom(times, view.screen_position(ball))
    check_click(view, ball)


def test_a_click_in_the_plane_through_an_axis_lands_there(shown):
    size = FixtureSize(diameter_mm=4.0, length_mm=10.0)
    fixture = Fixture(
        id="36", tooth="36", platform=vector((20.0, -9.0, -2.0)),
        towards_apex=vector((0.1, 0.05, -1.0)), size=size,
    )  # fmt: skip
    ball = fixture.on_axis(5.0)
    session, pictures = shown([ball], plan=coded.plan(fixtures=(fixture,)))
    for turn in (0.0, 35.0, 90.0, 210.0):
        session.go_to(turn_deg=turn)
        wait_for(pictures)
        assert pictures.section.station_mm is None
        check_click(pictures.section, ball)


@pytest.mark.parametrize("scale", ["1.5", "2"])
def test_clicks_land_on_fine_screens_too(scale):
    """The same checks in a child program on a screen with more pixels to the unit."""
    if os.environ.get("QT_SCALE_FACTOR"):
        pytest.skip("this is the child")
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-n", "0", "-p", "no:cacheprovider", __file__,
         "-k", "a_click or the_screen_is"],
        env=os.environ | {"QT_SCALE_FACTOR": scale}, capture_output=True, text=True, check=False,
        timeout=110 * PATIENCE,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout[-3000:]
    assert " passed" in done.stdout


def test_the_screen_is_as_fine_as_asked(shown):
    _session, pictures = shown([[20.0, -9.0, -8.0]])
    wanted = float(os.environ.get("QT_SCALE_FACTOR", "1"))
    assert pictures.section.devicePixelRatio() == wanted


@pytest.mark.parametrize("flip", [False, True])
def test_left_of_the_patient_is_where_each_picture_says(shown, flip):
    """Coded side: the only bright ball is on the patient's left (LPS, DICOM PS3.3 C.7.6.2)."""
    ball = np.array([15.5, -15.5, -8.0])
    session, pictures = shown([ball], flip=flip, size=(500, 420))
    session.go_to(point_mm=ball, station_mm=session.arch.station(ball))
    wait_for(pictures)
    for view in (pictures.arch_map, pictures.panorama):
        assert (view.sides.left, view.sides.right) == ("R", "L")
        at = brightest(view)
        middle = view.to_screen().map(QPointF(0, 0)).x()
        assert at.x() > middle + 10, view.kind


def test_words_at_the_edges_of_sections(shown):
    session, pictures = shown([[20.0, -9.0, -8.0]])
    arch = session.arch
    for station, buccal in ((3.0, "R"), (arch.length_mm / 2, "A"), (arch.length_mm - 3, "L")):
        session.go_to(station_mm=station, across=True)
        sides = pictures.section.sides
        assert sides.right.startswith(f"Buccal · {buccal}"), station
        assert sides.left.startswith("Lingual"), station
        assert (sides.top, sides.bottom) == ("S", "I")
    session.apply("jaw", coded.plan(jaw="upper"))
    assert pictures.section.sides.left.startswith("Palatal")


def test_in_a_small_picture_no_letter_for_lingual_reads_as_left(shown, monkeypatch):
    """L at an edge is the patient's left, in every picture; lingual is never one letter."""
    _, pictures = shown([(10.0, -20.0, 0.0)], size=(110, 150))
    said = []
    monkeypatch.setattr(
        "app.pictures.annotations._words", lambda painter, area, text, *_: said.append(text)
    )
    for view in pictures.neighbours:
        said.clear()
        view.grab()
        left, right = view.sides.left, view.sides.right
        assert {left.partition(" · ")[0], right.partition(" · ")[0]} == {"Lingual", "Buccal"}
        assert {"Li", "Bu"} <= set(said)
        assert not {"L", "R", "B"} & set(said)


def test_while_the_side_is_open_no_cheek_and_no_side_is_said(shown):
    straight = np.array([[-5.0, 0.0, 0.0], [0.0, 0.1, 0.0], [5.0, 0.0, 0.0]])
    session, pictures = shown([[0, 0, -8]], plan=coded.plan(arch_points=straight))
    assert session.arch.side_is_open
    assert "uccal" not in pictures.section.sides.right
    assert pictures.panorama.sides.left == pictures.panorama.sides.right == ""


@pytest.mark.parametrize(
    ("tooth", "n", "words"),
    [
        ("36", -3, "3 mm mesial"),
        ("36", 2, "2 mm distal"),
        ("46", -3, "3 mm distal"),
        ("46", 3, "3 mm mesial"),
        ("16", 1, "1 mm mesial"),
        ("26", 1, "1 mm distal"),
        ("", 1, "1 mm to L"),
        ("", -1, "1 mm to R"),
        ("36", 0, "here"),
    ],
)
def test_neighbours_are_named_from_the_tooth(tooth, n, words):
    """Travel is from the patient's right to the left, mesial is towards the midline."""
    assert neighbour_words(n, 1.0, tooth, open_side=False) == words


def test_neighbours_stand_1_mm_apart_along_the_arch(shown):
    session, pictures = shown([[20.0, -9.0, -8.0]], station=30.0)
    stations = [view.station_mm for view in pictures.neighbours]
    np.testing.assert_allclose(stations, [27, 28, 29, 30, 31, 32, 33])
    assert [view.chosen for view in pictures.neighbours] == [False] * 3 + [True] + [False] * 3
    session.step(5)
    assert pictures.section.station_mm == pytest.approx(35.0)


def test_what_was_not_scanned_is_hatched_and_never_black_or_bone(shown):
    session, pictures = shown([[20.0, -9.0, -8.0]], station=0.5)
    grid = pictures.section.grid
    grey = session.volume.picture(grid)
    assert np.isnan(grey).any()
    rows, cols = np.nonzero(np.isnan(grey))
    image = pictures.section._image
    seen = {image.pixelColor(int(c), int(r)).name() for r, c in zip(rows, cols, strict=True)}
    hatch = style.colour(DARK.stroke_colour("not scanned", below=False)).name()
    assert seen == {style.colour(DARK.not_scanned).name(), hatch}
    # Falling to the right: the next pixel of a line lies below and to the right of the last.
    lines = [(r, c) for r, c in zip(rows, cols, strict=True)
             if image.pixelColor(int(c), int(r)).name() == hatch]  # fmt: skip
    line = [(r, c) for r, c in lines if r - c == lines[0][0] - lines[0][1]]
    assert len(line) > 10


def test_a_thick_slab_says_that_it_is_for_looking(shown):
    session, pictures = shown([[20.0, -9.0, -8.0]])
    session.look_through(slab_mm=3.0, maximum=True)
    wait_for(pictures)
    assert "maximum of 3 mm, display only" in pictures.section.subtitle


def test_another_slab_is_another_picture_of_the_same_place(shown):
    """Under the words of one slab never the grey values of another, nor a slab without words."""
    session, pictures = shown([[20.0, -9.0, -8.0]])
    for slab_mm, maximum in ((3.0, True), (8.0, True), (8.0, False), (0.0, False)):
        session.look_through(slab_mm=slab_mm, maximum=maximum)
        wait_for(pictures)
        for view in (pictures.section, *pictures.neighbours):
            wanted = session.volume.picture(view.grid, slab_mm=slab_mm, maximum=maximum)
            np.testing.assert_array_equal(view._grey, wanted)
        assert ("display only" in pictures.section.subtitle) == bool(slab_mm)


def test_another_window_keeps_the_lines(shown):
    fixture = Fixture(
        id="36", tooth="36", platform=vector((20.0, -9.0, -2.0)),
        towards_apex=vector((0, 0, -1)), size=FixtureSize(diameter_mm=4.0, length_mm=8.0),
    )  # fmt: skip
    session, pictures = shown([[20.0, -9.0, -8.0]], plan=coded.plan(fixtures=(fixture,)))
    before = {view: len(view._chart.paths) for view in pictures.views}
    assert before[pictures.section]
    session.look_through(window=(100.0, 500.0))
    wait_for(pictures)
    assert {view: len(view._chart.paths) for view in pictures.views} == before


def test_the_wheel_steps_and_with_ctrl_enlarges(shown, qtbot):
    _session, pictures = shown([[20.0, -9.0, -8.0]])
    view = pictures.section
    steps = []
    view.stepped.connect(steps.append)
    from PySide6.QtGui import QWheelEvent

    def turn(notch, held=Qt.KeyboardModifier.NoModifier, at=(100.0, 80.0)):
        event = QWheelEvent(
            QPointF(*at), view.mapToGlobal(QPointF(*at)), QPoint(), QPoint(0, notch),
            Qt.MouseButton.NoButton, held, Qt.ScrollPhase.NoScrollPhase, False,
        )  # fmt: skip
        view.wheelEvent(event)

    turn(-120)
    turn(240)
    turn(-120, Qt.KeyboardModifier.ShiftModifier)
    turn(-60)
    assert steps == [1, -2, 5]
    turn(-60)
    assert steps == [1, -2, 5, 1]
    before, place = view.mm_per_pixel(), view.place(QPointF(100, 80))
    turn(120, Qt.KeyboardModifier.ControlModifier)
    assert view.mm_per_pixel() == pytest.approx(before / 1.2)
    np.testing.assert_allclose(view.place(QPointF(100, 80)), place, atol=1e-9)


def test_a_panorama_that_could_not_be_made_is_asked_for_again(shown, qtbot, monkeypatch):
    session, pictures = shown([BALL])
    real, calls = maps._make_panorama, []

    def fails_once(*given):
        calls.append(given)
        if len(calls) == 1:
            raise MemoryError
        return real(*given)

    monkeypatch.setattr(maps, "_make_panorama", fails_once)
    low, high = session.window
    with qtbot.waitSignal(pictures.failed, timeout=20000):
        session.look_through(window=(low, high + 10.0))
    qtbot.waitUntil(lambda: not pictures.busy, timeout=20000)
    pictures.refresh()
    qtbot.waitUntil(lambda: not pictures.busy, timeout=20000)
    assert len(calls) == 2
