"""Room to see: a picture or plot at full size; by held keys no drawings, and a magnifier."""

from __future__ import annotations

from PySide6.QtCore import QObject, Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QApplication, QSplitter, QSplitterHandle, QWidget

from app.pictures.in_step import Pictures
from app.pictures.picture_view import PictureView
from app.pictures.plot_view import PlotView
from app.window.frames import PUT_ASIDE, STAYS

FULL_KEY = "F11"
BARE_KEY, NEAR_KEY = Qt.Key.Key_Q, Qt.Key.Key_Z
"""Held, they hide what is drawn, and show the magnifier at the mouse."""


class PictureRoom(QObject):
    """Gives a picture the room of all others, and takes the drawings off all of them.

    Parameters
    ----------
    page : QWidget
        The working page; what stands at its top, who and which side, is never hidden.
    pictures : Pictures
    """

    def __init__(self, page: QWidget, pictures: Pictures, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._page = page
        self._pictures = pictures
        self._hidden: list[QWidget] = []
        self._sizes: list[tuple[QSplitter, list[int]]] = []

    @property
    def is_full(self) -> bool:
        """True while one picture has the room of all."""
        return bool(self._hidden)

    def toggle(self) -> None:
        """What has the focus, else the section, at full size; or all as they were."""
        if self.is_full:
            self._back()
            return
        focus = QApplication.focusWidget()
        self._alone(focus if isinstance(focus, (PictureView, PlotView)) else self._pictures.section)

    def press(self, event: QKeyEvent) -> bool:
        """True where the key hides what is drawn, or magnifies, as long as it is held."""
        if event.modifiers() or event.key() not in (BARE_KEY, NEAR_KEY):
            return False
        if event.key() == BARE_KEY:
            self.show_drawn(shown=False)
        else:
            self.magnify(shown=True)
        return True

    def release(self, event: QKeyEvent) -> bool:
        """True where the key was the one that was held."""
        if event.isAutoRepeat() or event.key() not in (BARE_KEY, NEAR_KEY):
            return False
        if event.key() == BARE_KEY:
            self.show_drawn(shown=True)
        else:
            self.magnify(shown=False)
        return True

    def let_go(self) -> None:
        """As if every key had been released."""
        self.show_drawn(shown=True)
        self.magnify(shown=False)

    def magnify(self, *, shown: bool) -> None:
        """Show the magnifier on the picture under the mouse, or no longer."""
        for view in self._page.findChildren(PictureView):
            view.magnify("key", shown=shown)

    def show_drawn(self, *, shown: bool) -> None:
        """Show or hide lines, marks and numerals on every picture."""
        for view in self._page.findChildren(PictureView):
            view.show_drawn(shown=shown)

    def _alone(self, view: QWidget) -> None:
        part: QWidget = view
        while (whole := part.parentWidget()) is not None and whole is not self._page:
            if isinstance(whole, QSplitter):
                self._sizes.append((whole, whole.sizes()))
            for other in whole.children():
                if not isinstance(other, QWidget) or isinstance(other, QSplitterHandle):
                    continue
                if other is not part and not other.isHidden() and not other.property(STAYS):
                    other.setProperty(PUT_ASIDE, True)
                    other.hide()
                    self._hidden.append(other)
            part = whole
        view.setFocus()

    def _back(self) -> None:
        for other in self._hidden:
            other.setProperty(PUT_ASIDE, False)
            other.show()
        for splitter, sizes in self._sizes:
            splitter.setSizes(sizes)
        self._hidden, self._sizes = [], []
