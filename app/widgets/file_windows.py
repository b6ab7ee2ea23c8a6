"""Windows that ask for a file or folder: each kind begins where it was last used."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Literal, TypeAlias

from PySide6.QtCore import QStandardPaths
from PySide6.QtWidgets import QFileDialog, QWidget

from core.words.catalogue import say

Kind: TypeAlias = Literal["scan", "plan", "record", "table"]

_last: dict[str, Path] = {}
"""Folder of the last answer by kind, until the program ends: paths can hold a patient's name."""


def ask_folder(parent: QWidget, title: str, kind: Kind) -> str:
    """A folder that is there; empty when the person turned away."""
    return _kept(kind, QFileDialog.getExistingDirectory(parent, title, _begin(kind)), up=True)


def ask_new_folder(parent: QWidget, title: str, kind: Kind, propose: Callable[[Path], Path]) -> str:
    """A folder that is there or will be made; empty when the person turned away.

    Parameters
    ----------
    parent : QWidget
    title : str
    kind : Kind
    propose : callable
        The folder that is offered, in the one where the window begins.
    """
    at = proposed_place(kind, propose)
    # A window for folders takes none that is not there yet, so it is asked like a file's name.
    filters = say("widgets.file_windows.a-folder")
    no_question = QFileDialog.Option.DontConfirmOverwrite
    path = QFileDialog.getSaveFileName(parent, title, str(at), filters, options=no_question)[0]
    if path and Path(path).is_file():
        path = str(Path(path).parent)  # pointed at a file of the folder that is meant
    return _kept(kind, path)


def proposed_place(kind: Kind, propose: Callable[[Path], Path]) -> Path:
    """What would be offered, for where no window is needed.

    Parameters
    ----------
    kind : Kind
    propose : callable
        See `ask_new_folder`.
    """
    return propose(Path(_begin(kind)))


def keep_place(kind: Kind, path: Path) -> None:
    """Begin there the next time: it was taken without a window."""
    _kept(kind, str(path))


def ask_open(parent: QWidget, title: str, kind: Kind, filters: str = "") -> str:
    """A file that is there; empty when the person turned away."""
    return _kept(kind, QFileDialog.getOpenFileName(parent, title, _begin(kind), filters)[0])


def ask_save(parent: QWidget, title: str, kind: Kind, name: str, filters: str) -> str:
    """A file to be written; empty when the person turned away."""
    at = str(Path(_begin(kind)) / name)
    return _kept(kind, QFileDialog.getSaveFileName(parent, title, at, filters)[0])


def _begin(kind: Kind) -> str:
    """Where a window begins: never in the program's own folder."""
    last = _last.get(kind)
    if last is not None and last.is_dir():
        return str(last)
    places = QStandardPaths.StandardLocation
    for place in (places.DocumentsLocation, places.HomeLocation):
        found = QStandardPaths.writableLocation(place)
        if found and Path(found).is_dir():
            return found
    return str(Path.home())


def _kept(kind: Kind, path: str, *, up: bool = False) -> str:
    """The answer, its folder kept: that above a scan's, since the next scan lies beside it."""
    if path:
        beside = not up or kind == "scan"
        _last[kind] = Path(path).parent if beside else Path(path)
    return path
