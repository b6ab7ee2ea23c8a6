"""Asks which end of the traced arch is the patient's right: only a person can say."""

from __future__ import annotations

from app.session import Session
from app.tools.base import Desk
from core.errors import SoundingError
from core.plans.edit_pose import with_right_end

QUESTION = (
    "Which end of the traced arch is the patient’s right? Its stations stand on the arch map. "
    "Compare missing and crowned teeth with the patient or the chart first: left and right, cheek "
    "and tongue of every number follow your answer."
)


def ask_right_end(session: Session, desk: Desk) -> bool:
    """Ask and store the answer; True when one was given."""
    arch = session.arch
    if arch is None or session.plan.arch_points is None:
        desk.say("Trace the arch, or confirm the proposed one, first.")
        return False
    begin, end = "The end at 0 mm", f"The end at {arch.length_mm:.0f} mm"
    answer = desk.choose("The patient’s right", QUESTION, (begin, end))
    if answer is None:
        return False
    try:
        plan = with_right_end(session.plan, arch, begins=answer == begin)
    except SoundingError as error:
        desk.tell_error(error)
        return False
    session.apply(f"arch: {answer[0].lower()}{answer[1:]} is the patient’s right", plan)
    return True
