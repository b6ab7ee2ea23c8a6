"""Pages of a PDF, one below the other, as wide as there is room."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt
from PySide6.QtGui import QImage, QPixmap, QResizeEvent
from PySide6.QtWidgets import QFrame, QLabel, QScrollArea, QVBoxLayout, QWidget

from core.words.catalogue import say

_MOST_WIDTH = 760


class PagesShown(QScrollArea):
    """Shows pages; nothing while there are none."""

    def __init__(self) -> None:
        super().__init__()
        self.images: tuple[QImage, ...] = ()
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setWidgetResizable(True)
        self.setAccessibleName(say("dialogs.sheet.pages_shown.pages"))
        inside = QWidget()
        self._column = QVBoxLayout(inside)
        self._column.setSpacing(8)
        self._column.setAlignment(Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignHCenter)
        self.setWidget(inside)

    def show_pages(self, images: Sequence[QImage]) -> None:
        """Show other pages."""
        self.images = tuple(images)
        while (item := self._column.takeAt(0)) is not None:
            if (widget := item.widget()) is not None:
                widget.deleteLater()
        for number, _ in enumerate(self.images, start=1):
            label = QLabel()
            label.setAccessibleName(
                say("dialogs.sheet.pages_shown.page-of", number=number, images=len(self.images))
            )
            self._column.addWidget(label)
        self._fit()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The pages follow the width."""
        super().resizeEvent(event)
        self._fit()

    def _fit(self) -> None:
        ratio = self.devicePixelRatioF()
        width = max(min(self.viewport().width() - 24, _MOST_WIDTH), 100)
        for number, image in enumerate(self.images):
            item = self._column.itemAt(number)
            label = None if item is None else item.widget()
            if isinstance(label, QLabel):
                pixmap = QPixmap.fromImage(image).scaledToWidth(
                    round(width * ratio), Qt.TransformationMode.SmoothTransformation
                )
                pixmap.setDevicePixelRatio(ratio)
                label.setPixmap(pixmap)
