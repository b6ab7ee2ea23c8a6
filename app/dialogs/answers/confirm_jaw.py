"""Confirms what is proposed for a jaw; asks once more where the image speaks against it."""

from __future__ import annotations

from app.case.session import Session
from app.dialogs.answers.side_question import ask_if_open
from app.tools.base import Desk
from app.tools.fixture import PlaceFixture
from core.plans.plan import Jaw
from core.words.catalogue import say


def confirm_jaw(session: Session, desk: Desk, jaw: Jaw) -> None:
    """Take the proposal over for the jaw that a person named."""
    guess = None if session.proposal is None else session.proposal.jaw
    if session.plan.jaw is None and guess not in (None, jaw):
        question = say("dialogs.answers.confirm_jaw.in-the-image-it-looks", guess=guess, jaw=jaw)
        if (
            desk.choose(
                say("dialogs.answers.confirm_jaw.which-jaw"),
                question,
                (say("dialogs.answers.confirm_jaw.it-is-the-jaw", jaw=jaw),),
            )
            is None
        ):
            return
    session.confirm_proposal(jaw)
    if session.confirmed and not session.plan.fixtures and not session.plan.sites:
        # What a case begins with: the gap is looked up and the fixture set with one tool.
        desk.take_tool(PlaceFixture.name)
    ask_if_open(session, desk)
