"""The guided first case: a bar with one step at a time, and a frame around where it is done."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QRect, QRectF, Qt, QTimer, Signal
from PySide6.QtGui import QPainter, QPaintEvent, QPen, QResizeEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QPushButton, QWidget

from app.case.session import Session
from app.dialogs.sheet.dialog import SheetDialog
from app.guide.page import GuidedPage
from app.guide.steps import STEPS, Moment, Step, Target, is_sample
from app.widgets import style
from core.pictures.ink import DARK
from core.words.catalogue import say

LOOK_MS = 200
FRAME_PX = 5


class Pointer(QWidget):
    """A frame around a part of the bench; the mouse goes through it."""

    def __init__(self, page: QWidget) -> None:
        super().__init__(page)
        self._page = page
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self._round = False
        self.hide()

    def frame(self, rect: QRect, *, spot: bool) -> None:
        """Frame a place of the page; an empty one hides the frame."""
        if rect.isEmpty():
            self.hide()
            return
        self._round = spot
        grown = rect.adjusted(-FRAME_PX, -FRAME_PX, FRAME_PX, FRAME_PX)
        self.setGeometry(grown.intersected(self._page.rect()))
        self.show()
        self.raise_()

    def paintEvent(self, event: QPaintEvent) -> None:
        """A light line on a dark one, so that it stands out on any grey."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        box = QRectF(self.rect()).adjusted(2.5, 2.5, -2.5, -2.5)
        for pen in (QPen(style.colour(DARK.casing), 5.0), QPen(style.FOCUS, 2.0)):
            painter.setPen(pen)
            if self._round:
                painter.drawEllipse(box)
            else:
                painter.drawRoundedRect(box, 5, 5)
        painter.end()


class GuideBar(QFrame):
    """The steps: what to do, whether it is done, and buttons to go on.

    Parameters
    ----------
    session : Session
    page : GuidedPage
        What the steps look at.
    over : QWidget
        The same page, as the widget in which places are framed.

    Signals
    -------
    left
        The guide was left, or its last step was ended.
    """

    left = Signal()

    def __init__(self, session: Session, page: GuidedPage, over: QWidget) -> None:
        super().__init__()
        self.setObjectName("notice")
        self.session = session
        self.page = page
        self._over = over
        self.at = 0
        self.ticked: set[int] = set()
        self._sheet_written = False
        self.number, self.title, self.words, self.fact = QLabel(), QLabel(), QLabel(), QLabel()
        self.title.setObjectName("strong")
        self.words.setWordWrap(True)
        self.fact.setObjectName("quiet")
        self.offer = self._button("", self._take_offer)
        self.show_me = self._button(say("guide.bar.show-me"), self._show)
        self.back = self._button(say("guide.bar.back"), lambda: self.go(self.at - 1))
        self.next = self._button(say("guide.bar.next"), lambda: self.go(self.at + 1))
        self.leave = self._button(say("guide.bar.leave-the-guide"), self.end)
        row = QHBoxLayout(self)
        row.setContentsMargins(12, 4, 12, 4)
        row.setSpacing(10)
        row.addWidget(self.number)
        row.addWidget(self.title)
        row.addWidget(self.words, 1)
        row.addWidget(self.fact)
        for button in (self.offer, self.show_me, self.back, self.next, self.leave):
            row.addWidget(button)
        self.pointer = Pointer(over)
        self._moment = Moment(page, session, session.plan)
        self._looking = QTimer(self, interval=LOOK_MS)
        self._looking.timeout.connect(self.look)
        session.scan_changed.connect(self._other_scan)
        self.hide()

    def begin(self) -> None:
        """Start at the first step."""
        self.ticked.clear()
        self._sheet_written = False
        self.show()
        self._looking.start()
        self._keep_height()
        self.go(0)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """At another width the longest step needs another height."""
        super().resizeEvent(event)
        if not self.isHidden() and event.size().width() != event.oldSize().width():
            self._keep_height()
            self._write(STEPS[self.at])
            self.look()

    def _keep_height(self) -> None:
        """As high at every step as the longest needs: what lies below never moves."""
        layout, heights = self.layout(), [0]
        for step in STEPS:
            self._write(step)
            self.fact.setText(say("guide.bar.ticked"))
            if layout is not None:
                layout.invalidate()
                heights.append(layout.totalHeightForWidth(self.width()))
        self.setFixedHeight(max(heights))

    def end(self) -> None:
        """Leave it; the case stays as it is."""
        self._looking.stop()
        self.pointer.hide()
        self.hide()
        self.left.emit()

    def go(self, number: int) -> None:
        """Show a step; what changed counts from now on."""
        if number >= len(STEPS):
            self.end()
            return
        self.at = max(number, 0)
        self._moment = Moment(self.page, self.session, self.session.plan)
        step = STEPS[self.at]
        self.number.setText(say("guide.bar.number", at=self.at + 1, of=len(STEPS)))
        self._write(step)
        self.back.setEnabled(self.at > 0)
        self.next.setText(
            say("guide.bar.done") if self.at + 1 == len(STEPS) else say("guide.bar.next")
        )
        self.look()

    def _write(self, step: Step) -> None:
        """A step's words, and the buttons that it has."""
        self.title.setText(str(step.title))
        self.words.setText(str(step.words))
        self.show_me.setVisible(step.show is not None)
        self.offer.setVisible(step.offer is not None)
        self.offer.setText("" if step.offer is None else str(step.offer[0]))

    def look(self) -> None:
        """Tick the step if its fact is there, and point at where it is done until then."""
        if self.isHidden():
            return
        step, now = STEPS[self.at], self._now()
        done = step.done(now) or (step.stays and self.at in self.ticked)
        if done:
            self.ticked.add(self.at)
        else:
            self.ticked.discard(self.at)
        self.fact.setText(say("guide.bar.ticked") if done else "")
        self.next.setDefault(done)
        target = None if done else self._target(step, now)
        rect = QRect() if target is None else target.rect_in(self._over)
        self.pointer.frame(rect, spot=target is not None and target.spot is not None)

    def _target(self, step: Step, now: Moment) -> Target | None:
        if step.leads and now.page.active_tool != step.leads:
            return Target(self.show_me)
        return Target(self.offer) if step.target is None else step.target(now)

    def _now(self) -> Moment:
        m = self._moment
        if self.at + 1 == len(STEPS):
            sheets = self._over.window().findChildren(SheetDialog)
            self._sheet_written = self._sheet_written or any(sheet.written for sheet in sheets)
        return Moment(m.page, m.session, m.plan, self._sheet_written)

    def _take_offer(self) -> None:
        offer = STEPS[self.at].offer
        if offer is not None:
            offer[1](self._now())
            self.look()

    def _show(self) -> None:
        show = STEPS[self.at].show
        if show is not None:
            show(self._now())
            self.look()

    def _other_scan(self) -> None:
        if not is_sample(self.session.source) and not self.isHidden():
            self.end()

    def _button(self, words: str, act: Callable[[], None]) -> QPushButton:
        button = QPushButton(words)
        button.setAutoDefault(False)
        button.clicked.connect(lambda _on=False: act())
        return button
