"""Faults that a practice's computer meets, done to real processes that keep a case.

Run as a program of its own, for it forks:
``python -m tests.app.case.fault_runs KIND COUNT FOLDER SEED``
prints one JSON object: how many runs there were, and a line for each that lost something.
"""

from __future__ import annotations

import json
import os
import random
import resource
import signal
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path

os.environ["QT_QPA_PLATFORM"] = "offscreen"

from PySide6.QtCore import QCoreApplication

from app.case.home import HOLDER, holder_of
from app.case.own_files import close_all
from app.case.record import PLAN, read_record
from app.case.store import CaseStore
from core.errors import ScanError
from core.plans.history import history_findings
from core.plans.plan_file import load_plan
from core.scan import open_scan
from tests.app.case_at_hand import QuietSession, all_saved, plan, volume
from tests.hostile import exports
from tests.hostile.oracle import fit

LAST_MS = 400
"""A process is killed at a moment of its work within this time."""

NOBODY = 65534


def child(work: Callable[[int], None]) -> tuple[int, int]:
    """Start a process of its own; returns its number and what it writes to."""
    reader, writer = os.pipe()
    number = os.fork()
    if number:
        os.close(writer)
        return number, reader
    status = 1
    try:
        os.close(reader)
        work(writer)
        status = 0
    except BaseException:
        traceback.print_exc()
        raise
    finally:
        os._exit(status)


def told(reader: int) -> list[str]:
    """Everything that a process wrote, once it has ended."""
    with os.fdopen(reader) as file:
        return file.read().split()


def opened(
    folder: Path, *, key: str = "", over: bool = False
) -> tuple[QCoreApplication, QuietSession, CaseStore]:
    """A session that is kept in a folder, as a window has it."""
    program = QCoreApplication([])
    session = QuietSession()
    kept = load_plan(folder / key / PLAN) if key else plan()
    session.open(volume(), kept, source="the export", window=(0.0, 1.0))
    store = CaseStore(session, folder)
    store.begin(read_record(folder / key) if key else None, over=over)
    store.wait()
    return program, session, store


def steps(session: QuietSession, store: CaseStore, writer: int, *, name: str, most: int) -> None:
    """Change and save again and again; each save that went well is told."""
    for number in range(most):
        session.apply("one more", plan(interpreted_by=f"{name}{number}"))
        store.wait()
        QCoreApplication.processEvents()
        if all_saved(store):
            os.write(writer, f"{name}{number}\n".encode())


def kept_in(folder: Path) -> dict[str, str]:
    """Who interpreted the volume, by the key of each kept case."""
    return {p.parent.name: load_plan(p).interpreted_by for p in folder.glob(f"*/{PLAN}")}


def killed(folder: Path, draw: random.Random) -> str:
    """Killed at any moment, a case is whole and no older than the last save that was told."""

    def work(writer: int) -> None:
        held = opened(folder)
        os.write(writer, b"begun\n")
        steps(held[1], held[2], writer, name="", most=10_000)

    number, reader = child(work)
    os.read(reader, 6)
    time.sleep(draw.uniform(0.0, LAST_MS / 1000))
    os.kill(number, signal.SIGKILL)
    os.waitpid(number, 0)
    saved = told(reader)
    (place,) = folder.iterdir()
    kept = load_plan(place / PLAN)
    last = int(saved[-1]) if saved else -1
    if int(kept.interpreted_by or "-1") < last:
        return f"kept {kept.interpreted_by}, but {last} was told to be saved"
    if history_findings(kept):
        return "the history has a gap"
    if read_record(place).closed or holder_of(place) is not None:
        return "the case is not offered back"
    close_all(place)
    left = [path.name for path in place.rglob("*.part")]
    return f"half-written files are left: {left}" if left else ""


def two_windows(folder: Path, draw: random.Random) -> str:
    """Two processes take a case from each other: the last state of both is kept.

    Kept as it is, or as what the other took up and went on with: whoever starts late on a busy
    machine finds a case that was closed in order.
    """
    first, reader = child(lambda writer: _make(folder))
    os.waitpid(first, 0)
    os.close(reader)
    (key,) = (place.name for place in folder.iterdir())
    seeds = [draw.random(), draw.random()]

    def work(name: str, seed: float) -> Callable[[int], None]:
        def inner(writer: int) -> None:
            time.sleep(seed * 0.1)
            held = opened(folder, key=key, over=True)
            os.write(writer, f"{held[1].plan.interpreted_by or 'nobody'}\n".encode())
            steps(held[1], held[2], writer, name=name, most=12)
            held[2].finish()

        return inner

    running = [child(work(name, seed)) for name, seed in zip("ab", seeds, strict=True)]
    ends = [os.waitpid(number, 0)[1] for number, _ in running]
    said = [told(reader) for _, reader in running]
    if any(ends):
        return f"a process ended with {ends}"
    kept = set(kept_in(folder).values())
    lost = []
    for own, other in (said, said[::-1]):
        gone_on_with = own[-1] == other[0] and other[-1] in kept
        if len(own) < 2 or not (own[-1] in kept or gone_on_with):
            lost.append(own[-1])
    return f"lost: {lost}; kept: {sorted(kept)}" if lost else ""


def _make(folder: Path) -> None:
    _, _, store = opened(folder)
    store.finish()


def _told_and_whole(folder: Path, spoil: Callable[[Path], None]) -> str:
    """With the disk spoilt a change is told not to be saved, and the last state stays."""

    def work(writer: int) -> None:
        held = opened(folder)
        _, session, store = held
        steps(session, store, writer, name="good", most=1)
        said: list[str] = []
        store.failed.connect(said.append)
        spoil(store.plan_path(store.record).parent)
        session.apply("one more", plan(interpreted_by="lost"))
        store.wait()
        QCoreApplication.processEvents()
        fine = bool(said) and "not saved" in said[0] and not all_saved(store)
        fine = fine and session.plan.interpreted_by == "lost"
        os.write(writer, b"told\n" if fine else b"silent\n")

    number, reader = child(work)
    os.waitpid(number, 0)
    lines = told(reader)
    kept = list(kept_in(folder).values())
    fine = lines == ["good0", "told"] and kept == ["good0"]
    return "" if fine else f"told {lines}, kept {kept}"


def full_disk(folder: Path, draw: random.Random) -> str:
    """No room for one more byte of the plan."""

    def spoil(_place: Path) -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (draw.randrange(0, 900), 10**9))

    return _told_and_whole(folder, spoil)


def read_only(folder: Path, draw: random.Random) -> str:
    """The folder turns read-only under an open case."""

    def spoil(place: Path) -> None:
        place.chmod(0o555)
        if os.geteuid() == 0:
            os.chmod(folder, 0o755)  # noqa: PTH101  as nobody, who owns none of it
            os.seteuid(NOBODY)

    return _told_and_whole(folder, spoil)


def clock_back(folder: Path, draw: random.Random) -> str:
    """Every file of a crashed case is of a time to come: it is taken up and saved all the same."""
    number, reader = child(lambda writer: steps(*opened(folder)[1:], writer, name="then", most=2))
    os.waitpid(number, 0)
    os.close(reader)
    (key,) = (place.name for place in folder.iterdir())
    ahead = time.time() + draw.uniform(1.0, 1e9)
    for path in (folder / key).rglob("*"):
        os.utime(path, (ahead, ahead))
    if not (folder / key / HOLDER).exists() or holder_of(folder / key) is not None:
        return "a dead process holds the case"

    def again(writer: int) -> None:
        held = opened(folder, key=key)
        steps(held[1], held[2], writer, name="now", most=2)
        held[2].finish()

    number, reader = child(again)
    os.waitpid(number, 0)
    lines, kept = told(reader), kept_in(folder)
    return "" if kept == {key: "now1"} and lines == ["now0", "now1"] else f"{lines}, {kept}"


def vanished(folder: Path, draw: random.Random) -> str:
    """The scan's files go one by one while it is read again and again: refused or right."""
    place, cases = folder / "scan", folder / "cases"
    place.mkdir()
    scan = exports.scan(draw)
    scan.write(place, draw)

    def work(writer: int) -> None:
        _, session, store = opened(cases)
        steps(session, store, writer, name="good", most=1)
        end = ""
        while not end:
            try:
                volume = open_scan(place)
            except ScanError as refusal:
                end = refusal.code
            else:
                end = "" if fit(volume, scan.truth)[0] else "wrong"
        os.write(writer, f"{end}\n".encode())
        steps(session, store, writer, name="then", most=1)
        store.finish()

    number, reader = child(work)
    os.read(reader, len("good0\n"))
    files = sorted(place.iterdir())
    draw.shuffle(files)
    time.sleep(draw.uniform(0.0, 0.05))
    for path in files:
        path.unlink()
        time.sleep(draw.uniform(0.0, 0.01))
    os.waitpid(number, 0)
    lines, kept = told(reader), list(kept_in(cases).values())
    refused = len(lines) == 2 and lines[0].startswith("scan_") and lines[1] == "then0"
    return "" if refused and kept == ["then0"] else f"told {lines}, kept {kept}"


KINDS: dict[str, Callable[[Path, random.Random], str]] = {
    "killed": killed,
    "two windows": two_windows,
    "full disk": full_disk,
    "read-only": read_only,
    "clock back": clock_back,
    "vanished scan": vanished,
}


def main(kind: str, count: str, folder: str, seed: str) -> None:
    """Do one kind of fault, again and again."""
    draw = random.Random(seed)
    lost = []
    for number in range(int(count)):
        place = Path(folder) / f"{kind}-{number}"
        place.mkdir(parents=True)
        problem = KINDS[kind](place, draw)
        if problem:
            lost.append(f"{number}: {problem}")
    sys.stdout.write(json.dumps({"kind": kind, "runs": int(count), "lost": lost}) + "\n")


if __name__ == "__main__":
    main(*sys.argv[1:])
