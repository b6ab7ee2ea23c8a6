"""Keeps every case while it is worked on: saved after each change, offered back after a crash.

One folder a case in the user's data folder, named by chance so that no name of a patient is in a
path: ``case.plan.json`` (the plan with its history) and ``case.json`` (where the scan and the
user's own plan file are, whose scan it is, whether the case was closed). Who may write there:
`app.case.home`.
"""

from __future__ import annotations

import contextlib
import logging
import os
import secrets
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from platformdirs import user_data_path
from PySide6.QtCore import QObject, QRunnable, QThreadPool, QTimer, Signal

from app.case.attestations import now_iso
from app.case.home import CaseHome, Holder, holder_of, this_holder
from app.case.own_files import ASIDE, KeptFileError, close_all, removed, told_aside, write_private
from app.case.record import ABOUT, PLAN, CaseRecord, about, read_record
from app.case.session import Session
from core.errors import OutputError, PlanError, SoundingError
from core.image.volume import Volume
from core.plans.plan import Plan
from core.plans.plan_file import load_plan, tied_to_volume
from core.words.catalogue import say

log = logging.getLogger("sounding.cases")

MOST_CASES = 30
"""Older closed cases without unsaved work are forgotten."""

AGAIN_MS = 5_000
"""After a failed save it is tried again this often: a full disk may be emptied meanwhile."""


def cases_folder() -> Path:
    """Where the cases are kept."""
    return user_data_path("sounding", appauthor=False) / "cases"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Saved:
    """How one save ended."""

    plan: Plan
    problem: Exception | None = None
    moved: str = ""


class CaseStore(QObject):
    """Saves the session's plan after every change, in a worker of its own.

    Signals
    -------
    saved
        Everything up to now is on the disk.
    failed(message)
        It is not: the sentence says why and where the last good copy is. Tried again by itself.
    apart(message)
        Somebody else works on the case: this window's state is kept as a case of its own now.
    let_go
        The case is no longer kept here.
    """

    saved = Signal()
    failed = Signal(str)
    apart = Signal(str)
    let_go = Signal()
    _written = Signal(object)

    def __init__(self, session: Session, folder: Path | None = None) -> None:
        super().__init__(session)
        self.folder = cases_folder() if folder is None else folder
        self.record: CaseRecord | None = None
        self.troubles: tuple[str, ...] = ()
        """A sentence for each case that could not be read; shown by the first screen."""
        self._session = session
        self._home: CaseHome | None = None
        self._saved_plan: Plan | None = None
        # A pool of its own with one thread: saves come in order, and measuring never delays them.
        self._pool = QThreadPool(self)
        self._pool.setMaxThreadCount(1)
        self._again = QTimer(self, interval=AGAIN_MS, singleShot=True)
        self._again.timeout.connect(self.save)
        self._written.connect(self._heard)
        session.plan_changed.connect(self._changed)

    # -- the open case ------------------------------------------------------------------------

    def begin(
        self, record: CaseRecord | None = None, *, plan_file: str = "", over: bool = False
    ) -> None:
        """Start keeping the session's case: a new one, or a kept one taken up again.

        With `over` it is taken over from whoever has it open; their window keeps its own state.
        """
        self.finish()
        if record is None:
            record = CaseRecord(key=secrets.token_hex(8), plan_file=plan_file)
        self.record = replace(record, closed=False)
        holder = this_holder(self._session.operator)
        self._home = CaseHome(self.folder, record.key, holder)
        try:
            if not self._home.take(over=over):
                # Somebody opened it between the question and now: this window keeps a copy.
                key = secrets.token_hex(8)
                self.record = replace(self.record, key=key, apart_from=record.key)
                self._home = CaseHome(self.folder, key, holder)
                self._home.take()
        except SoundingError as error:
            self.failed.emit(_told(error, self._home.place))
        self.save()

    def saved_as(self, path: Path) -> None:
        """The user saved the plan as a file of their own."""
        if self.record is not None:
            self.record = replace(self.record, plan_file=str(path))
            self.save()

    def save(self) -> None:
        """Write the plan as it is now; returns at once."""
        if self.record is None or self._home is None:
            return
        session = self._session
        identity = None if session.volume is None else session.volume.identity
        tooth = session.tooth_here
        record = self.record = replace(
            self.record,
            source=session.source or self.record.source,
            series=self.record.series if identity is None else identity.series_uid,
            patient=self.record.patient if identity is None else identity.patient_name,
            scanned=self.record.scanned if identity is None else identity.study_date,
            tooth=tooth or self.record.tooth,
            changed=now_iso(),
        )
        plan, home = session.plan, self._home
        tied = _tied(plan, session.volume)

        def work() -> _Saved:
            moved, problem = _attempt(lambda: home.write(replace(record, key=home.key), tied()))
            return _Saved(plan=plan, problem=problem, moved=moved)

        self._pool.start(_Save(work, self._written.emit))

    def finish(self) -> bool:
        """Close the case in order; False when its last state could not be written."""
        if self.record is None or self._home is None:
            return True
        self._again.stop()
        self._pool.waitForDone()
        record, home = replace(self.record, key=self._home.key, closed=True), self._home
        tied = _tied(self._session.plan, self._session.volume)
        moved, problem = _attempt(lambda: home.write(record, tied()))
        if moved:
            self.apart.emit(moved)
        if problem is not None:
            self.failed.emit(_told(problem, home.place))
            return False
        self.abandon()
        self._forget_old()
        return True

    def abandon(self) -> None:
        """Let go of the case without writing: what is on the disk stays as it was."""
        self._again.stop()
        self._pool.waitForDone()
        if self._home is not None:
            self._home.release()
        self.record = self._home = self._saved_plan = None
        self.let_go.emit()

    def wait(self) -> None:
        """Wait until what was asked is written (at the end of the program, and in tests)."""
        self._pool.waitForDone()

    def _changed(self, _text: str) -> None:
        self.save()

    def _heard(self, saved: _Saved) -> None:
        if self.record is None or self._home is None:
            return
        if saved.moved:
            self.record = replace(
                self.record, key=self._home.key, apart_from=self.record.key, plan_file=""
            )
            self.apart.emit(saved.moved)
        if saved.problem is None:
            self._again.stop()
            self._saved_plan = saved.plan
            if saved.plan is self._session.plan:
                self.saved.emit()
            return
        problem = saved.problem
        log.warning("autosave failed: %s", getattr(problem, "code", type(problem).__name__))
        self._again.start()
        self.failed.emit(_told(problem, self._home.place))

    # -- kept cases -----------------------------------------------------------------------------

    def recent(self) -> tuple[CaseRecord, ...]:
        """All kept cases, the last changed first; one that cannot be read is set aside."""
        return tuple(sorted(self._readable(), key=lambda r: r.changed, reverse=True))

    def _readable(self) -> list[CaseRecord]:
        try:
            places = sorted(self.folder.iterdir())
        except OSError:
            return []
        found: list[CaseRecord] = []
        for place in places:
            if ASIDE in place.name or not (place / ABOUT).exists():
                continue
            try:
                found.append(read_record(place))
            except FileNotFoundError:
                continue  # another window has just removed it
            except KeptFileError as error:
                self.troubles = (*self.troubles, told_aside(place, error))
        return found

    def tidy(self) -> None:
        """Close to others what older versions left open, and sweep up half-written files."""
        for record in self.recent():
            if not self.is_held(record):
                close_all(self.folder / record.key)

    def left_open(self) -> tuple[CaseRecord, ...]:
        """Cases that a crash or a kill left open, and that no running program holds."""
        return tuple(r for r in self.recent() if not r.closed and not self.is_held(r))

    def plan_of(self, record: CaseRecord) -> Plan:
        """The plan of a kept case as it was at the last save.

        Raises
        ------
        PlanError
            When it cannot be read.
        """
        return load_plan(self.folder / record.key / PLAN)

    def plan_path(self, record: CaseRecord) -> Path:
        """Where the kept plan of a case is, for messages."""
        return self.folder / record.key / PLAN

    def let_be(self, record: CaseRecord) -> None:
        """Do not offer a case back again; it stays in the list of recent cases."""
        path = self.folder / record.key / ABOUT
        write_private(path, about(replace(record, closed=True)))

    def remove(self, record: CaseRecord) -> None:
        """Take a kept case off the list and the disk; scan and own plan files are not touched."""
        if not self.is_held(record):
            removed(self.folder / record.key)

    def holder(self, record: CaseRecord) -> Holder | None:
        """Who else has a kept case open now; None: nobody."""
        if self.record is not None and record.key == self.record.key:
            return None
        return holder_of(self.folder / record.key)

    def is_held(self, record: CaseRecord) -> bool:
        """True while a kept case is open, here or elsewhere."""
        return holder_of(self.folder / record.key) is not None

    def _forget_old(self) -> None:
        closed = [record for record in self.recent() if record.closed]
        for record in closed[MOST_CASES:]:
            self.remove(record)


class _Save(QRunnable):
    """One save; its end is reported, whatever it was."""

    def __init__(self, work: Callable[[], _Saved], done: Callable[[_Saved], None]) -> None:
        super().__init__()
        self._work = work
        self._done = done

    def run(self) -> None:
        """In the store's thread."""
        saved = self._work()
        # At the program's end the store may be gone already.
        with contextlib.suppress(RuntimeError):
            self._done(saved)


def _attempt(work: Callable[[], str]) -> tuple[str, Exception | None]:
    try:
        return work(), None
    except Exception as error:  # noqa: BLE001  whatever it was, it must be told: work is at stake
        return "", error


def _tied(plan: Plan, volume: Volume | None) -> Callable[[], Plan]:
    """Ties a plan to its scan, voxels included, when it is written."""

    def tied() -> Plan:
        if volume is None:
            return plan
        # Work on another scan is kept as it is: it gives no number, but it is somebody's work.
        with contextlib.suppress(PlanError):
            return tied_to_volume(plan, volume)
        return plan

    return tied


def _told(problem: Exception, place: Path) -> str:
    """What happened, why it matters, what to do, and where the last good copy is."""
    if isinstance(problem, OutputError):
        what = str(problem)
    else:
        what = say("case.store.the-folder-cannot-be-used", place=place)
    kept = place / PLAN
    last = (
        say("case.store.the-last-saved-state-is", kept=kept)
        if os.path.isfile(kept)  # noqa: PTH113  where one may not look, that is no second fault
        else say("case.store.nothing-of-this-case-is")
    )
    return say("case.store.your-work-is-kept-in", what=what, last=last)
