"""A chart that is no picture of the patient, from the same display list as on paper."""

from __future__ import annotations

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen, QTransform
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.pictures.chart_painter import Ink
from app.widgets import style
from core.drawing import Chart

_LEAST_PX_PER_MM = 4.0


class ChartView(QWidget):
    """Draws a chart as large as it fits, with the words at its left and lower edge."""

    def __init__(self) -> None:
        super().__init__()
        self.chart: Chart | None = None
        self._ink = Ink()
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def show_chart(self, chart: Chart | None) -> None:
        """Draw another chart, or none."""
        self.chart = chart
        if chart is None:
            self._ink = Ink()
        else:
            self._ink = Ink(chart.lines, chart.dots, chart.labels)
            width, height = chart.size_mm
            self.setMinimumSize(round(width * _LEAST_PX_PER_MM), round(height * _LEAST_PX_PER_MM))
            self.setAccessibleName(f"{chart.title}: {chart.subtitle}")
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """The list, on the dark ground of all pictures."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), style.PANEL)
        chart = self.chart
        if chart is None:
            return
        width, height = chart.size_mm
        scale = min(self.width() / width, self.height() / height)
        middle = QTransform(scale, 0, 0, -scale, self.width() / 2, self.height() / 2)
        self._ink.paint(painter, middle)
        painter.setFont(style.font(12))
        painter.setPen(QPen(style.QUIET))
        frame = QRectF(0, 0, width * scale, height * scale)
        frame.moveCenter(QRectF(self.rect()).center())
        low = Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignBottom
        painter.drawText(frame, low, chart.sides.bottom)
        painter.translate(frame.left() + 16, frame.center().y())
        painter.rotate(-90)
        text = QRectF(-frame.height() / 2, -12, frame.height(), 24)
        painter.drawText(text, Qt.AlignmentFlag.AlignCenter, chart.sides.left)
