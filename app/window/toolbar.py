"""The row of tools in their groups; it takes a second line where the window is narrow."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QPoint, QRect, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QButtonGroup,
    QFrame,
    QLabel,
    QLayout,
    QLayoutItem,
    QMenu,
    QToolButton,
    QWidget,
)

from app.tools.base import Tool
from app.tools.catalogue import GROUP_WORDS, TOOL
from app.widgets import style
from core.words.catalogue import say


class Flow(QLayout):
    """Items side by side, wrapping like words.

    An item follows the one before it on the same line where it fits; a group's name is kept
    with its first tool.
    """

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._items: list[QLayoutItem] = []
        self.setContentsMargins(8, 2, 8, 2)

    def addItem(self, item: QLayoutItem) -> None:
        """Take an item at the end."""
        self._items.append(item)

    def count(self) -> int:
        """Number of items."""
        return len(self._items)

    def itemAt(self, index: int) -> QLayoutItem | None:
        """Item of a number, None beyond the last."""
        return self._items[index] if 0 <= index < len(self._items) else None

    def takeAt(self, index: int) -> QLayoutItem | None:
        """Give an item away."""
        return self._items.pop(index) if 0 <= index < len(self._items) else None

    def hasHeightForWidth(self) -> bool:
        """Yes: two lines where one is too short."""
        return True

    def heightForWidth(self, width: int) -> int:
        """Height that a width needs."""
        return self._lay(QRect(0, 0, width, 0), move=False)

    def setGeometry(self, rect: QRect) -> None:
        """Lay the items."""
        super().setGeometry(rect)
        self._lay(rect, move=True)

    def sizeHint(self) -> QSize:
        """As small as it may be."""
        return self.minimumSize()

    def minimumSize(self) -> QSize:
        """The widest single item."""
        size = QSize()
        for item in self._items:
            size = size.expandedTo(item.minimumSize())
        m = self.contentsMargins()
        return size + QSize(m.left() + m.right(), m.top() + m.bottom())

    def _lay(self, rect: QRect, *, move: bool) -> int:
        m = self.contentsMargins()
        area = rect.adjusted(m.left(), m.top(), -m.right(), -m.bottom())
        x, y, line = area.x(), area.y(), 0
        for number, item in enumerate(self._items):
            size = item.sizeHint()
            needed = size.width()
            if isinstance(item.widget(), QLabel) and number + 1 < len(self._items):
                needed += self._items[number + 1].sizeHint().width()
            if x > area.x() and x + needed > area.right() + 1:
                x, y, line = area.x(), y + line, 0
            if move:
                item.setGeometry(QRect(QPoint(x, y), size))
            x += size.width()
            line = max(line, size.height())
        return y + line - rect.y() + m.bottom()


class _ToolButton(QToolButton):
    """Arrows go to the tool before and after, on whichever line it stands."""

    stepped = Signal(int)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Arrows step; everything else as ever."""
        match event.key():
            case Qt.Key.Key_Right | Qt.Key.Key_Down:
                self.stepped.emit(1)
            case Qt.Key.Key_Left | Qt.Key.Key_Up:
                self.stepped.emit(-1)
            case _:
                super().keyPressEvent(event)


class ToolRow(QFrame):
    """One button a tool.

    Signals
    -------
    chosen(name)
    """

    chosen = Signal(str)

    def __init__(self, tools: Sequence[Tool], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("panel")
        flow = Flow(self)
        self._buttons: dict[str, QToolButton] = {}
        self._more_buttons: list[QToolButton] = []
        group = self._buttons_group = QButtonGroup(self)
        group.setExclusive(True)
        for name in GROUP_WORDS:
            members = [tool for tool in tools if tool.group == name]
            if not members:
                continue
            caption = QLabel(str(GROUP_WORDS[name]))
            caption.setFont(style.font(13, italic=True))
            caption.setObjectName("quiet")
            caption.setFixedHeight(30)
            caption.setContentsMargins(7, 0, 2, 0)
            flow.addWidget(caption)
            for tool in [t for t in members if not t.folded]:
                button = _ToolButton()
                button.stepped.connect(self._step)
                button.setObjectName("tool")
                button.setText(tool.title())
                button.setCheckable(True)
                button.setFixedHeight(30)
                button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
                tip = tool.hint()
                button.setToolTip(f"{tip} ({tool.key_hint})" if tool.key_hint else tip)
                button.setAccessibleName(f"{GROUP_WORDS[name]}: {tool.title()}")
                button.clicked.connect(lambda _on=False, n=tool.name: self.chosen.emit(n))
                group.addButton(button)
                flow.addWidget(button)
                self._buttons[tool.name] = button
            folded = [t for t in members if t.folded]
            if folded:
                flow.addWidget(self._more(name, folded))

    def _more(self, group: str, tools: Sequence[Tool]) -> QToolButton:
        """A button with a menu of the tools that are wanted rarely."""
        button = QToolButton()
        button.setObjectName("tool")
        button.setFixedHeight(30)
        button.setText(say("window.toolbar.more"))
        button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        button.setAccessibleName(say("window.toolbar.more-tools", group=GROUP_WORDS[group]))
        button.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        button.setCheckable(True)
        # Not in the group: the arrows go from tool to tool, and must not open a menu on their way.
        menu = QMenu(button)
        for tool in tools:
            action = menu.addAction(tool.title())
            action.setToolTip(tool.hint())
            action.triggered.connect(lambda _on=False, n=tool.name: self.chosen.emit(n))
            self._buttons[tool.name] = button
        button.setMenu(menu)
        self._more_buttons.append(button)
        return button

    def button(self, name: str) -> QToolButton:
        """Button of a tool."""
        return self._buttons[name]

    def _step(self, way: int) -> None:
        buttons = self._buttons_group.buttons()
        at = buttons.index(self._buttons_group.checkedButton() or buttons[0])
        other = buttons[(at + way) % len(buttons)]
        other.setFocus(Qt.FocusReason.TabFocusReason)
        other.click()

    def show_chosen(self, name: str) -> None:
        """Press the button of the active tool."""
        for more in self._more_buttons:
            more.setText(say("window.toolbar.more"))
            more.setChecked(False)
        button = self._buttons.get(name)
        if button is None:
            return
        if button in self._more_buttons and (shown := self._buttons_group.checkedButton()):
            self._buttons_group.setExclusive(False)
            shown.setChecked(False)
            self._buttons_group.setExclusive(True)
        button.setChecked(True)
        if button in self._more_buttons:
            button.setText(f"{TOOL[name].title()} …")
