"""The folder of one open case and the right to write there: one window at a time.

``open.json`` names who holds the case, on which computer and since when; beside it lies a lock
file that the holder's process keeps locked while it lives, so that a crash frees the case. Somebody
else may take the case over by writing a name of their own there. Every writing first looks,
under a short lock, whether the case is still held and whether the plan on the disk is an earlier
state of the one to be written. Where not, nothing is replaced: the work goes on as a case of its
own, so that both states stay.
"""

from __future__ import annotations

import contextlib
import getpass
import json
import platform
import secrets
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from PySide6.QtCore import QLockFile

from app.case.attestations import now_iso
from app.case.own_files import (
    FILE_MODE,
    UNREADABLE,
    close_all,
    private_folder,
    read_kept,
    write_private,
)
from app.case.record import ABOUT, PLAN, CaseRecord, about
from core.atomic import write_whole
from core.errors import OutputError, SoundingError
from core.plans.history import continues
from core.plans.plan import Plan
from core.plans.plan_file import load_plan, save_plan
from core.words.catalogue import say

HOLDER = "open.json"
FORM = "sounding-open"
WRITING = "writing.lock"
WAIT_MS = 10_000
"""Another window writes for a few milliseconds; a disk may be slow."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Holder:
    """Who has a case open.

    Parameters
    ----------
    name, host : str
        As the operating system calls the person and the computer.
    since : str
        ISO 8601.
    token : str
        Names the holder's own lock file.
    """

    name: str
    host: str
    since: str
    token: str


def this_holder(name: str = "") -> Holder:
    """The person at this program, from now on; `name` before the operating system's."""
    if not name:
        with contextlib.suppress(OSError, KeyError, ImportError):
            name = getpass.getuser()
    return Holder(
        name=name or "Somebody",
        host=platform.node() or say("case.home.another-computer"),
        since=now_iso(),
        token=secrets.token_hex(8),
    )


def holder_of(place: Path) -> Holder | None:
    """Who has the case of a folder open in a living program; None: nobody."""
    holder = _named(place)
    return holder if holder is not None and _lives(place, holder) else None


class CaseHome:
    """Where the open case is kept; its writings come one after another.

    Parameters
    ----------
    cases : Path
        Folder of all cases.
    key : str
        Name of the case's own folder.
    holder : Holder
    """

    def __init__(self, cases: Path, key: str, holder: Holder) -> None:
        self.key = key
        self._cases = cases
        self._holder = holder
        self._lock: QLockFile | None = None
        self._seen: tuple[int, int, int] | None = None

    @property
    def place(self) -> Path:
        """The case's folder."""
        return self._cases / self.key

    def take(self, *, over: bool = False) -> bool:
        """Become the holder; False where somebody else is and is not to be taken over.

        Raises
        ------
        OutputError
            ``kept-folder``, ``case-busy``, or those of writing.
        """
        private_folder(self._cases)
        private_folder(self.place)
        with self._writing():
            other = holder_of(self.place)
            if other is not None and not over:
                return False
            if other is None:
                close_all(self.place)
                for stale in self.place.glob("open-*.lock"):
                    stale.unlink(missing_ok=True)
            self._lock = _lock_of(self.place, self._holder)
            self._lock.tryLock(0)
            document = {"format": FORM, **asdict(self._holder)}
            # Without waiting for the disk, in the window's thread: after a power cut it is over,
            # and that a holder lives is told by the lock.
            text = json.dumps(document, indent=1).encode("utf-8")
            write_private(self.place / HOLDER, text, lasting=False)
        return True

    def write(self, record: CaseRecord, plan: Plan) -> str:
        """Write record and plan; where that would undo somebody's work, as a case of its own.

        Returns
        -------
        str
            A sentence where the case had to move; empty where it is where it was.

        Raises
        ------
        OutputError
            When it cannot be written; what is on the disk stays as it was.
        """
        private_folder(self.place)
        with self._writing():
            why = self._in_the_way(plan)
            if not why:
                self._put(record, plan)
                return ""
        self._move()
        with self._writing():
            self._put(replace(record, key=self.key, apart_from=record.key), plan)
        return why

    def release(self) -> None:
        """Let the case go."""
        if self._lock is not None:
            self._lock.unlock()
            self._lock = None

    def _put(self, record: CaseRecord, plan: Plan) -> None:
        save_plan(plan, self.place / PLAN, mode=FILE_MODE)
        self._seen = _stamp(self.place / PLAN)
        write_whole(self.place / ABOUT, about(record), mode=FILE_MODE)

    def _in_the_way(self, plan: Plan) -> str:
        """Why the plan here must not be replaced; empty: it may be."""
        named = _named(self.place)
        if named is not None and named.token != self._holder.token and _lives(self.place, named):
            return str(SoundingError("case-taken-over", name=named.name, since=_short(named.since)))
        stamp = _stamp(self.place / PLAN)
        if stamp is None or stamp == self._seen:
            return ""
        try:
            earlier = load_plan(self.place / PLAN)
        except UNREADABLE:
            return str(SoundingError("case-changed-elsewhere"))
        return "" if continues(plan, earlier) else str(SoundingError("case-changed-elsewhere"))

    def _move(self) -> None:
        self.release()
        self.key = secrets.token_hex(8)
        self._holder = replace(self._holder, since=now_iso(), token=secrets.token_hex(8))
        self.take()

    @contextlib.contextmanager
    def _writing(self) -> Iterator[None]:
        lock = QLockFile(str(self.place / WRITING))
        lock.setStaleLockTime(0)  # only a dead process's lock is taken, whatever the clock says
        if not lock.tryLock(WAIT_MS) and lock.error() == QLockFile.LockError.LockFailedError:
            raise OutputError("case-busy", path=self.place)
        # Where there is no room for a lock there is none for a case: writing says so itself.
        try:
            yield
        finally:
            lock.unlock()


def _lock_of(place: Path, holder: Holder) -> QLockFile:
    lock = QLockFile(str(place / f"open-{holder.token}.lock"))
    lock.setStaleLockTime(0)
    return lock


def _named(place: Path) -> Holder | None:
    try:
        document = read_kept(place / HOLDER, FORM)
    except (FileNotFoundError, SoundingError):
        return None
    texts = {name: str(document.get(name, ""))[:200] for name in ("name", "host", "since")}
    token = document.get("token")
    if not isinstance(token, str) or not token.isalnum():
        return None
    return Holder(token=token, **texts)


def _lives(place: Path, holder: Holder) -> bool:
    if not (place / f"open-{holder.token}.lock").exists():
        return False
    lock = _lock_of(place, holder)
    if lock.tryLock(0):
        lock.unlock()
        return False
    return lock.error() == QLockFile.LockError.LockFailedError


def _stamp(path: Path) -> tuple[int, int, int] | None:
    """What changes whenever a file is replaced; the clock alone would not do."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_ino, found.st_mtime_ns, found.st_size


def _short(moment: str) -> str:
    return moment[:16].replace("T", " ")
