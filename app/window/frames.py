"""Frames around the pictures, the strip of neighbours, and the notice of what is proposed."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QMouseEvent, QResizeEvent
from PySide6.QtWidgets import (
    QApplication,
    QFrame,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.case.session import Session
from app.dialogs.answers.confirm_jaw import confirm_jaw
from app.pictures.flat_view import FlatView
from app.pictures.in_step import Pictures
from app.pictures.picture_view import PictureView
from app.tools.base import Desk
from app.widgets import style
from core.proposing.crowns import miss_fields
from core.words.catalogue import say, together


class Framed(QFrame):
    """A picture under its name, with quiet words or buttons beside it."""

    def __init__(
        self,
        title: str,
        view: PictureView,
        parent: QWidget | None = None,
        *,
        beside: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.setObjectName("panel")
        heading = QLabel(title)
        heading.setObjectName("heading")
        self.aside = QLabel("")
        self.aside.setObjectName("quiet")
        self.aside.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        self.row = QHBoxLayout()
        self.row.setContentsMargins(4, 0, 4, 0)
        self.row.addWidget(heading)
        self.row.addWidget(self.aside, 1)
        column = QVBoxLayout(self)
        column.setContentsMargins(6, 5, 6, 6)
        column.setSpacing(3)
        column.addLayout(self.row)
        line = QHBoxLayout()
        line.setSpacing(3)
        line.addWidget(view, 1)
        if beside is not None:
            line.addWidget(beside)
        column.addLayout(line, 1)


STAYS, PUT_ASIDE = "stays", "put-aside"
"""Properties of widgets while one picture has the room of all: it is kept; it is hidden."""
LEAST_PX = 60
"""Of a small picture: narrower, its letters and its bar do not stand apart."""


class PictureName(QLabel):
    """What a small picture is called, always whole: smaller, or short, where there is no room.

    ``3 mm mesial`` is then ``3 Me``, as on the dial: cut, it would say neither how far nor which
    way. Pressed, it shows its picture large: whatever a click in the picture itself marks now.
    """

    pressed = Signal()

    def __init__(self) -> None:
        super().__init__()
        self._bold = False
        self.setFont(style.font(12, italic=True))
        self.setAlignment(Qt.AlignmentFlag.AlignCenter)
        # Its words must not make one picture wider than another.
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)

    def name(self, title: str, *, bold: bool) -> None:
        """Call the picture by another name."""
        # Set anew, the same words would lay out the whole window again.
        if (title, bold) != (self.toolTip(), self._bold):
            self._bold = bold
            self.setToolTip(title)
            self._fit()

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """It stands for its picture."""
        if event.button() == Qt.MouseButton.LeftButton:
            self.pressed.emit()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Another width has room for other words."""
        super().resizeEvent(event)
        self._fit()

    def _fit(self) -> None:
        title = self.toolTip()
        number, _, way = title.partition(" mm ")
        short = f"{number} {way.removeprefix('to ').capitalize()[:2]}" if way else title
        for words, px in ((title, 12), (title, 11), (short, 12), (short, 11)):
            # The window's style sheet has a word in the font: only the label's own counts.
            self.setFont(style.font(px, italic=True, bold=self._bold))
            if self.fontMetrics().horizontalAdvance(words) <= self.width():
                break
        self.setText(words)


class NeighbourStrip(QFrame):
    """Sections beside the station, each under its name: seven, or five where room is short."""

    def __init__(self, session: Session, pictures: Pictures, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("panel")
        self._session, self._pictures = session, pictures
        # The patient's right stands on the left, however a script runs.
        self.setLayoutDirection(Qt.LayoutDirection.LeftToRight)
        row = self._row = QHBoxLayout(self)
        row.setSpacing(4)
        self._names: list[PictureName] = []
        self.cells: list[QWidget] = []
        for view in pictures.neighbours:
            name = PictureName()
            # Alone at full size the picture is still called what it is.
            name.setProperty(STAYS, True)
            name.pressed.connect(partial(self._show, view))
            cell = QWidget()
            cell.setObjectName("clear")
            cell.setStyleSheet("QWidget#clear { background: transparent; }")
            column = QVBoxLayout(cell)
            column.setContentsMargins(0, 0, 0, 0)
            column.setSpacing(1)
            column.addWidget(view, 1)
            column.addWidget(name)
            row.addWidget(cell, 1)
            self._names.append(name)
            self.cells.append(cell)
        pictures.shown.connect(self.read)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """All pictures alike to the pixel: what one showed the next can show as it is."""
        super().resizeEvent(event)
        few = self.width() < LEAST_PX * len(self._names)
        for at, cell in enumerate(self.cells):
            shown = not few or 0 < at < len(self.cells) - 1
            self._row.setStretch(at, int(shown))
            if not cell.property(PUT_ASIDE):
                cell.setVisible(shown)
        count = len(self._names) - 2 * few
        spare = (self.width() - 2 * 6 - (count - 1) * self._row.spacing()) % count
        self._row.setContentsMargins(6, 5, 6 + spare, 4)

    def _show(self, view: FlatView) -> None:
        """Go where a small picture was taken."""
        if view.has_picture and view.station_mm is not None:
            self._session.go_to(station_mm=view.station_mm, across=True)

    def read(self) -> None:
        """Read the names anew."""
        for view, name in zip(self._pictures.neighbours, self._names, strict=True):
            name.name(view.title, bold=view.chosen)


class ProposedBar(QFrame):
    """Says that jaw plane and arch are proposed, and lets a person confirm them; one column wide.

    The jaw is never taken from the guess: a person names it.
    """

    edit_arch = Signal()
    edit_plane = Signal()
    left = Signal()
    """It goes while it held the keys, which would else fall on whatever button comes next."""

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("notice")
        self._session = session
        self.words = QLabel("")
        self.words.setObjectName("strong")
        self.words.setWordWrap(True)
        self.for_lower = QPushButton(say("window.frames.confirm-lo-wer-jaw"))
        self.for_upper = QPushButton(say("window.frames.confirm-upper-jaw"))
        self.for_lower.clicked.connect(lambda: confirm_jaw(session, desk, "lower"))
        self.for_upper.clicked.connect(lambda: confirm_jaw(session, desk, "upper"))
        plane = QToolButton()
        plane.setText(say("window.frames.edit-jaw-plane"))
        plane.clicked.connect(self.edit_plane)
        arch = QToolButton()
        arch.setText(say("window.frames.edit-arch"))
        arch.clicked.connect(self.edit_arch)
        self.editing = (plane, arch)
        column = QVBoxLayout(self)
        column.setContentsMargins(10, 7, 10, 8)
        column.setSpacing(6)
        column.addWidget(self.words)
        for pair in ((self.for_lower, self.for_upper), self.editing):
            row = QHBoxLayout()
            row.setSpacing(6)
            for button in pair:
                button.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
                row.addWidget(button, 1)
            column.addLayout(row)
        session.scan_changed.connect(self.read)
        session.plan_changed.connect(self.read)
        self.read()

    def read(self) -> None:
        """Show what is still open, or nothing."""
        session = self._session
        waiting = session.volume is not None and not session.confirmed
        held = self.isAncestorOf(QApplication.focusWidget() or self)
        self.setVisible(waiting)
        if held and not waiting:
            self.left.emit()
        if not waiting:
            return
        plan, guide = session.plan, session.guide
        # A plane that is only the scanner's level is not there to be confirmed.
        whole = session.plane_is_found and guide.arch_points is not None
        for jaw, button in (("lower", self.for_lower), ("upper", self.for_upper)):
            button.setVisible(whole and plan.jaw in (None, jaw))
        self.words.setText(_open_words(session))


def _open_words(session: Session) -> str:
    """What is still open about jaw plane and arch, and what the proposal rests on."""
    plan, guide = session.plan, session.guide
    none_given = say("window.frames.until-then-no-number-is")
    if guide.arch_points is None and session.plane_is_found:
        return together(say("window.frames.no-arch-was-recognised-trace"), none_given)
    if guide.arch_points is None:
        return together(say("window.frames.no-row-of-teeth-or"), none_given)
    if not session.plane_is_found:
        return together(say("window.frames.the-jaw-plane-was-not"), none_given)
    if plan.level is None and plan.arch_points is None:
        proposed = say("window.frames.plane-and-arch-proposed")
    elif plan.level is None:
        proposed = say("window.frames.plane-proposed")
    elif plan.arch_points is None:
        proposed = say("window.frames.arch-proposed")
    else:
        return say("window.frames.which-jaw-is-it-until")
    return together(proposed, *_plane_rests_on(session), none_given)


def _plane_rests_on(session: Session) -> tuple[str, ...]:
    """What a suggested jaw plane rests on, and by how much it misses that."""
    proposal = session.proposal
    if session.plan.level is not None or proposal is None:
        return ()
    tilt = say("window.frames.check-the-tilt") if proposal.plane_from == "along" else ""
    if found := session.plane_misses:
        return (say("window.frames.plane-misses", **miss_fields(found)), tilt)
    return (say("window.frames.plane-without-teeth"), tilt)
