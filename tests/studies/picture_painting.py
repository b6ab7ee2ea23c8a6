"""Remake reports/picture_painting.md: ten live pictures by our painter and by a plotting library.

    PYTHONPATH=FOLDER python tests/studies/picture_painting.py

FOLDER holds the library (``pip install --no-deps --target FOLDER pyqtgraph colorama``), which the
program does not need. Each frame gives all ten pictures new grey values and the same chart of
lines and numerals, and ends when all are painted, without a screen. Both smooth the picture and
draw a casing around each line; lines and numerals are given anew, as each step along the arch does.
Our lines are dashed too, our numerals stand on plates, and our pictures bear their bar of mm.
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

from PySide6.QtGui import QColor, QPainter, QPen  # noqa: E402
from PySide6.QtWidgets import QApplication, QGridLayout, QWidget  # noqa: E402

from app.pictures.chart_painter import Ink  # noqa: E402
from app.pictures.flat_view import FlatView  # noqa: E402
from core.drawing import Label, Line  # noqa: E402
from core.geometry import PictureGrid  # noqa: E402

PICTURES, FRAMES, RUNS = 10, 40, 5
PIXELS, PIXEL_MM, SIDE_PX = 300, 0.1, 270
STYLES = ("fixture", "fixture axis", "canal", "distance line", "root", "cortex")
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
            for colour, width in (("black", 2.6), ("ivory", 1.2)):
                pen = QPen(QColor(colour), width)
                pen.setCosmetic(True)
                curve = pg.PlotCurveItem(*line.points.T, pen=pen, antialias=True)
                drawn.append((curve, line))
                box.addItem(curve)
        for label in labels if with_chart else []:
            item = pg.TextItem(label.text, anchor=(0.5, 0.5))
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


def timed(
    program: QApplication, make: Callable, pictures: list[np.ndarray], *, with_chart: bool
) -> list[float]:
    """Median milliseconds a frame of ten pictures, of each run."""
    window, show = make(with_chart=with_chart)
    for _ in range(5):
        program.processEvents()
        show(pictures[:PICTURES])
    medians = []
    for _ in range(RUNS):
        took = []
        for n in range(FRAMES):
            begun = time.perf_counter()
            show(pictures[n : n + PICTURES])
            took.append((time.perf_counter() - begun) * 1e3)
            program.processEvents()
        medians.append(float(np.median(took)))
    window.close()
    return medians


def main() -> None:
    """Time both and write the report."""
    program = QApplication([])
    pictures = greys()
    found = {}
    # In turn, so that what else the machine does meets both.
    for _ in range(2):
        for name, make in (("our painter", ours), ("pyqtgraph image view", library)):
            for what, with_chart in (("grey values alone", False), ("with the chart", True)):
                runs = timed(program, make, pictures, with_chart=with_chart)
                found.setdefault(f"{name}, {what}", []).extend(runs)
    version = import_module("pyqtgraph").__version__
    lines = [
        "# Ten live pictures: our painter and a plotting library",
        "",
        (
            f"Made by `tests/studies/picture_painting.py`, pyqtgraph {version}, without a screen:"
            f" ten pictures of {SIDE_PX} × {SIDE_PX} pixels, each with {PIXELS} × {PIXELS} new"
            f" grey values a frame, six lines and a dozen numerals; {FRAMES} frames a run."
        ),
        "",
        "| pictures by | ms a frame, median of each run | least |",
        "|-|-|-|",
        *(
            f"| {name} | {' · '.join(f'{ms:.1f}' for ms in sorted(runs))} | {min(runs):.1f} |"
            for name, runs in found.items()
        ),
        "",
        "A screen of 60 pictures a second leaves 16.7 ms a frame.",
    ]
    REPORT.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
