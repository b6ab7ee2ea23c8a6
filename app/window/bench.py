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

from app.background.tasks import pool
from app.case.loading import Contents, LoadingPage
from app.case.saving import Saving
from app.case.session import Session
from app.case.settings import settings_of
from app.case.store import CaseStore
from app.dialogs.answers.side_question import ask_about_side, ask_if_open
from app.pictures.copy import copied_view, picture_with_caption
from app.pictures.in_step import Pictures
from app.pictures.picture_view import PictureView
from app.tools.catalogue import TOOLS
from app.widgets import messages, style
from app.widgets.file_windows import ask_save
from app.window.crash_recovery import (
    CaseNotice,
    kept_troubles,
)
from app.window.menus import Menus
from app.window.opening import Opening
from app.window.picture_menu import PictureMenus
from app.window.picture_room import BARE_KEY, PictureRoom
from app.window.series_chooser import SeriesChooser
from app.window.start import Start
from app.window.tool_controller import ToolHub
from app.window.undoing import undo
from app.window.working_page import WorkingPage
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
        self.opening = Opening(self.session, self.store, self, self)
        self.saving = Saving(self.session, self)
        self.pictures = Pictures(self.session, self)
        self.hub = ToolHub(
            [tool(self.session, self) for tool in TOOLS], self.session, self.pictures, self, self
        )
        self._boxes: list[QWidget] = []
        self._make_pages()
        self.room = PictureRoom(self.work, self.pictures, self)
        self._make_foot()
        self.menus = Menus(self, self)
        self.picture_menus = PictureMenus(self, self.hub, self.menus)
        self._connect()
        self._leave_focus_to_pictures()
        self.show_start()

    # -- pages ---------------------------------------------------------------------------

    def _make_pages(self) -> None:
        self.start = Start()
        self.loading_page = LoadingPage(self.opening.loading)
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
        self.said = QLabel("")
        self.take_back = QPushButton(say("window.bench.undo"))
        self.take_back.setObjectName("fold")
        self.take_back.clicked.connect(lambda _on=False: undo(self.session, self))
        self.take_back.hide()
        foot = self.statusBar()
        foot.setSizeGripEnabled(False)
        foot.addWidget(self.said)
        foot.addWidget(self.take_back)
        self.preparing = QLabel("")
        foot.addPermanentWidget(self.preparing)
        foot.setContentsMargins(8, 0, 10, 0)
        self._hush = QTimer(self, interval=SAID_MS, singleShot=True)
        self._hush.timeout.connect(lambda: self.say(""))

    def _connect(self) -> None:
        start, opening, loading = self.start, self.opening, self.opening.loading
        start.open_folder.connect(opening.ask_folder)
        start.open_file.connect(opening.ask_file)
        start.open_plan.connect(opening.ask_plan)
        start.open_archive.connect(opening.ask_archive)
        start.open_sample.connect(opening.guided_case)
        start.open_recent.connect(opening.take_up)
        start.names_hidden.connect(lambda hidden: self.settings.remember(names_hidden=hidden))
        loading.began.connect(lambda _what: self.pages.setCurrentWidget(self.loading_page))
        loading.must_choose.connect(self._choose)
        loading.failed.connect(self._not_loaded)
        opening.begins.connect(self._begins)
        opening.opened.connect(self._opened)
        opening.guided.connect(self.work.guide.begin)
        opening.stayed.connect(self.show_start)
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
        self.work.hint.tell("")
        self.start.tell_troubles(kept_troubles(self.store, self.settings))

    # -- opening -------------------------------------------------------------------------

    def _choose(self, contents: Contents) -> None:
        self.chooser.show_contents(contents)
        self.pages.setCurrentWidget(self.chooser)

    def _give_up(self) -> None:
        self.opening.loading.cancel()
        self.show_start()

    def _not_loaded(self, error: Exception) -> None:
        self.show_start()
        self.tell_error(error)

    def _begins(self) -> None:
        self.notice.clear()
        self.say("")
        self.pages.setCurrentWidget(self.work)

    def _opened(self, reading: str) -> None:
        if reading:
            self.notice.tell(reading)
        self.pictures.section.setFocus()
        self._read_hint()

    def close_case(self) -> None:
        """Back to the start screen."""
        if not self.opening.let_go():
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

    # -- looking -------------------------------------------------------------------------

    def use_window(self, name: str) -> None:
        """Take a grey window by its name."""
        if name in self.opening.windows:
            self.session.look_through(window=self.opening.windows[name])

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

    def lead_on(self) -> None:
        """To what is missing next, once the tool that asks is done with this one."""
        QTimer.singleShot(0, self.work.next_mark.lead_on)

    def show_checks(self) -> None:
        """Unfold the scan checks."""
        self.work.folds["scan checks"].setChecked(True)

    def keys_to_section(self) -> None:
        """Let what is typed reach the section again: its keys are those of tool and fixture."""
        self.pictures.section.setFocus()

    def redraw(self) -> None:
        """Ask the active tool's draft and its sentence again: both follow its state."""
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
        words = self.hub.active.hint() if self.session.volume is not None else ""
        self.work.hint.tell(words)

    # -- events --------------------------------------------------------------------------

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """The active tool first; then stepping, and the letters of the tools."""
        if self.pages.currentWidget() is not self.work or self.hub.key(event):
            return
        if self._step(event):
            return
        if self.room.press(event):
            if event.key() == BARE_KEY:
                self.work.hint.tell(say("window.bench.drawings-hidden"))
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
            self.room.let_go()
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
            self.opening.path(paths[0])

    def closeEvent(self, event: QCloseEvent) -> None:
        """Write the last state, and let the workers end."""
        if not self.opening.let_go():
            event.ignore()
            return
        self.opening.loading.cancel()
        self.pictures.stop()
        self.session.close()
        pool().waitForDone(5_000)
        super().closeEvent(event)
