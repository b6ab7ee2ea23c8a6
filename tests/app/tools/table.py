"""A table with pictures for the tools: real widgets, real mouse and key events, no scan needed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QHBoxLayout, QWidget
from scipy.ndimage import gaussian_filter

from app.case.session import Session
from app.pictures.flat_view import FlatView
from app.pictures.panorama_view import PanoramaView
from core.arch import Arch
from core.geometry import PictureGrid, across
from core.image.ribbon import Ribbon
from core.image.section import across_arch_grid
from core.image.volume import Volume
from core.level import Level
from core.plans.plan import Plan
from core.plans.plan_dump import document_of

LEVEL = Level(origin=(0, 0, 0), up=(0.02, -0.03, 1))
ARCH_POINTS = [(-25, 25, 0), (-18, 5, 0), (0, -5, 0), (18, 5, 0), (25, 25, 0)]
SIZE_MM = (40.0, 40.0)
STATION = 66.0
"""Left, where the cheek lies to the patient's left: the region of 36."""


def plan_of_a_jaw(**changes):
    return replace(Plan(level=LEVEL, arch_points=ARCH_POINTS), **changes)


class DeskOfTests:
    """Answers questions from a list and remembers what was said."""

    def __init__(self):
        self.said, self.errors, self.asked, self.answers, self.took = [], [], [], [], []
        self.led_on = False
        self.explained = []

    def say(self, text, *, undo=False):
        self.said.append(text)

    def choose(self, title, question, answers):
        self.asked.append(question)
        return self.answers.pop(0)

    def ask_text(self, title, question, value="", explain=None):
        self.asked.append(question)
        answer = self.answers.pop(0)
        if explain is not None:
            self.explained = [explain(value), explain("34")]
        return value if answer == "as offered" else answer

    def tell_error(self, error):
        self.errors.append(error)

    def lead_on(self):
        self.led_on = True

    def take_tool(self, name, wanted=""):
        self.took.append(name)

    def ask_about_side(self, *, only_if_open=False):
        self.asked.append("side")

    def show_checks(self):
        self.asked.append("checks")

    def keys_to_section(self):
        self.asked.append("keys")

    def redraw(self):
        pass


class Table(QWidget):
    """Section, neighbour, arch map and panorama around one tool."""

    def __init__(self, tool_class, plan):
        super().__init__()
        self.session = Session()
        # No scan: nothing is measured in the background, and every tool must do without.
        self.session.plan = plan
        self.session.station_mm = STATION
        self.desk = DeskOfTests()
        self.tool = tool_class(self.session, self.desk)
        self.section, self.neighbour = FlatView("section"), FlatView("neighbour")
        self.map, self.panorama = FlatView("arch map"), PanoramaView()
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(0)
        for view in (self.section, self.neighbour, self.map, self.panorama):
            view.setFixedSize(400, 400)
            row.addWidget(view)
            view.pressed.connect(lambda hit, v=view: self.tool.press(v, hit))
            view.dragged.connect(lambda hit, v=view: self.tool.drag(v, hit))
            view.released.connect(lambda hit, v=view: self.tool.release(v, hit))
            view.double_clicked.connect(lambda hit, v=view: self.tool.double_click(v, hit))
            view.hovered.connect(lambda hit, v=view: self.tool.hover(v, hit))
        self.cut()
        self.session.place_changed.connect(self.cut)
        self.tool.start()
        self.start = self.now()

    def keyPressEvent(self, event):  # noqa: N802 (Qt's name)
        if not self.tool.key(event):
            event.ignore()

    def cut(self):
        """Show the pictures of the place that is looked at."""
        arch = Arch.trace(ARCH_POINTS, level=LEVEL)
        grey = np.zeros((80, 80), np.float32)
        for view, station in (
            (self.section, self.session.station_mm),
            (self.neighbour, self.session.station_mm + 3.0),
        ):
            grid = across_arch_grid(arch, station, size_mm=SIZE_MM, pixel_mm=0.5)
            view.show_picture(grid, grey, (0, 1))
            view.station_mm = station
        right = across((1.0, 0.0, 0.0), LEVEL.up)
        over = PictureGrid.of_size(
            origin=(0, 10, 0), right=right, up=np.cross(right, LEVEL.up), size_mm=(60, 60),
            pixel_mm=1.0,
        )  # fmt: skip
        self.map.show_picture(over, np.zeros((60, 60), np.float32), (0, 1))
        self.map.level = LEVEL
        ribbon = Ribbon.along(arch, heights_mm=(-20, 20), pixel_mm=1.0)
        self.panorama.show_picture(ribbon, np.zeros((ribbon.rows, ribbon.cols), np.float32), (0, 1))
        for view, size in ((self.section, SIZE_MM), (self.neighbour, SIZE_MM), (self.map, (60, 60)),
                           (self.panorama, (90, 90))):  # fmt: skip
            view.fit_mm = size
            view.fit()

    # -- hands ---------------------------------------------------------------------------

    def pixel(self, view, point_mm):
        return view.screen_position(np.asarray(point_mm, float)).toPoint()

    def point(self, view, u, v):
        return view.point_mm(u, v)

    def click(self, view, u, v, button=Qt.MouseButton.LeftButton):
        """Click a place of a picture; the patient point that lies under that whole pixel."""
        at = view.to_screen().map(u, v)
        pixel = QPoint(round(at[0]), round(at[1]))
        point = view.point_mm(*view.place(pixel.toPointF()))
        QTest.mouseClick(view, button, Qt.KeyboardModifier.NoModifier, pixel)
        return point

    def click_on(self, view, point_mm):
        QTest.mouseClick(
            view, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier,
            self.pixel(view, point_mm),
        )  # fmt: skip

    def drag(self, view, from_mm, shift_px, *, release=True):
        """Drag by whole pixels; the way in the patient that the mouse took."""
        first = self.pixel(view, from_mm)
        last = first + QPoint(*shift_px)
        left, none = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
        way = view.point_mm(*view.place(last.toPointF())) - view.point_mm(
            *view.place(first.toPointF())
        )
        QTest.mousePress(view, left, none, first)
        QTest.mouseMove(view, first + QPoint(*shift_px) / 2)
        QTest.mouseMove(view, last)
        if release:
            QTest.mouseRelease(view, left, none, last)
        return way

    def type(self, key, modifiers=Qt.KeyboardModifier.NoModifier, view=None):
        QTest.keyClick(view or self.section, key, modifiers)

    # -- what became of it ---------------------------------------------------------------

    @property
    def plan(self):
        return self.session.plan

    def now(self):
        """The plan as text, without the record of how it came about."""
        document = document_of(self.session.plan)
        return {k: v for k, v in document.items() if k not in ("history", "revision") and v}

    def undo_all(self):
        while self.session.undo_stack.canUndo():
            self.session.undo_stack.undo()
        return self.now()


def tube_along_the_arch(middle, along, *, diameter_mm):
    """A scan with nothing but a walled canal through a place (wall 0.8 mm, voxel 0.25 mm)."""
    n, voxel = 44, 0.25
    matrix = np.diag([voxel, voxel, voxel, 1.0])
    matrix[:3, 3] = np.asarray(middle) - (n - 1) / 2 * voxel
    k, j, i = np.meshgrid(*[np.arange(n)] * 3, indexing="ij")
    off = np.stack([i, j, k], axis=-1) * voxel + matrix[:3, 3] - middle
    away = np.linalg.norm(off - (off @ along)[..., None] * along, axis=-1)
    grey = np.select([away < diameter_mm / 2 - 0.8, away < diameter_mm / 2], [300, 1600], 750)
    noise = np.random.default_rng(3).normal(0, 20, grey.shape)
    return Volume(
        voxels=(gaussian_filter(grey.astype(float), 0.8) + noise).astype(np.int16),
        mm_from_ijk=matrix,
        made_up=np.zeros(n, bool),
    )
