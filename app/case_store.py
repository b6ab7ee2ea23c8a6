"""Keeps every case while it is worked on: saved after each change, offered back after a crash.

One folder a case in the user's data folder, named by chance so that no name of a patient is in a
path: ``case.plan.json`` (the plan with its history) and ``case.json`` (where the scan and the
user's own plan file are, whose scan it is, whether the case was closed). A lock file says that a
running program has the case open; a dead program's lock is taken over.
"""

from __future__ import annotations

import contextlib
import json
import logging
import secrets
import shutil
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from platformdirs import user_data_path
from PySide6.QtCore import QLockFile, QObject, QRunnable, QThreadPool, QTimer, Signal

from app.answers import now_iso
from app.session import Session
from core.atomic import write_whole
from core.errors import OutputError, PlanError, SoundingError
from core.image.volume import Volume
from core.plans.plan import Plan
from core.plans.plan_file import load_plan, save_plan, tied_to_volume

log = logging.getLogger("sounding.cases")

MOST_CASES = 30
"""Older closed cases without unsaved work are forgotten."""

AGAIN_MS = 5_000
"""After a failed save it is tried again this often: a full disk may be emptied meanwhile."""

PLAN, ABOUT, LOCK = "case.plan.json", "case.json", "open.lock"


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseRecord:
    """What is known about a kept case.

    Parameters
    ----------
    key : str
        Name of its folder.
    source : str
        Folder, file or zip of the scan.
    series : str
        Series UID within the source.
    plan_file : str
        The user's own plan file, where the plan was saved or opened by hand.
    patient, tooth : str
        For the list of recent cases; shown only while names are not hidden.
    changed : str
        ISO 8601, the last change.
    closed : bool
        False while it is open, and after a crash.
    """

    key: str
    source: str = ""
    series: str = ""
    plan_file: str = ""
    patient: str = ""
    tooth: str = ""
    scanned: str = ""
    changed: str = ""
    closed: bool = False


def cases_folder() -> Path:
    """Where the cases are kept."""
    return user_data_path("sounding", appauthor=False) / "cases"


class CaseStore(QObject):
    """Saves the session's plan after every change, in a worker of its own.

    Signals
    -------
    saved
        Everything up to now is on the disk.
    failed(message)
        It is not: the sentence says why and where the last good copy is. Tried again by itself.
    let_go
        The case is no longer kept here.
    """

    saved = Signal()
    failed = Signal(str)
    let_go = Signal()
    _written = Signal(object)

    def __init__(self, session: Session, folder: Path | None = None) -> None:
        super().__init__(session)
        self.folder = cases_folder() if folder is None else folder
        self.record: CaseRecord | None = None
        self._session = session
        self._lock: QLockFile | None = None
        self._saved_plan: Plan | None = None
        # A pool of its own with one thread: saves come in order, and measuring never delays them.
        self._pool = QThreadPool(self)
        self._pool.setMaxThreadCount(1)
        self._again = QTimer(self, interval=AGAIN_MS, singleShot=True)
        self._again.timeout.connect(self.save)
        self._written.connect(self._heard)
        session.plan_changed.connect(self._changed)

    # -- the open case ------------------------------------------------------------------------

    def begin(self, record: CaseRecord | None = None, *, plan_file: str = "") -> None:
        """Start keeping the session's case: a new one, or a kept one taken up again."""
        self.finish()
        if record is None:
            record = CaseRecord(key=secrets.token_hex(8), plan_file=plan_file)
        self.record = replace(record, closed=False)
        try:
            self._place.mkdir(parents=True, exist_ok=True)
            self._lock = QLockFile(str(self._place / LOCK))
            self._lock.setStaleLockTime(0)
            self._lock.tryLock(0)
        except OSError as error:
            self.failed.emit(_told(error, self._place))
        self.save()

    def saved_as(self, path: Path) -> None:
        """The user saved the plan as a file of their own."""
        if self.record is not None:
            self.record = replace(self.record, plan_file=str(path))
            self.save()

    def save(self) -> None:
        """Write the plan as it is now; returns at once."""
        if self.record is None:
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
        plan, place, done = session.plan, self._place, self._written
        tied = _tied(plan, session.volume)
        self._pool.start(
            _Save(lambda: _write(place, record, tied()), lambda e: done.emit((plan, e)))
        )

    def finish(self) -> bool:
        """Close the case in order; False when its last state could not be written."""
        if self.record is None:
            return True
        self._again.stop()
        self._pool.waitForDone()
        record = replace(self.record, closed=True)
        tied = _tied(self._session.plan, self._session.volume)
        problem = _attempt(lambda: _write(self._place, record, tied()))
        if problem is not None:
            self.failed.emit(_told(problem, self._place))
            return False
        self.abandon()
        self._forget_old()
        return True

    def abandon(self) -> None:
        """Let go of the case without writing: what is on the disk stays as it was."""
        self._again.stop()
        self._pool.waitForDone()
        if self._lock is not None:
            self._lock.unlock()
        self.record = self._lock = self._saved_plan = None
        self.let_go.emit()

    @property
    def all_saved(self) -> bool:
        """True when the plan as it is now is on the disk."""
        return self.record is None or self._saved_plan is self._session.plan

    def wait(self) -> None:
        """Wait until what was asked is written (at the end of the program, and in tests)."""
        self._pool.waitForDone()

    @property
    def _place(self) -> Path:
        if self.record is None:
            raise RuntimeError("no case is open")
        return self.folder / self.record.key

    def _changed(self, _text: str) -> None:
        self.save()

    def _heard(self, result: tuple[Plan, Exception | None]) -> None:
        plan, problem = result
        if self.record is None:
            return
        if problem is None:
            self._again.stop()
            self._saved_plan = plan
            if plan is self._session.plan:
                self.saved.emit()
            return
        log.warning("autosave failed: %s", getattr(problem, "code", type(problem).__name__))
        self._again.start()
        self.failed.emit(_told(problem, self._place))

    # -- kept cases -----------------------------------------------------------------------------

    def recent(self) -> tuple[CaseRecord, ...]:
        """All kept cases, the last changed first."""
        try:
            records = [_read(place) for place in self.folder.iterdir() if place.is_dir()]
        except OSError:
            return ()
        known = [record for record in records if record is not None]
        return tuple(sorted(known, key=lambda r: r.changed, reverse=True))

    def left_open(self) -> tuple[CaseRecord, ...]:
        """Cases that a crash or a kill left open, and that no running program holds."""
        return tuple(r for r in self.recent() if not r.closed and not self._held(r))

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
        about = self.folder / record.key / ABOUT
        write_whole(about, _about(replace(record, closed=True)))

    def remove(self, record: CaseRecord) -> None:
        """Take a kept case off the list and the disk; scan and own plan files are not touched."""
        if not self._held(record):
            shutil.rmtree(self.folder / record.key, ignore_errors=True)

    def _held(self, record: CaseRecord) -> bool:
        if self.record is not None and record.key == self.record.key:
            return True
        lock = QLockFile(str(self.folder / record.key / LOCK))
        lock.setStaleLockTime(0)
        if lock.tryLock(0):
            lock.unlock()
            return False
        return lock.error() == QLockFile.LockError.LockFailedError

    def _forget_old(self) -> None:
        closed = [record for record in self.recent() if record.closed]
        for record in closed[MOST_CASES:]:
            self.remove(record)


class _Save(QRunnable):
    """One save; its end is reported, whatever it was."""

    def __init__(self, work: Callable[[], None], done: Callable[[Exception | None], None]) -> None:
        super().__init__()
        self._work = work
        self._done = done

    def run(self) -> None:
        """In the store's thread."""
        problem = _attempt(self._work)
        # At the program's end the store may be gone already.
        with contextlib.suppress(RuntimeError):
            self._done(problem)


def _attempt(work: Callable[[], None]) -> Exception | None:
    try:
        work()
    except (OSError, SoundingError) as error:
        return error
    return None


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


def _write(place: Path, record: CaseRecord, plan: Plan) -> None:
    place.mkdir(parents=True, exist_ok=True)
    save_plan(plan, place / PLAN)
    write_whole(place / ABOUT, _about(record))


def _about(record: CaseRecord) -> bytes:
    document = {"format": "sounding-case", **asdict(record)}
    return json.dumps(document, ensure_ascii=False, indent=1).encode("utf-8")


def _read(place: Path) -> CaseRecord | None:
    """A kept case; None for a folder that holds none or cannot be read."""
    try:
        document = json.loads((place / ABOUT).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    if not isinstance(document, dict) or document.get("format") != "sounding-case":
        return None
    texts = {
        name: str(document.get(name, ""))
        for name in ("source", "series", "plan_file", "patient", "tooth", "scanned", "changed")
    }
    return CaseRecord(key=place.name, closed=document.get("closed") is True, **texts)


def _told(problem: Exception, place: Path) -> str:
    """What happened, why it matters, what to do, and where the last good copy is."""
    if isinstance(problem, OutputError):
        what = str(problem)
    else:
        what = f"The folder {place} cannot be used."
    kept = place / PLAN
    last = (
        f"The last saved state is in {kept}."
        if kept.is_file()
        else "Nothing of this case is on the disk yet."
    )
    return (
        f"Your work is kept in this window but not saved. {what} {last} Make room or choose "
        "Save plan as … to put it elsewhere; saving is tried again by itself."
    )
