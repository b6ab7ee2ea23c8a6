"""A picture of the bench as it leaves the program: with its letters, its bar, and what it is."""

from __future__ import annotations

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QFontMetricsF, QImage, QPainter
from PySide6.QtWidgets import QApplication

from app.case.attestations import now_iso
from app.case.session import Session
from app.pictures.picture_view import PictureView
from app.widgets import style
from app.widgets.shared_texts import state_words
from core.sheet.patient_words import patient_words
from core.version import PROGRAM
from core.words.catalogue import message, say

ONE_PICTURE = message("pictures.copy.one-picture-of-a-scan")
FRAME_PX = 2
"""Around the picture the bench draws where the focus is: that is no part of it."""
PAD_PX, LINE_PX = 8, 18


def copied_view(views: tuple[PictureView, ...], *, otherwise: PictureView) -> PictureView:
    """The picture with the focus, else the large one."""
    focus = QApplication.focusWidget()
    return next((view for view in views if view is focus), otherwise)


def picture_with_caption(view: PictureView, session: Session, *, with_name: bool) -> QImage:
    """What a view shows, with lines below that say what it is and whether anybody signed it.

    Parameters
    ----------
    with_name : bool
        Add name, birth date, ID and scan date; a person wishes that, the program never does.
    """
    shown = view.grab().toImage()
    ratio = shown.devicePixelRatio()
    frame = round(FRAME_PX * ratio)
    shown = shown.copy(frame, frame, shown.width() - 2 * frame, shown.height() - 2 * frame)
    width = shown.width() / ratio
    font = style.font(13)
    lines = [line for text in caption(view, session, with_name=with_name)
             for line in _wrapped(text, QFontMetricsF(font), width - 2 * PAD_PX)]  # fmt: skip
    height = shown.height() / ratio + LINE_PX * len(lines) + 2 * PAD_PX
    whole = QImage(round(width * ratio), round(height * ratio), QImage.Format.Format_RGB32)
    whole.setDevicePixelRatio(ratio)
    whole.fill(style.PICTURE)
    painter = QPainter(whole)
    painter.drawImage(QRectF(0, 0, width, shown.height() / ratio), shown)
    painter.setPen(style.TEXT)
    painter.setFont(font)
    for number, line in enumerate(lines):
        top = shown.height() / ratio + PAD_PX + LINE_PX * number
        area = QRectF(PAD_PX, top, width - 2 * PAD_PX, LINE_PX)
        painter.drawText(area, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, line)
    painter.end()
    return whole


def caption(view: PictureView, session: Session, *, with_name: bool) -> tuple[str, ...]:
    """The lines below a copied picture."""
    title = (
        view.title
        if view.kind != "neighbour"
        else say("pictures.copy.section-across-the-arch", title=view.title)
    )
    if view.warning:
        title = f"{view.warning.upper()} {title}"
    what = ", ".join(part for part in (title or view.kind.capitalize(), view.subtitle) if part)
    state = state_words(session.plan)
    signed = state if session.plan.sign_off else say("pictures.copy.not-signed-off", state=state)
    lines = [what, f"{signed}. {ONE_PICTURE}", PROGRAM]
    if with_name and session.volume is not None:
        who = patient_words(session.volume.identity, now_iso())
        lines.append(f"{who.name}, {who.birth}, {who.patient_id}, {who.scanned}")
    return tuple(lines)


def _wrapped(text: str, metrics: QFontMetricsF, width: float) -> list[str]:
    """A text in lines that are no wider than the picture."""
    lines: list[str] = []
    for word in text.split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and metrics.horizontalAdvance(longer) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines
