"""The main window: opens scans, holds the pages, and is the desk that tools and panels talk to."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from PySide6.QtCore import QEvent, Qt, QTimer
from PySide6.QtGui import (
    QCloseEvent,
    QDragEnterEvent,
    QDropEvent,
    QGuiApplication,
    QKeyEvent,
    QKeySequence,
    QShortcut,
)
from PySide6.QtWidgets import (
    QAbstractButton,
    QLabel,
    QMainWindow,
    QPushButton,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

import sample_volumes
from app.background.tasks import pool
from app.case.attestations import now_iso
from app.case.grey_presets import FROM_SCAN
from app.case.loading import Contents, Loaded, Loading, LoadingPage, is_plan_file
from app.case.record import CaseRecord
from app.case.saving import Saving
from app.case.session import Session
from app.case.settings import settings_of, with_practice_limits
from app.case.store import CaseStore
from app.dialogs.answers.side_question import ask_about_side, ask_if_open
from app.dialogs.open_from_archive import show_open_from_archive
from app.guide.steps import SAMPLE, is_sample
from app.pictures.copy import copied_view, picture_with_caption
from app.pictures.in_step import Pictures
from app.pictures.picture_view import PictureView
from app.tools.catalogue import TOOLS
from app.widgets import messages, style
from app.widgets.file_windows import ask_folder, ask_open, ask_save
from app.window.crash_recovery import (
    TAKE_OVER,
    CaseNotice,
    ask_of_open_case,
    kept_troubles,
    reading_words,
)
from app.window.menus import Menus
from app.window.picture_room import PictureRoom
from app.window.series_chooser import SeriesChooser
from app.window.start import Start
from app.window.tool_controller import ToolHub
from app.window.working_page import WorkingPage
from core.errors import SoundingError
from core.plans.plan import Plan
from core.plans.plan_file import tied_to_volume
from core.words.catalogue import say

SAID_MS = 8_000


class Bench(QMainWindow):
    """The window of the program; it is the `Desk` of tools and panels.

    Parameters
    ----------
    cases : Path, optional
        Folder of kept cases; the user's own when left out.
    """

    def __init__(self, cases: Path | None = None) -> None:
        super().__init__()
        self.setWindowTitle(say("window.bench.sounding"))
        style.load_fonts()
        self.setStyleSheet(style.STYLE_SHEET)
        self.setMinimumSize(1024, 680)
        self.setAcceptDrops(True)
        self.session = Session(self)
        self.settings = settings_of(self.session)
        self.store = CaseStore(self.session, cases)
        self.loading = Loading(self)
        self.saving = Saving(self.session, self)
        self.pictures = Pictures(self.session, self)
        self.hub = ToolHub(
            [tool(self.session, self) for tool in TOOLS], self.session, self.pictures, self, self
        )
        self._taken_up: CaseRecord | None = None
        self._plan_file = self._reading = ""
        self._over = False
        self._guided = False
        self._windows: dict[str, tuple[float, float]] = {}
        self._boxes: list[QWidget] = []
        self._make_pages()
        self.room = PictureRoom(self.work, self.pictures, self)
        self._make_foot()
        self.menus = Menus(self, self)
        self._connect()
        self._leave_focus_to_pictures()
        self.show_start()

    # -- pages ---------------------------------------------------------------------------

    def _make_pages(self) -> None:
        self.start = Start()
        self.loading_page = LoadingPage(self.loading)
        self.chooser = SeriesChooser()
        self.work = WorkingPage(self.session, self.pictures, self.hub, self)
        self.pages = QStackedWidget()
        for page in (self.start, self.loading_page, self.chooser, self.work):
            self.pages.addWidget(page)
        middle = QWidget()
        column = QVBoxLayout(middle)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        self.notice = CaseNotice(self.store)
        column.addWidget(self.notice)
        column.addWidget(self.pages, 1)
        self.setCentralWidget(middle)

    def _make_foot(self) -> None:
        self.hint = QLabel("")
        self.hint.setObjectName("quiet")
        self.said = QLabel("")
        self.take_back = QPushButton(say("window.bench.undo"))
        self.take_back.setObjectName("fold")
        self.take_back.clicked.connect(self.session.undo_stack.undo)
        self.take_back.hide()
        foot = self.statusBar()
        foot.setSizeGripEnabled(False)
        foot.addWidget(self.said)
        foot.addWidget(self.take_back)
        self.preparing = QLabel("")
        foot.addPermanentWidget(self.preparing)
        foot.addPermanentWidget(self.hint)
        foot.setContentsMargins(8, 0, 10, 0)
        self._hush = QTimer(self, interval=SAID_MS, singleShot=True)
        self._hush.timeout.connect(lambda: self.say(""))

    def _connect(self) -> None:
        start, loading = self.start, self.loading
        start.open_folder.connect(self.ask_folder)
        start.open_file.connect(self.ask_file)
        start.open_plan.connect(self.ask_plan)
        start.open_archive.connect(self.ask_archive)
        start.open_sample.connect(self.open_guided)
        start.open_recent.connect(self.take_up)
        start.names_hidden.connect(lambda hidden: self.settings.remember(names_hidden=hidden))
        loading.began.connect(lambda _what: self.pages.setCurrentWidget(self.loading_page))
        loading.must_choose.connect(self._choose)
        loading.loaded.connect(self._loaded)
        loading.failed.connect(self._not_loaded)
        self.loading_page.cancelled.connect(self._give_up)
        self.chooser.chosen.connect(loading.take)
        self.chooser.cancelled.connect(self.show_start)
        self.saving.saved.connect(self._plan_saved)
        self.saving.failed.connect(self.tell_error)
        self.pictures.failed.connect(self.tell_error)
        self.session.plan_changed.connect(self._plan_changed)
        for signal in (self.session.plan_changed, self.session.plan_previewed,
                       self.session.scan_changed):  # fmt: skip
            signal.connect(self._warn)
        self.session.refused.connect(self.say)
        for view in self.pictures.views:
            view.stepped.connect(self.session.step)
        self.hub.changed.connect(self._read_hint)
        for keys, way in (("F6", 1), ("Shift+F6", -1)):
            shortcut = QShortcut(QKeySequence(keys), self)
            shortcut.activated.connect(partial(self._next_part, way))

    def _leave_focus_to_pictures(self) -> None:
        """Buttons take the focus by Tab only: a pressed one must not take the arrows away."""
        for button in self.findChildren(QAbstractButton):
            if button.focusPolicy() == Qt.FocusPolicy.StrongFocus:
                button.setFocusPolicy(Qt.FocusPolicy.TabFocus)

    def show_start(self) -> None:
        """The first screen, or back to the open case."""
        if self.session.volume is not None:
            self.pages.setCurrentWidget(self.work)
            return
        self.start.show_recent(
            self.store.recent(),
            hidden=self.settings.value.names_hidden,
            left_open=self.store.left_open(),
        )
        self.pages.setCurrentWidget(self.start)
        self.hint.setText("")
        self.start.tell_troubles(kept_troubles(self.store, self.settings))

    # -- opening -------------------------------------------------------------------------

    def ask_folder(self) -> None:
        """Open the folder of an export."""
        if path := ask_folder(self, say("window.bench.folder-of-the-scan"), "scan"):
            self.open_path(path)

    def ask_file(self) -> None:
        """Open a file or zip of an export."""
        if path := ask_open(self, say("window.bench.file-or-zip-of-the"), "scan"):
            self.open_path(path)

    def ask_archive(self) -> None:
        """Look up a scan in an archive and open it."""
        show_open_from_archive(self.session, self, self, self.open_path)

    def ask_plan(self) -> None:
        """Open a plan file, then its scan."""
        path = ask_open(self, "Plan", "plan", "Plans (*.plan.json *.json)")
        if path:
            self.open_path(path)

    def open_path(self, path: str) -> None:
        """Open whatever a path is: a scan, or a plan whose scan is then asked for."""
        if not is_plan_file(path):
            self._open(path)
            return
        kept = [r for r in self.store.recent() if r.plan_file == str(Path(path).resolve())]
        source = kept[0].source if kept and Path(kept[0].source).exists() else ""
        if not source:
            source = ask_folder(self, say("window.bench.folder-of-the-scan-of"), "scan")
        if source:
            self._open(source, plan=path, plan_file=str(Path(path).resolve()))

    def open_sample(self) -> None:
        """Open the sample scan without its plan: the case starts from nothing."""
        self._open(str(sample_volumes.path(SAMPLE)))

    def open_guided(self) -> None:
        """The guided first case, on the sample scan; another open case is kept and closed."""
        if self.session.volume is not None and not is_sample(self.session.source):
            question = say("window.bench.the-guided-case-works-on")
            if (
                self.choose(
                    say("window.bench.guided-first-case"),
                    question,
                    (say("window.bench.open-the-sample"),),
                )
                is None
            ):
                return
        if is_sample(self.session.source):
            self.work.guide.begin()
            return
        self._guided = True
        self.open_sample()

    def take_up(self, record: CaseRecord) -> None:
        """Go on with a kept case."""
        if not Path(record.source).exists():
            self.say(say("window.bench.the-scan-of-this-case"))
            source = ask_folder(self, say("window.bench.folder-of-the-scan-of-2"), "scan")
            if not source:
                return
        else:
            source = record.source
        holder = self.store.holder(record)
        over = False
        if holder is not None:
            answer = ask_of_open_case(self.choose, holder)
            if answer is None:
                return
            over = answer == str(TAKE_OVER)
        try:
            plan = self.store.plan_of(record)
        except SoundingError as error:
            self.tell_error(error)
            return
        reading = "" if holder is None or over else reading_words(holder)
        self._open(source, plan=plan, record=record, reading=reading, over=over)

    def _open(
        self,
        path: str,
        *,
        plan: Plan | str | None = None,
        record: CaseRecord | None = None,
        plan_file: str = "",
        reading: str = "",
        over: bool = False,
    ) -> None:
        self._taken_up, self._plan_file = record, plan_file
        self._reading, self._over = reading, over
        self.loading.open(path, plan)

    def _choose(self, contents: Contents) -> None:
        self.chooser.show_contents(contents)
        self.pages.setCurrentWidget(self.chooser)

    def _give_up(self) -> None:
        self.loading.cancel()
        self.show_start()

    def _not_loaded(self, error: Exception) -> None:
        self.show_start()
        self.tell_error(error)

    def _loaded(self, loaded: Loaded) -> None:
        if not self._let_go():
            self.show_start()
            return
        self.notice.clear()
        settings = self.settings.value
        plan = loaded.plan
        if plan is None:
            plan = tied_to_volume(Plan(), loaded.volume)
            plan = with_practice_limits(plan, settings, at=now_iso())
        elif plan.scan is not None:
            plan = tied_to_volume(plan, loaded.volume)
        self._windows = loaded.windows
        self.say("")
        self.session.operator = settings.initials
        self.pages.setCurrentWidget(self.work)
        self.session.open(
            loaded.volume,
            plan,
            loaded.proposal,
            source=loaded.path,
            window=loaded.windows.get(settings.window, loaded.windows[FROM_SCAN]),
            reading=self._reading,
        )
        if self._reading:
            self.notice.tell(self._reading)
        else:
            self.store.begin(self._taken_up, plan_file=self._plan_file, over=self._over)
        self.pictures.section.setFocus()
        self._read_hint()
        if self._guided and is_sample(loaded.path):
            self.work.guide.begin()
        self._guided = False

    def close_case(self) -> None:
        """Back to the start screen."""
        if not self._let_go():
            return
        self.session.close()
        self.notice.clear()
        self.show_start()

    # -- saving --------------------------------------------------------------------------

    def ask_save_plan(self) -> None:
        """Save the plan as a file of the user's own."""
        path = ask_save(
            self, say("window.bench.save-the-plan"), "plan", "case.plan.json", "Plans (*.plan.json)"
        )
        if path:
            self.saving.save(path if path.endswith(".json") else f"{path}.plan.json")

    def _plan_saved(self, path: str) -> None:
        self.store.saved_as(Path(path).resolve())
        self.say(say("window.bench.the-plan-is-in", path=path))

    def _let_go(self) -> bool:
        """Write the last state of the open case; False where it cannot be and it is kept open."""
        if self.store.finish():
            return True
        question = say("window.bench.the-last-state-of-the")
        if self.choose("Sounding", question, ("Leave",)) != "Leave":
            return False
        # Another case must never be written in the place of this one.
        self.store.abandon()
        return True

    # -- looking -------------------------------------------------------------------------

    def use_window(self, name: str) -> None:
        """Take a grey window by its name."""
        if name in self._windows:
            self.session.look_through(window=self._windows[name])

    def scale_section(self, times: float) -> None:
        """Show the section a number of times as large as life, by the screen's own figures."""
        dots_per_mm = self.screen().physicalDotsPerInchX() / 25.4
        self.pictures.section.zoom_to(times * dots_per_mm)

    def through_axis(self) -> None:
        """Show the plane through the fixture's axis."""
        fixture, arch = self.session.fixture, self.session.arch
        if fixture is None or arch is None:
            self.say(say("window.bench.there-is-no-fixture-yet"))
            return
        turn = 0.0 if self.session.turn_deg is None else self.session.turn_deg
        self.session.go_to(station_mm=arch.station(fixture.platform), turn_deg=turn)

    def copy_picture(self, *, with_name: bool = False) -> None:
        """Put the picture with the focus on the clipboard, without a name unless it is wished."""
        views = (*self.pictures.views, *self.work.strip.cuts.views)
        view = copied_view(views, otherwise=self.pictures.section)
        if not view.has_picture:
            self.say(say("window.bench.there-is-no-picture-to"))
            return
        picture = picture_with_caption(view, self.session, with_name=with_name)
        QGuiApplication.clipboard().setImage(picture)
        self.say(
            say("window.bench.copied-with-name")
            if with_name
            else say("window.bench.copied-without-name")
        )

    # -- the desk ------------------------------------------------------------------------

    def say(self, text: str, *, undo: bool = False) -> None:
        """Say one line at the foot of the window; with `undo` it offers to take it back."""
        self.said.setText(text)
        self.take_back.setVisible(bool(text) and undo)
        self._hush.start()

    def choose(self, title: str, question: str, answers: Sequence[str]) -> str | None:
        """Ask with a button an answer; None when the person turned away."""
        return messages.choose(self, title, question, answers)

    def ask_about_side(self, *, only_if_open: bool = False) -> None:
        """Ask what tells left from right; with `only_if_open` not where it is settled."""
        if only_if_open:
            ask_if_open(self.session, self)
        else:
            ask_about_side(self.session, self, self)

    def ask_text(
        self,
        title: str,
        question: str,
        value: str = "",
        explain: Callable[[str], str] | None = None,
    ) -> str | None:
        """Ask for a line of text; None when the person turned away."""
        return messages.ask_text(self, title, question, value, explain)

    def tell_error(self, error: Exception) -> None:
        """Say what happened, why it matters and what to do; details fold out."""
        box = messages.error_box(self, error)
        self._boxes.append(box)
        box.finished.connect(lambda _result: self._boxes.remove(box))
        box.open()

    def take_tool(self, name: str, wanted: str = "") -> None:
        """Make another tool the active one."""
        self.hub.take(name, wanted)

    def redraw(self) -> None:
        """Ask the active tool's draft and its line at the foot again: both follow its state."""
        self.hub.redraw()
        self._read_hint()

    def _plan_changed(self, text: str) -> None:
        if text:
            undone = self.session.went_back
            self.say(text if undone else f"{text[:1].upper()}{text[1:]}", undo=not undone)
        self._read_hint()

    def _warn(self) -> None:
        """A contradicted side stands on the window and on every picture."""
        warning = self.session.side.warning
        self.setWindowTitle(
            say("window.bench.sounding-2", warning=warning.upper())
            if warning
            else say("window.bench.sounding")
        )
        for view in self.findChildren(PictureView):
            if view.warning != warning:
                view.warning = warning
                view.update()

    def _next_part(self, way: int) -> None:
        if self.pages.currentWidget() is self.work:
            self.work.focus_next(way)

    def _read_hint(self) -> None:
        self.hint.setText(self.hub.active.hint() if self.session.volume is not None else "")

    # -- events --------------------------------------------------------------------------

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """The active tool first; then stepping, and the letters of the tools."""
        if self.pages.currentWidget() is not self.work or self.hub.key(event):
            return
        if self._step(event):
            return
        if self.room.press(event):
            self.hint.setText(say("window.bench.drawings-hidden"))
            return
        letter = event.text().upper()
        for tool in self.hub.tools.values():
            if letter and tool.key_hint == letter:
                self.take_tool(tool.name)
                return
        super().keyPressEvent(event)

    def keyReleaseEvent(self, event: QKeyEvent) -> None:
        """What was hidden while a key was held is there again."""
        if self.room.release(event):
            self._read_hint()
            return
        super().keyReleaseEvent(event)

    def changeEvent(self, event: QEvent) -> None:
        """A key that is let go in another window is never told here."""
        if event.type() == QEvent.Type.ActivationChange and not self.isActiveWindow():
            self.room.show_drawn(shown=True)
            self._read_hint()
        super().changeEvent(event)

    def _step(self, event: QKeyEvent) -> bool:
        held = event.modifiers() & ~style.KEYPAD
        way = style.STEPS.get(Qt.Key(event.key()))
        if held not in (style.NO_KEY, style.SHIFT) or way is None:
            return False
        self.session.step(way * (5 if held == style.SHIFT else 1))
        return True

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Take folders and files."""
        if any(url.isLocalFile() for url in event.mimeData().urls()):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        """Open what was dropped."""
        paths = [url.toLocalFile() for url in event.mimeData().urls() if url.isLocalFile()]
        if paths:
            event.acceptProposedAction()
            self.open_path(paths[0])

    def closeEvent(self, event: QCloseEvent) -> None:
        """Write the last state, and let the workers end."""
        if not self._let_go():
            event.ignore()
            return
        self.loading.cancel()
        self.pictures.stop()
        self.session.close()
        pool().waitForDone(5_000)
        super().closeEvent(event)
