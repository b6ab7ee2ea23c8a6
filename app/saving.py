"""Saves the plan as a file of the user's own, tied to its scan."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QObject, Signal

from app.session import Session
from app.tasks import Latest, Task
from core.plans.plan_file import save_plan, tied_to_volume


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
            save_plan(tied_to_volume(plan, volume), Path(path))
            return path

        self._work.ask(work)
