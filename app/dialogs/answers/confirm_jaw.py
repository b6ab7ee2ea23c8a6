"""Confirms what is proposed for a jaw; asks once more where the image speaks against it."""

from __future__ import annotations

from app.case.session import Session
from app.dialogs.answers.side_question import ask_if_open
from app.tools.base import Desk
from core.plans.plan import Jaw


def confirm_jaw(session: Session, desk: Desk, jaw: Jaw) -> None:
    """Take the proposal over for the jaw that a person named."""
    guess = None if session.proposal is None else session.proposal.jaw
    if session.plan.jaw is None and guess not in (None, jaw):
        question = (
            f"In the image it looks like the {guess} jaw. Heights, directions and limits of every "
            f"number are those of the jaw named here. Is it the {jaw} jaw all the same?"
        )
        if desk.choose("Which jaw", question, (f"It is the {jaw} jaw",)) is None:
            return
    session.confirm_proposal(jaw)
    ask_if_open(session, desk)
