"""Saves the plan as a file of the user's own, tied to its scan."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QObject, Signal

from app.background.tasks import Latest, Task
from app.case.session import Session
from core.errors import OutputError, PlanError
from core.plans.history import continues
from core.plans.plan import Plan
from core.plans.plan_file import load_plan, save_plan, tied_to_volume
from core.words.catalogue import message


class Saving(QObject):
    """Writes in a worker: a slow disk must not hold the window.

    Signals
    -------
    saved(path)
    failed(error)
    """

    saved = Signal(str)
    failed = Signal(object)

    def __init__(self, session: Session, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._work = Latest(self.saved.emit, self.failed.emit, parent=self)

    def save(self, path: str) -> None:
        """Write the plan as it is now."""
        plan, volume = self._session.plan, self._session.volume
        if volume is None:
            return

        def work(_task: Task) -> str:
            _refuse_to_undo(plan, Path(path))
            save_plan(tied_to_volume(plan, volume), Path(path))
            return path

        self._work.ask(work)


def _refuse_to_undo(plan: Plan, path: Path) -> None:
    """Refuse to replace a plan that somebody went on with since this one was read or saved."""
    try:
        there = load_plan(path)
    except PlanError:
        return  # nothing is there, or nothing that `save_plan` would replace
    if not continues(plan, there):
        last = there.history[-1].get("who") if there.history else None
        by = str(last) if last else message("case.saving.somebody")
        raise OutputError("output-plan-moved-on", path=path, revision=there.revision, by=by)
