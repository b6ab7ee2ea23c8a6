"""How a case comes in: a folder, a file, an archive, a plan, a kept case, the guided sample."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QWidget

import sample_volumes
from app.case.attestations import now_iso
from app.case.grey_presets import FROM_SCAN
from app.case.loading import Loaded, Loading, is_plan_file
from app.case.record import CaseRecord
from app.case.session import Session
from app.case.settings import settings_of, with_practice_limits
from app.case.store import CaseStore
from app.dialogs.open_from_archive import show_open_from_archive
from app.guide.steps import SAMPLE, is_sample
from app.tools.base import Desk
from app.widgets.file_windows import ask_folder, ask_open
from app.window.crash_recovery import TAKE_OVER, ask_of_open_case, reading_words
from core.errors import SoundingError
from core.plans.plan import Plan
from core.plans.plan_file import tied_to_volume
from core.words.catalogue import say


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """What the case that is being read was asked as."""

    record: CaseRecord | None = None
    plan_file: str = ""
    reading: str = ""
    over: bool = False


class Opening(QObject):
    """Asks for a case, reads it, and puts it in the place of the one that is open.

    Parameters
    ----------
    session : Session
    store : CaseStore
    desk : Desk
        Asks and tells.
    window : QWidget
        Where the questions stand.

    Signals
    -------
    begins
        The case was read and is about to be the session's.
    opened(reading)
        It is; why nothing may be changed in it, empty: it may.
    guided
        The guided case is to begin on the sample scan.
    stayed
        What was read is not taken: the open case could not be let go.
    """

    begins = Signal()
    opened = Signal(str)
    guided = Signal()
    stayed = Signal()

    def __init__(self, session: Session, store: CaseStore, desk: Desk, window: QWidget) -> None:
        super().__init__(window)
        self._session = session
        self._store = store
        self._desk = desk
        self._window = window
        self._asked = _Asked()
        self._with_guide = False
        self.windows: dict[str, tuple[float, float]] = {}
        """Grey windows of the open scan, by their names."""
        self.loading = Loading(self)
        self.loading.loaded.connect(self._loaded)

    # -- asking --------------------------------------------------------------------------

    def ask_folder(self) -> None:
        """Open the folder of an export."""
        if path := ask_folder(self._window, say("window.opening.folder-of-the-scan"), "scan"):
            self.path(path)

    def ask_file(self) -> None:
        """Open a file or zip of an export."""
        if path := ask_open(self._window, say("window.opening.file-or-zip-of-the"), "scan"):
            self.path(path)

    def ask_archive(self) -> None:
        """Look up a scan in an archive and open it."""
        show_open_from_archive(self._session, self._desk, self._window, self.path)

    def ask_plan(self) -> None:
        """Open a plan file, then its scan."""
        path = ask_open(self._window, "Plan", "plan", "Plans (*.plan.json *.json)")
        if path:
            self.path(path)

    # -- opening -------------------------------------------------------------------------

    def path(self, path: str) -> None:
        """Open whatever a path is: a scan, or a plan whose scan is then asked for."""
        if not is_plan_file(path):
            self.scan(path)
            return
        plan_file = str(Path(path).resolve())
        kept = [r for r in self._store.recent() if r.plan_file == plan_file]
        source = kept[0].source if kept and Path(kept[0].source).exists() else ""
        if not source:
            source = ask_folder(self._window, say("window.opening.folder-of-the-scan-of"), "scan")
        if source:
            self._read(source, path, _Asked(plan_file=plan_file))

    def scan(self, path: str, plan: Plan | str | None = None) -> None:
        """Open a scan, with a plan for it or from nothing."""
        self._read(path, plan, _Asked())

    def sample(self) -> None:
        """Open the sample scan without its plan: the case starts from nothing."""
        self.scan(str(sample_volumes.path(SAMPLE)))

    def guided_case(self) -> None:
        """The guided first case, on the sample scan; another open case is kept and closed."""
        session = self._session
        if is_sample(session.source):
            self.guided.emit()
            return
        if session.volume is not None:
            title = say("window.opening.guided-first-case")
            question = say("window.opening.the-guided-case-works-on")
            if self._desk.choose(title, question, (say("window.opening.open-the-sample"),)) is None:
                return
        self._with_guide = True
        self.sample()

    def take_up(self, record: CaseRecord) -> None:
        """Go on with a kept case."""
        source = record.source
        if not Path(source).exists():
            self._desk.say(say("window.opening.the-scan-of-this-case"))
            source = ask_folder(self._window, say("window.opening.folder-of-the-scan-of-2"), "scan")
            if not source:
                return
        holder = self._store.holder(record)
        over = False
        if holder is not None:
            answer = ask_of_open_case(self._desk.choose, holder)
            if answer is None:
                return
            over = answer == str(TAKE_OVER)
        try:
            plan = self._store.plan_of(record)
        except SoundingError as error:
            self._desk.tell_error(error)
            return
        reading = "" if holder is None or over else reading_words(holder)
        self._read(source, plan, _Asked(record=record, reading=reading, over=over))

    def _read(self, path: str, plan: Plan | str | None, asked: _Asked) -> None:
        self._asked = asked
        self.loading.open(path, plan)

    def _loaded(self, loaded: Loaded) -> None:
        if not self.let_go():
            self.stayed.emit()
            return
        settings = settings_of(self._session).value
        plan = loaded.plan
        if plan is None:
            plan = tied_to_volume(Plan(), loaded.volume)
            plan = with_practice_limits(plan, settings, at=now_iso())
        elif plan.scan is not None:
            plan = tied_to_volume(plan, loaded.volume)
        self.windows = loaded.windows
        self._session.operator = settings.initials
        self.begins.emit()
        asked = self._asked
        self._session.open(
            loaded.volume,
            plan,
            loaded.proposal,
            source=loaded.path,
            window=loaded.windows.get(settings.window, loaded.windows[FROM_SCAN]),
            reading=asked.reading,
        )
        if not asked.reading:
            self._store.begin(asked.record, plan_file=asked.plan_file, over=asked.over)
        self.opened.emit(asked.reading)
        if self._with_guide and is_sample(loaded.path):
            self.guided.emit()
        self._with_guide = False

    # -- letting go ----------------------------------------------------------------------

    def let_go(self) -> bool:
        """Write the last state of the open case; False where it cannot be and it is kept open."""
        if self._store.finish():
            return True
        question = say("window.opening.the-last-state-of-the")
        if self._desk.choose("Sounding", question, ("Leave",)) != "Leave":
            return False
        # Another case must never be written in the place of this one.
        self._store.abandon()
        return True
