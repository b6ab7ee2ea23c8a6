"""A look at one part: its pages one by one, and below or in their place what its files hold."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtGui import QImage, QKeyEvent, QPixmap, QResizeEvent
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from app.widgets import style
from core.words.catalogue import say

LEAST_HEIGHT = 420
_WIDEST_PX = 640


class PagesView(QWidget):
    """Pages with their number, and lines of text; shows one part at a time."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.images: tuple[QImage, ...] = ()
        self.page = 0
        self.title = QLabel("")
        self.title.setFont(style.font(14, bold=True))
        self.back = _button("◂", lambda: self.turn(-1), say("dialogs.sheet.preview.previous-page"))
        self.number = QLabel("")
        self.next = _button("▸", lambda: self.turn(1), say("dialogs.sheet.preview.next-page"))
        top = QHBoxLayout()
        top.addWidget(self.title)
        top.addStretch(1)
        for widget in (self.back, self.number, self.next):
            top.addWidget(widget)
        self.top = top
        self.shown = QLabel()
        self.shown.setAlignment(Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignTop)
        self.text = QLabel()
        self.text.setTextFormat(Qt.TextFormat.PlainText)
        self.text.setWordWrap(True)
        self.text.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
        self.text.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        inner = QWidget()
        column = QVBoxLayout(inner)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.shown)
        column.addWidget(self.text)
        column.addStretch(1)
        self.area = QScrollArea()
        self.area.setFrameShape(QFrame.Shape.NoFrame)
        self.area.setWidgetResizable(True)
        self.area.setWidget(inner)
        self.area.setMinimumHeight(LEAST_HEIGHT)
        self.area.setAccessibleName(say("dialogs.sheet.preview.pages"))
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.addLayout(top)
        outer.addWidget(self.area, 1)
        self._outer = outer
        self.tell("", "")

    def add_below_title(self, fields: QWidget) -> None:
        """Fields that the pages shown depend on."""
        self._outer.insertWidget(1, fields)

    def tell(self, title: str, words: str) -> None:
        """Show a sentence in place of pages."""
        self.images = ()
        self.title.setText(title)
        self.text.setText(words)
        self._show()

    def show_part(self, title: str, images: tuple[QImage, ...], lines: tuple[str, ...]) -> None:
        """Show a part, from its first page or, made anew, from the page that was open."""
        self.page = min(self.page, len(images) - 1) if title == self.title.text() else 0
        self.page = max(self.page, 0)
        self.images = images
        self.title.setText(title)
        self.text.setText("\n".join(lines))
        self._show()

    def turn(self, pages_on: int) -> None:
        """Show another page."""
        if self.images:
            self.page = min(max(self.page + pages_on, 0), len(self.images) - 1)
            self.area.verticalScrollBar().setValue(0)
            self._show()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Page up and page down turn pages."""
        steps = {Qt.Key.Key_PageDown: 1, Qt.Key.Key_PageUp: -1}
        step = steps.get(Qt.Key(event.key()))
        if step is None:
            super().keyPressEvent(event)
        else:
            self.turn(step)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The page fits the width."""
        super().resizeEvent(event)
        self._show()

    def _show(self) -> None:
        pages = len(self.images)
        self.shown.setVisible(bool(pages))
        self.text.setVisible(bool(self.text.text()))
        for widget in (self.back, self.number, self.next):
            widget.setVisible(pages > 1)
        if not pages:
            self.shown.setPixmap(QPixmap())
            return
        image = self.images[self.page]
        ratio = self.devicePixelRatioF()
        # At most life size of the largest paper: a card is never blown up to a page.
        width = min(self.area.viewport().width() - 8, _WIDEST_PX, image.width())
        pixmap = QPixmap.fromImage(image).scaledToWidth(
            max(round(width * ratio), 100), Qt.TransformationMode.SmoothTransformation
        )
        pixmap.setDevicePixelRatio(ratio)
        self.shown.setPixmap(pixmap)
        self.number.setText(say("dialogs.sheet.preview.page-of", page=self.page + 1, pages=pages))
        self.back.setEnabled(self.page > 0)
        self.next.setEnabled(self.page + 1 < pages)


def _button(words: str, act: Callable[[], None], name: str) -> QPushButton:
    button = QPushButton(words)
    button.setAutoDefault(False)
    button.setAccessibleName(name)
    button.setToolTip(name)
    button.clicked.connect(lambda _on: act())
    return button
