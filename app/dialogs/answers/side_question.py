"""Asks what tells the side, by what can be seen in the mouth, on the chart or in the picture."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QPainter, QPen, QPixmap, QPolygonF
from PySide6.QtWidgets import QButtonGroup, QLabel, QRadioButton, QWidget

from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.pictures.places import arch_map_place
from app.pictures.rendering import grey_image
from app.tools.base import Desk
from app.widgets import style
from core.arch import Arch
from core.direction import Question, Region
from core.geometry import Array, PictureGrid
from core.identity import inner_side
from core.image.section import across_arch_grid
from core.image.volume import Volume
from core.plans import edit_side
from core.plans.plan import Plan
from core.words.catalogue import Message, Words, message, say

PICTURE_PX = 380
SECTION_MM = (36.0, 36.0)
_MAP_HEIGHT_MM = 0.0

TEETH: dict[Region, Message] = {
    "right back": message("dialogs.answers.side_question.right-back"),
    "front": message("dialogs.answers.side_question.front"),
    "left back": message("dialogs.answers.side_question.left-back"),
    "whole arch": message("dialogs.answers.side_question.whole-arch"),
}

_TONGUE = message("dialogs.answers.side_question.tongue")
_PALATE = message("dialogs.answers.side_question.palate")

ASKED: dict[Question, tuple[Message, Message]] = {
    "teeth": (
        message("dialogs.answers.side_question.which-teeth-are-in-this"),
        message("dialogs.answers.side_question.answer-from-the-mouth-or"),
    ),
    "front end": (
        message("dialogs.answers.side_question.which-end-is-nearer-the"),
        message("dialogs.answers.side_question.a-and-b-are-the"),
    ),
    "right end": (
        message("dialogs.answers.side_question.which-end-is-on-the"),
        message("dialogs.answers.side_question.a-and-b-are-the-2"),
    ),
    "tongue": (
        message("dialogs.answers.side_question.is-the-tongue-on-the"),
        message("dialogs.answers.side_question.the-section-crosses-the-jaw"),
    ),
}
"""Question and where to look for its answer. The midline is marked, not asked."""

Change = Callable[[Plan], Plan]


class SideQuestion(Dialog):
    """One question about the side; nothing is chosen beforehand."""

    heading = message("dialogs.answers.side_question.left-and-right")
    accept_words = "OK"

    def __init__(
        self, session: Session, desk: Desk, question: Question, parent: QWidget | None = None
    ) -> None:
        super().__init__(session, desk, parent)
        self.question = question
        asked, where = map(str, ASKED[question])
        title = self.words(asked)
        title.setFont(style.font(14, bold=True))
        self.words(where, quiet=True)
        self.picture = QLabel()
        self.picture.setAlignment(Qt.AlignmentFlag.AlignHCenter)
        self.picture.setAccessibleName(asked)
        arch, volume = session.arch, session.volume
        if arch is not None and volume is not None:
            self.picture.setPixmap(_picture(session, volume, arch, question))
            self.body.addWidget(self.picture)
        self.choices = QButtonGroup(self)
        self.changes: list[Change] = []
        self.answers: list[Words] = []
        for words, change in _answers(session, arch, question):
            self.answers.append(words)
            button = QRadioButton(str(words))
            self.choices.addButton(button, len(self.changes))
            self.changes.append(change)
            self.body.addWidget(button)
        self.choices.idToggled.connect(self.check)
        if not self.changes:
            self.tell(say("dialogs.answers.side_question.trace-the-arch-or-confirm"))

    def is_complete(self) -> bool:
        """One answer is chosen."""
        return self.choices.checkedId() >= 0

    def give(self) -> None:
        """Into the plan; what is asked next comes by itself."""
        chosen = self.choices.checkedId()
        words = message(
            "dialogs.answers.side_question.answered",
            question=ASKED[self.question][0],
            answer=self.answers[chosen],
        )
        self.session.change(words, self.changes[chosen])
        following = self.session.side.question
        if following is not None and following != self.question:
            ask_about_side(self.session, self.desk, self.parentWidget())


class SideTrouble(Dialog):
    """What disagrees about the side, in words, and the way to answer again."""

    heading = message("dialogs.answers.side_question.left-and-right-may-be")
    accept_words = message("dialogs.answers.side_question.answer-the-questions-again")

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.words(say("dialogs.answers.side_question.no-limit-is-judged-nothing"))
        for told in dict.fromkeys(f.message for f in session.side.against):
            self.words(told)
        self.words(say("dialogs.answers.side_question.a-tooths-number-is-corrected"))

    def give(self) -> None:
        """Take the answers back and ask from the beginning."""
        self.session.change(
            message("dialogs.answers.side_question.questions-about-the-side-asked"),
            edit_side.without_side_answers,
        )
        open_dialog(SideQuestion(self.session, self.desk, "teeth", self.parentWidget()))


def ask_about_side(session: Session, desk: Desk, parent: QWidget | None) -> Dialog | None:
    """Ask what is open about the side, tell what disagrees, or let the teeth be named again."""
    side = session.side
    if side.against:
        return open_dialog(SideTrouble(session, desk, parent))
    if side.question == "midline":
        desk.take_tool("Midline")
        desk.say(say("dialogs.answers.side_question.click-between-the-two-middle"))
        return None
    return open_dialog(SideQuestion(session, desk, side.question or "teeth", parent))


def ask_if_open(session: Session, desk: Desk) -> None:
    """Ask at once where a step of the person left the side open."""
    if session.side.question is not None and not session.side.against:
        ask_about_side(session, desk, desk if isinstance(desk, QWidget) else None)


def _answers(session: Session, arch: Arch | None, question: Question) -> list[tuple[Words, Change]]:
    if arch is None or session.plan.arch_points is None:
        return []
    if question == "teeth":
        return [
            (words, lambda plan, region=region: edit_side.with_region(plan, region))  # type: ignore[misc]
            for region, words in TEETH.items()
        ]
    first, last = session.plan.arch_points[0], session.plan.arch_points[-1]
    if question == "tongue":
        frame = arch.frame(session.station_mm)
        upper = inner_side(session.plan.known_jaw) == "palatal"
        inner = _PALATE if upper else _TONGUE
        return [
            (message("dialogs.answers.side_question.yes-the-is-on-that", inner=inner),
             lambda plan: edit_side.with_cheek(plan, frame.origin, frame.buccal)),
            (message("dialogs.answers.side_question.no-the-is-on-the", inner=inner),
             lambda plan: edit_side.with_cheek(plan, frame.origin, -frame.buccal)),
        ]  # fmt: skip
    put = edit_side.with_front_end if question == "front end" else edit_side.with_right_end
    return [("A", lambda plan: put(plan, first)), ("B", lambda plan: put(plan, last))]


def _picture(session: Session, volume: Volume, arch: Arch, question: Question) -> QPixmap:
    """The map with the ends lettered, or the section with cheek and tongue written on it.

    No letters of the patient's sides: they are the scan's own word, which is being tested.
    """
    if question == "tongue":
        grid = across_arch_grid(
            arch, session.station_mm, size_mm=SECTION_MM, pixel_mm=0.2, centre_height_mm=0.0
        )
    else:
        grid = arch_map_place(volume, arch.level, _MAP_HEIGHT_MM).grid
    image = grey_image(volume.picture(grid), session.window, grid.pixel_mm)
    pixmap = QPixmap.fromImage(image).scaled(
        PICTURE_PX, PICTURE_PX, Qt.AspectRatioMode.KeepAspectRatio,
        Qt.TransformationMode.SmoothTransformation,
    )  # fmt: skip
    scale = pixmap.width() / max(grid.cols, 1)
    painter = QPainter(pixmap)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setFont(style.font(15, bold=True))
    painter.setPen(QPen(style.FOCUS, 2.0))
    if question == "tongue":
        upper = inner_side(session.plan.known_jaw) == "palatal"
        _write(painter, QPointF(8, pixmap.height() / 2), "palate?" if upper else "tongue?")
        _write(painter, QPointF(pixmap.width() - 76, pixmap.height() / 2), "cheek?")
    else:
        line = arch.curve.polyline(0.05)[1]
        painter.drawPolyline(QPolygonF([_pixel(grid, p, scale) for p in line]))
        marks = session.plan.arch_points
        ends = () if marks is None or question == "teeth" else ((marks[0], "A"), (marks[-1], "B"))
        for place, letter in ends:
            _write(painter, _pixel(grid, place, scale) + QPointF(6, -6), letter)
    painter.end()
    return pixmap


def _write(painter: QPainter, at: QPointF, words: str) -> None:
    painter.drawText(at, words)


def _pixel(grid: PictureGrid, place_mm: Array, scale: float) -> QPointF:
    """Where a patient point falls on the scaled picture; its rows run downwards."""
    off = place_mm - grid.origin
    col = float(off @ grid.right) / grid.pixel_mm + (grid.cols - 1) / 2
    row = (grid.rows - 1) / 2 - float(off @ grid.up) / grid.pixel_mm
    return QPointF((col + 0.5) * scale, (row + 0.5) * scale)
