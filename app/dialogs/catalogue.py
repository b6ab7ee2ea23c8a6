"""All questions and settings, for the menus of the bench: menu, words, key, and what opens it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from PySide6.QtWidgets import QWidget

from app.case.session import Session
from app.dialogs.answers.declare import ask_declaration
from app.dialogs.answers.image_check import ask_image_check
from app.dialogs.answers.interpreted import ask_interpreted
from app.dialogs.answers.side import ask_side
from app.dialogs.answers.sign_off import ask_sign_off
from app.dialogs.control_film import ask_control_film
from app.dialogs.help.dialog import show_help
from app.dialogs.limits import ask_limits
from app.dialogs.repeat_study.dialog import show_repeat_study
from app.dialogs.room import ask_room
from app.dialogs.scale_check import show_scale_check
from app.dialogs.self_test import show_self_test
from app.dialogs.send_to_archive import show_send
from app.dialogs.settings import show_settings
from app.dialogs.sheet.dialog import show_sheet
from app.tools.base import Desk
from core.words.catalogue import Words, message


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One entry of a menu.

    Parameters
    ----------
    menu : {'File', 'Checks', 'Help'}
    words : Words
    key : str
        Shortcut, or empty.
    show : callable (session, desk, parent)
    needs_scan : bool
    """

    menu: Literal["File", "Checks", "Help"]
    words: Words
    key: str = ""
    show: Callable[[Session, Desk, QWidget | None], QWidget]
    needs_scan: bool = True


DIALOGS: tuple[Entry, ...] = (
    Entry(menu="File", words=message("dialogs.catalogue.sheet"), key="Ctrl+P", show=show_sheet),
    Entry(
        menu="File",
        words=message("dialogs.catalogue.send-to-archive"),
        show=show_send,
        needs_scan=False,
    ),
    Entry(menu="File", words=message("dialogs.catalogue.sign-off"), show=ask_sign_off),
    Entry(menu="File", words=message("dialogs.catalogue.scale-check"), show=show_scale_check),
    Entry(
        menu="File",
        words=message("dialogs.catalogue.repeat-study"),
        show=show_repeat_study,
        needs_scan=False,
    ),
    Entry(menu="File", words=message("dialogs.catalogue.control-film"), show=ask_control_film),
    Entry(
        menu="File",
        words=message("dialogs.catalogue.settings"),
        key="Ctrl+,",
        show=show_settings,
        needs_scan=False,
    ),
    Entry(menu="Checks", words=message("dialogs.catalogue.which-side"), show=ask_side),
    Entry(
        menu="Checks",
        words=message("dialogs.catalogue.how-good-is-the-image"),
        show=ask_image_check,
    ),
    Entry(
        menu="Checks",
        words=message("dialogs.catalogue.whole-volume-interpreted"),
        show=ask_interpreted,
    ),
    Entry(menu="Checks", words=message("dialogs.catalogue.room-for-the-crown"), show=ask_room),
    Entry(
        menu="Checks", words=message("dialogs.catalogue.declare-a-structure"), show=ask_declaration
    ),
    Entry(menu="Checks", words=message("dialogs.catalogue.limits-of-this-plan"), show=ask_limits),
    Entry(
        menu="Help",
        words=message("dialogs.catalogue.help"),
        key="F1",
        show=show_help,
        needs_scan=False,
    ),
    Entry(
        menu="Help",
        words=message("dialogs.catalogue.self-test-of-the-program"),
        show=show_self_test,
        needs_scan=False,
    ),
    Entry(
        menu="Help",
        words=message("dialogs.catalogue.about-and-cautions"),
        show=lambda session, desk, parent: show_help(session, desk, parent, topic="about"),
        needs_scan=False,
    ),
)
