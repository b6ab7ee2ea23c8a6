"""What can be done at a place of a picture: the same acts as elsewhere, under the mouse."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import cast

from PySide6.QtCore import QObject, QPoint, QPointF, Qt
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QMenu, QWidget

from app.dialogs.in_space import show_in_space
from app.pictures.hit import Hit
from app.pictures.picture_view import REACH_PX
from app.tools.base import View
from app.tools.catalogue import TOOL
from app.tools.fixture import Adjust
from app.tools.picking import fixture_at, nearest_mark
from app.tools.two_sizes import exchange
from app.window.menus import Acts, Menus
from app.window.tool_controller import ToolHub
from core.fixture import Fixture
from core.plans.edit import is_locked
from core.plans.marks import Mark, marks_of
from core.words.catalogue import say

FREE = ("View",)
"""Groups of tools that leave the right button alone; in the others it takes back a mark."""

ON_ARCH_MAP = ("Arch", "Midline", "Jaw plane")
IN_SECTIONS = ("canal", "root", "Fixture", "Ruler", "Ridge")
"""Tools that are offered where nothing else lies."""


class PictureMenus(QObject):
    """Opens the menu of a picture by the right button or the menu key.

    Parameters
    ----------
    bench : Acts
    hub : ToolHub
    menus : Menus
        Whose entries for pictures stand here too.
    """

    def __init__(self, bench: Acts, hub: ToolHub, menus: Menus) -> None:
        super().__init__(menus)
        self._bench, self._hub, self._menus = bench, hub, menus
        for view in bench.pictures.views:
            view.menu_wanted.connect(partial(self._wanted, view))

    def _wanted(self, view: View, at: QPoint, by_key: bool) -> None:
        active = self._hub.active
        # While marks are set the right button takes the last one back.
        if not by_key and active.group not in FREE and active.name != Adjust.name:
            return
        if self._bench.session.volume is None or not view.has_picture:
            return
        menu = self.menu(view, at)
        menu.aboutToHide.connect(menu.deleteLater)
        menu.popup(view.mapToGlobal(at))

    def menu(self, view: View, at: QPoint) -> QMenu:
        """The menu of a place of a picture."""
        u, v = view.place(QPointF(at))
        hit = Hit(
            (u, v),
            view.point_mm(u, v),
            REACH_PX * view.mm_per_pixel(),
            Qt.MouseButton.RightButton,
            Qt.KeyboardModifier.NoModifier,
        )
        plan = self._bench.session.plan
        menu = QMenu(view)
        mark = nearest_mark(view, hit, marks_of(plan))
        fixture = None if mark is not None else fixture_at(view, hit, plan.fixtures)
        if mark is not None:
            self._of_mark(menu, mark)
        elif fixture is not None:
            self._of_fixture(menu, fixture[0])
        self._of_place(menu, view, hit)
        menu.addSeparator()
        for tool in ON_ARCH_MAP if view.kind == "arch map" else IN_SECTIONS:
            self._add(menu, TOOL[tool].title(), partial(self._bench.take_tool, tool))
        menu.addSeparator()
        menu.addActions(self._menus.of_pictures)
        return menu

    def _of_mark(self, menu: QMenu, mark: Mark) -> None:
        _head(menu, str(mark.words()))
        hand = self._hand()

        def on_it(act: Callable[[], object]) -> None:
            self._bench.take_tool(Adjust.name)
            hand.choose(mark)
            act()
            self._bench.redraw()

        self._add(menu, Adjust.title(), partial(on_it, lambda: None))
        locked = is_locked(self._bench.session.plan, mark.owner)
        self._add_lock(menu, mark.owner, locked=locked)
        delete = self._add(menu, say("panels.fixture.delete"), partial(on_it, hand.delete))
        delete.setEnabled(not locked)
        menu.addSeparator()

    def _of_fixture(self, menu: QMenu, fixture: Fixture) -> None:
        session, bench = self._bench.session, self._bench
        name = say("panels.ledger_entries.fixture-implant")
        _head(menu, f"{name} {fixture.id}")

        def on_it(act: Callable[[], object]) -> None:
            session.go_to(selected=fixture.id)
            act()

        acts: list[tuple[str, Callable[[], object]]] = [
            (Adjust.title(), partial(bench.take_tool, Adjust.name)),
            (say("window.menus.plane-through-the-fixtures-axis"), bench.through_axis),
        ]
        words = say("window.menus.in-space")
        acts.append((words, partial(show_in_space, session, bench, cast(QWidget, bench))))
        if fixture.other_size is not None:
            words = say("window.menus.exchange-sizes")
            acts.append((words, partial(exchange, session, bench)))
        for words, act in acts:
            self._add(menu, words, partial(on_it, act))
        self._add_lock(menu, fixture.id, locked=is_locked(session.plan, fixture.id))
        menu.addSeparator()

    def _of_place(self, menu: QMenu, view: View, hit: Hit) -> None:
        """Here: all pictures go there."""
        session = self._bench.session

        def go() -> None:
            arch = session.arch
            station = None if arch is None else arch.station(hit.point_mm)
            session.go_to(point_mm=hit.point_mm, station_mm=station, across=station is not None)

        self._add(menu, say("window.picture_menu.centre"), go)
        self._add(menu, say("window.menus.fit-to-window"), view.fit)

    def _hand(self) -> Adjust:
        return cast(Adjust, self._hub.tools[Adjust.name])

    def _add_lock(self, menu: QMenu, thing_id: str, *, locked: bool) -> None:
        words = say("window.picture_menu.unlock") if locked else say("panels.fixture.lock")
        self._add(menu, words, partial(self._hand().lock_thing, thing_id))

    @staticmethod
    def _add(menu: QMenu, words: str, act: Callable[[], object]) -> QAction:
        action = menu.addAction(words)
        action.triggered.connect(lambda _on=False: act())
        return action


def _head(menu: QMenu, words: str) -> None:
    """What the entries below it act on."""
    head = menu.addAction(words[:1].upper() + words[1:])
    head.setEnabled(False)
