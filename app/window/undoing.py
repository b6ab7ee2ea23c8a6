"""Undo in the window: before a signature is taken back, it is asked."""

from __future__ import annotations

from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtWidgets import QWidget

from app.case.session import Session
from app.tools.base import Desk
from core.words.catalogue import say


def undo(session: Session, desk: Desk) -> None:
    """Undo the last step; what would take a signature away only when the person says so."""
    if session.undo_takes_signature:
        take = say("window.undoing.take-it-back")
        sign = session.plan.sign_off
        question = say("window.undoing.signed-by", name="" if sign is None else sign.name)
        if desk.choose(say("window.undoing.signature"), question, (take,)) != take:
            return
    session.undo_stack.undo()


class UndoAction(QAction):
    """The entry of the menu: it names the step, as the stack's own does, and asks."""

    def __init__(self, session: Session, desk: Desk, parent: QWidget) -> None:
        super().__init__(say("window.menus.undo"), parent)
        self._session = session
        self._desk = desk
        self.setShortcuts([QKeySequence("Ctrl+Z")])
        stack = session.undo_stack
        self.setEnabled(stack.canUndo())
        self.triggered.connect(self._undo)
        stack.canUndoChanged.connect(self.setEnabled)
        stack.undoTextChanged.connect(self._name)

    def _undo(self) -> None:
        undo(self._session, self._desk)

    def _name(self, step: str) -> None:
        self.setText(f"{say('window.menus.undo')} {step}".strip())
