"""A plot's numbers and its picture as files."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QMenu, QWidget

from app.widgets.file_windows import ask_save
from core.atomic import write_whole
from core.errors import SoundingError
from core.pictures.ink import PAPER
from core.pictures.plot import Plot, plot_csv
from core.pictures.plot_chart import plot_chart
from core.sheet.png import chart_png
from core.words.catalogue import say


class PlotFiles(QObject):
    """Writes what a view shows, where its person says.

    Signals
    -------
    saved(name), failed(error)
        A file was written, or was not.
    """

    saved = Signal(str)
    failed = Signal(object)

    def __init__(self, view: QWidget, plot: Callable[[], Plot | None]) -> None:
        super().__init__(view)
        self._view, self._plot = view, plot
        self.stem = "plot"
        """Of the names that are proposed."""
        self.save_table: Callable[[], object] = self._ask_csv
        """Writes its numbers; who has a fuller table puts that here."""

    def add_to(self, menu: QMenu) -> None:
        """An entry for each."""
        menu.addAction(say("pictures.plot.save-table")).triggered.connect(
            lambda _on=False: self.save_table()
        )
        menu.addAction(say("pictures.plot.save-picture")).triggered.connect(
            lambda _on=False: self._ask_png()
        )

    def write_csv(self, path: Path) -> None:
        """Its numbers into a file."""
        if (plot := self._plot()) is not None:
            self._write(path, plot_csv(plot))

    def write_png(self, path: Path) -> None:
        """Its picture into a file, as the sheet draws it: black on white."""
        if (plot := self._plot()) is not None:
            self._write(path, chart_png(plot_chart(plot), scheme=PAPER))

    def _ask_csv(self) -> None:
        words, name = say("pictures.plot.save-table"), f"{self.stem}.csv"
        if path := ask_save(self._view, words, "record", name, "CSV (*.csv)"):
            self.write_csv(Path(path))

    def _ask_png(self) -> None:
        words, name = say("pictures.plot.save-picture"), f"{self.stem}.png"
        if path := ask_save(self._view, words, "record", name, "PNG (*.png)"):
            self.write_png(Path(path))

    def _write(self, path: Path, data: bytes) -> None:
        try:
            write_whole(path, data)
        except SoundingError as error:
            self.failed.emit(error)
        else:
            self.saved.emit(path.name)
