"""The menus of the bench, built once; every entry has words, most have a key."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Protocol

from PySide6.QtCore import QObject
from PySide6.QtGui import QAction, QActionGroup, QKeySequence
from PySide6.QtWidgets import QMainWindow, QMenu

from app.case.grey_presets import PRESET_WORDS
from app.case.session import Session
from app.dialogs.answers.side_question import ask_about_side
from app.dialogs.catalogue import DIALOGS
from app.dialogs.in_space import show_in_space
from app.dialogs.plots import show_grey_along, show_histogram
from app.dialogs.two_sizes import show_two_sizes
from app.pictures.in_step import Pictures
from app.tools.base import Desk
from app.tools.tissues import PointAtTissues
from app.tools.two_sizes import exchange
from app.window.opening import Opening
from app.window.picture_room import FULL_KEY, PictureRoom
from app.window.undoing import UndoAction
from core.words.catalogue import say

SLABS_MM = (0.0, 1.0, 2.0, 3.0, 5.0, 10.0)
SCALES = (1.0, 2.0, 3.0, 5.0)


class Acts(Desk, Protocol):
    """What the menus may ask of the window that they stand in."""

    session: Session
    pictures: Pictures
    room: PictureRoom
    opening: Opening

    def ask_save_plan(self) -> None:
        """Save the plan as a file of the user's own."""

    def close_case(self) -> None:
        """Back to the start screen."""

    def copy_picture(self, *, with_name: bool = False) -> None:
        """Copy the picture that has the focus."""

    def use_window(self, name: str) -> None:
        """Use one of the presets of the grey window."""

    def scale_section(self, times: float) -> None:
        """Show the section at a multiple of its true size."""

    def through_axis(self) -> None:
        """Turn the section into the plane of the chosen fixture's axis."""


class Menus(QObject):
    """Menus of one window.

    Parameters
    ----------
    window : QMainWindow
        Where they stand.
    bench : Acts
        The same window, by what its menus ask of it.
    """

    def __init__(self, window: QMainWindow, bench: Acts) -> None:
        super().__init__(window)
        self._bench = bench
        self._need_case: list[QAction] = []
        self.of_pictures: list[QAction] = []
        """Entries that act on the picture with the focus."""
        bar = window.menuBar()
        self.file = bar.addMenu(say("window.menus.file"))
        self.edit = bar.addMenu(say("window.menus.edit"))
        self.view = bar.addMenu(say("window.menus.view"))
        self.checks = bar.addMenu(say("window.menus.checks"))
        self.help = bar.addMenu(say("window.menus.help"))
        self._fill_file(bench)
        self._fill_edit(bench, window)
        self._fill_view(bench, window)
        menus = {"File": self.file, "Checks": self.checks, "Help": self.help}
        for entry in DIALOGS:
            self.add(
                menus[entry.menu],
                str(entry.words),
                partial(entry.show, bench.session, bench, window),
                entry.key,
                needs_case=entry.needs_scan,
            )
        which_teeth = say("window.menus.teeth-in-this-scan")
        self.add(self.checks, which_teeth, partial(ask_about_side, bench.session, bench, window))
        point = partial(bench.take_tool, PointAtTissues.name)
        self.add(self.checks, say("window.menus.identify-tissues"), point)
        self.add(
            self.help,
            say("window.menus.guided-first-case"),
            bench.opening.guided_case,
            needs_case=False,
        )
        self.file.addSeparator()
        self.add(self.file, say("window.menus.close-case"), bench.close_case, "Ctrl+W")
        self.add(self.file, "&Quit", window.close, "Ctrl+Q", needs_case=False)
        bench.session.scan_changed.connect(self.read)
        self.read()

    def add(
        self,
        menu: QMenu,
        text: str,
        run: Callable[[], object],
        shortcut: str = "",
        *,
        needs_case: bool = True,
    ) -> QAction:
        """Add an entry at the end of a menu."""
        action = menu.addAction(text)
        action.triggered.connect(lambda _on=False: run())
        if shortcut:
            action.setShortcut(QKeySequence(shortcut))
        if needs_case:
            self._need_case.append(action)
        return action

    def read(self) -> None:
        """Grey what needs an open case."""
        there = self._bench.session.volume is not None
        for action in self._need_case:
            action.setEnabled(there)

    def _fill_file(self, bench: Acts) -> None:
        for words, act, key in (
            (say("window.menus.open-a-folder"), bench.opening.ask_folder, "Ctrl+O"),
            (say("window.menus.open-a-file-or-zip"), bench.opening.ask_file, "Ctrl+Shift+O"),
            (say("window.menus.open-a-plan"), bench.opening.ask_plan, "Ctrl+L"),
            (say("window.menus.open-from-archive"), bench.opening.ask_archive, "Ctrl+Shift+A"),
        ):
            self.add(self.file, words, act, key, needs_case=False)
        self.add(self.file, say("window.menus.save-plan-as"), bench.ask_save_plan, "Ctrl+S")
        self.file.addSeparator()

    def _fill_edit(self, bench: Acts, window: QMainWindow) -> None:
        stack = bench.session.undo_stack
        undo = UndoAction(bench.session, bench, window)
        redo = stack.createRedoAction(window, say("window.menus.redo"))
        redo.setShortcuts([QKeySequence("Ctrl+Y"), QKeySequence("Ctrl+Shift+Z")])
        self.edit.addActions([undo, redo])
        self.edit.addSeparator()
        self.add(
            self.edit,
            say("window.menus.exchange-sizes"),
            partial(exchange, bench.session, bench),
            "X",
        )
        self.add(
            self.edit,
            say("window.menus.side-by-side"),
            partial(show_two_sizes, bench.session, bench, window),
        )
        self.edit.addSeparator()
        self.of_pictures += [
            self.add(self.edit, say("window.menus.copy-picture"), bench.copy_picture, "Ctrl+C"),
            self.add(
                self.edit,
                say("window.menus.copy-picture-with-name-and"),
                partial(bench.copy_picture, with_name=True),
                "Ctrl+Shift+C",
            ),
        ]

    def _fill_view(self, bench: Acts, window: QMainWindow) -> None:
        session = bench.session
        windows = self.view.addMenu(say("window.menus.brightness-and-contrast"))
        for number, name in enumerate(PRESET_WORDS, start=1):
            self.add(windows, str(PRESET_WORDS[name]), partial(bench.use_window, name),
                     f"Ctrl+{number}")  # fmt: skip
        for words, show in (
            (say("window.menus.histogram"), show_histogram),
            (say("window.menus.grey-along"), show_grey_along),
        ):
            self.add(self.view, words, partial(show, session, bench, window))
        self.add(
            self.view,
            say("window.menus.in-space"),
            partial(show_in_space, session, bench, window),
            "Ctrl+I",
        )
        slab = self.view.addMenu(say("window.menus.slab-thickness-display-only"))
        group = QActionGroup(window)
        for mm in SLABS_MM:
            text = f"{mm:g} mm" if mm else say("window.menus.thin")
            action = self.add(slab, text, partial(session.look_through, slab_mm=mm))
            action.setCheckable(True)
            action.setChecked(mm == 0)
            group.addAction(action)
        slab.addSeparator()
        self.maximum = self.add(
            slab, say("window.menus.maximum-intensity-mip"), self._toggle_maximum
        )
        self.maximum.setCheckable(True)
        self._slabs = group.actions()
        session.place_changed.connect(self._read_slab)
        session.scan_changed.connect(self._read_slab)
        self.of_pictures.append(
            self.add(
                self.view, say("window.menus.picture-at-full-size"), bench.room.toggle, FULL_KEY
            )
        )
        scale = self.view.addMenu(say("window.menus.scale-of-the-section"))
        self.add(scale, say("window.menus.fit-to-window"), bench.pictures.section.fit, "Ctrl+0")
        for times in SCALES:
            words = say("window.menus.actual-size") if times == 1 else f"{times:g} : 1"
            self.add(scale, say("window.menus.as-reported-by-the-monitor", words=words),
                     partial(bench.scale_section, times))  # fmt: skip
        self.add(
            self.view,
            say("window.menus.section-across-the-arch"),
            lambda: session.go_to(across=True),
            "A",
        )
        self.add(
            self.view, say("window.menus.plane-through-the-fixtures-axis"), bench.through_axis, "P"
        )

    def _toggle_maximum(self) -> None:
        self._bench.session.look_through(maximum=self.maximum.isChecked())

    def _read_slab(self) -> None:
        session = self._bench.session
        for action, mm in zip(self._slabs, SLABS_MM, strict=True):
            action.setChecked(mm == session.slab_mm)
        self.maximum.setChecked(session.slab_maximum)
