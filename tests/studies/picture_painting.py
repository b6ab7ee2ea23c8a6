"""Remake reports/picture_painting.md: ten live pictures by our painter and by the plotting library.

    python tests/studies/picture_painting.py

Each frame gives all ten pictures new grey values and the same chart of lines and numerals, and
ends when all are painted, without a screen. Both smooth the picture and draw with the same pens,
casings, dashes and plates under numerals; lines and numerals are given anew, as each step along
the arch does. Ours bear their bar of mm besides. The two take turns frame by frame, each first in
every other one, so that what else the machine does meets both.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from importlib import import_module
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtCore import Qt  # noqa: E402
from PySide6.QtGui import QColor, QPainter  # noqa: E402
from PySide6.QtWidgets import QApplication, QGridLayout, QWidget  # noqa: E402

from app.pictures.chart_painter import Ink  # noqa: E402
from app.pictures.flat_view import FlatView  # noqa: E402
from app.widgets import style  # noqa: E402
from core.drawing import Label, Line  # noqa: E402
from core.geometry import PictureGrid  # noqa: E402
from core.pictures.ink import DARK  # noqa: E402

PICTURES, FRAMES, RUNS = 10, 40, 5
PIXELS, PIXEL_MM, SIDE_PX = 300, 0.1, 270
STYLES = ("fixture", "fixture axis", "canal", "distance line", "root", "cortex")
Timed = tuple[np.ndarray, np.ndarray]
REPORT = Path(__file__).parent / "reports" / "picture_painting.md"


def greys() -> list[np.ndarray]:
    """Pictures that nobody has seen before: noise over a slope."""
    rng = np.random.default_rng(1)
    slope = np.linspace(0.0, 1500.0, PIXELS)[:, None]
    noise = rng.normal(0.0, 80.0, (FRAMES + PICTURES, PIXELS, PIXELS))
    return [(slope + n).astype(np.float32) for n in noise]


def chart() -> tuple[list[Line], list[Label]]:
    """What a section carries: six lines of eighty points, a dozen numerals."""
    turn = np.linspace(0.0, 2 * np.pi, 80)
    lines = [
        Line(style=style, points=(3.0 + n) * np.stack([np.cos(turn), np.sin(turn)], axis=1))
        for n, style in enumerate(STYLES)
    ]
    labels = [Label(text=f"{n}", at=(n - 6.0, 8.0), style="numeral") for n in range(12)]
    return lines, labels


def window_of(views: list[QWidget]) -> QWidget:
    """Ten pictures in two rows."""
    window = QWidget()
    grid = QGridLayout(window)
    for n, view in enumerate(views):
        view.setFixedSize(SIDE_PX, SIDE_PX)
        grid.addWidget(view, n // 5, n % 5)
    window.show()
    return window


def ours(*, with_chart: bool) -> tuple[QWidget, Callable[[list[np.ndarray]], None]]:
    """The bench's own pictures."""
    views = [FlatView("section") for _ in range(PICTURES)]
    window = window_of(list(views))
    for view in views:
        view.fit_mm = (30.0, 30.0)
        view.fit()
    lines, labels = chart()
    grid = PictureGrid.of_size(
        origin=(0, 0, 0), right=(1, 0, 0), up=(0, 0, 1), size_mm=(30.0, 30.0), pixel_mm=PIXEL_MM
    )

    def show(pictures: list[np.ndarray]) -> None:
        for view, grey in zip(views, pictures, strict=True):
            view.show_picture(grid, grey, (0.0, 1800.0))
            if with_chart:
                view.show_ink(Ink(tuple(lines), (), tuple(labels)))
            view.repaint()

    return window, show


def library(*, with_chart: bool) -> tuple[QWidget, Callable[[list[np.ndarray]], None]]:
    """The plotting library's image views."""
    pg = import_module("pyqtgraph")
    lines, labels = chart()
    views, images, charts = [], [], []
    for _ in range(PICTURES):
        view = pg.GraphicsView()
        box = pg.ViewBox(lockAspect=True, enableMenu=False)
        view.setCentralItem(box)
        image = pg.ImageItem(axisOrder="row-major")
        image.setImage(np.zeros((PIXELS, PIXELS), np.float32))
        image.setRect(-15.0, -15.0, 30.0, 30.0)
        box.addItem(image)
        view.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        drawn, texts = [], []
        for line in lines if with_chart else []:
            pens = style.pens(line.style, below=False, px_per_mm=SIDE_PX / 30.0)
            for pen in pens:
                if pen is None or pen.style() == Qt.PenStyle.NoPen:
                    continue
                curve = pg.PlotCurveItem(*line.points.T, pen=pen, antialias=True)
                drawn.append((curve, line))
                box.addItem(curve)
        for label in labels if with_chart else []:
            item = pg.TextItem(label.text, color=style.TEXT, anchor=(0.5, 0.5), fill=plate())
            item.setFont(style.font(style.NAME_PX, italic=True))
            item.setPos(*label.at)
            texts.append((item, label))
            box.addItem(item)
        charts.append((drawn, texts))
        box.setRange(xRange=(-15, 15), yRange=(-15, 15), padding=0.0)
        views.append(view)
        images.append(image)
    window = window_of(views)

    def show(pictures: list[np.ndarray]) -> None:
        for view, image, (drawn, texts), grey in zip(views, images, charts, pictures, strict=True):
            image.setImage(grey, levels=(0.0, 1800.0), autoLevels=False)
            for curve, line in drawn:
                curve.setData(*line.points.T)
            for item, label in texts:
                item.setText(label.text)
                item.setPos(*label.at)
            view.viewport().repaint()

    return window, show


def plate() -> QColor:
    """What stands under a numeral."""
    ground = style.colour(DARK.casing)
    ground.setAlphaF(style.NUMERAL_ALPHA)
    return ground


def timed(program: QApplication, pictures: list[np.ndarray], *, with_chart: bool) -> Timed:
    """Milliseconds a frame of ten pictures by each, (runs, frames), taken in turns."""
    made = [make(with_chart=with_chart) for make in (ours, library)]
    for _ in range(5):
        program.processEvents()
        for _, show in made:
            show(pictures[:PICTURES])
    took = np.zeros((2, RUNS, FRAMES))
    for run in range(RUNS):
        for n in range(FRAMES):
            for who in (0, 1) if n % 2 else (1, 0):
                begun = time.perf_counter()
                made[who][1](pictures[n : n + PICTURES])
                took[who, run, n] = (time.perf_counter() - begun) * 1e3
            program.processEvents()
    for window, _ in made:
        window.close()
    return took[0], took[1]


def main() -> None:
    """Time both and write the report."""
    program = QApplication([])
    style.load_fonts()
    pictures = greys()
    rows = []
    for what, with_chart in (("grey values alone", False), ("with the chart", True)):
        own, other = timed(program, pictures, with_chart=with_chart)
        apart = np.median(own - other, axis=1)
        rows.append(
            f"| {what} | {_median(own)} | {_median(other)} | {np.median(own - other):+.1f}"
            f" ({apart.min():+.1f} to {apart.max():+.1f}) | {np.mean(own < other):.0%} |"
        )
    version = import_module("pyqtgraph").__version__
    lines = [
        "# Ten live pictures: our painter and the plotting library",
        "",
        (
            f"Made by `tests/studies/picture_painting.py`, pyqtgraph {version}, without a screen:"
            f" ten pictures of {SIDE_PX} × {SIDE_PX} pixels, each with {PIXELS} × {PIXELS} new"
            f" grey values a frame, six lines and a dozen numerals, drawn alike; {RUNS} runs of"
            f" {FRAMES} frames, in turns."
        ),
        "",
        (
            "| ten pictures | our painter, ms (least and most of the runs) | pyqtgraph, ms"
            " | ours less pyqtgraph's, frame by frame, ms | frames in which ours was the faster |"
        ),
        "|-|-|-|-|-|",
        *rows,
        "",
        "A screen of 60 pictures a second leaves 16.7 ms a frame.",
    ]
    REPORT.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))


def _median(took: np.ndarray) -> str:
    of = np.median(took, axis=1)
    return f"{np.median(took):.1f} ({of.min():.1f} to {of.max():.1f})"


if __name__ == "__main__":
    main()
