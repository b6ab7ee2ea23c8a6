"""Looks up a scan in an archive and opens it: whose it is stands in the list, and a person says."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QLineEdit,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from app.archive.fetching import fetch_series, scan_cache
from app.archive.node import require_installed
from app.archive.searching import Listed, Search, find_series
from app.background.tasks import Latest, Task
from app.case.session import Session
from app.dialogs.archive_dialog import ArchiveDialog
from app.dialogs.base import Dialog, open_dialog
from app.tools.base import Desk
from core.errors import SoundingError
from core.inert import one_line
from core.sheet.patient_words import printable_name
from core.words.catalogue import message, say

HEADS = (
    message("dialogs.open_from_archive.patient"),
    message("dialogs.open_from_archive.born"),
    message("dialogs.open_from_archive.id"),
    message("dialogs.open_from_archive.scanned"),
    message("dialogs.open_from_archive.kind"),
    message("dialogs.open_from_archive.description"),
    message("dialogs.open_from_archive.images"),
)
PATIENT_ID = message("dialogs.open_from_archive.patient-id")
NAME = message("dialogs.open_from_archive.name")
DAY = message("dialogs.open_from_archive.day-of-the-scan")
WIDTHS = (190, 96, 120, 96, 56, 180, 70)
_ROWS_PX, _FIRST_PX = 120, 620


class OpenFromArchive(ArchiveDialog):
    """A search, what it found, and the one series that a person chose of it.

    Parameters
    ----------
    session, desk, parent
    opens : callable
        Gets the folder of a scan that has arrived whole.
    """

    heading = message("dialogs.open_from_archive.open-from-archive")
    accept_words = message("dialogs.open_from_archive.open")
    least_width = 960

    def __init__(
        self,
        session: Session,
        desk: Desk,
        parent: QWidget | None = None,
        *,
        opens: Callable[[str], None],
    ) -> None:
        super().__init__(session, desk, parent)
        self._opens = opens
        self.found: tuple[Listed, ...] = ()
        self.words(
            say("dialogs.open_from_archive.looks-up-a-scan", folder=scan_cache()), quiet=True
        )
        self.ask_archive(port_hint=say("dialogs.open_from_archive.only-for-c-move"))
        self.patient, self.name, self.day = self._search_row()
        self.table = self._table()
        self.body.addWidget(self.table, 1)
        self._asked = (self.address, self.title, self.listen, self.patient, self.name, self.day)
        self.show_progress(say("dialogs.open_from_archive.searching"))
        for edit in self._asked:
            # A list of somebody else must not stand below the name that is being typed.
            edit.textChanged.connect(lambda _text: self._show(()))
        self._searching = self.worker(self._arrived)
        self._fetching = self.worker(self._fetched)
        self._tell_missing()
        # Room for the list and for a refusal of some lines below it.
        self.resize(self.least_width, _FIRST_PX)
        (self.patient if self.address.text() else self.address).setFocus()

    # -- what the shared part asks --------------------------------------------------------------

    def workers(self) -> tuple[Latest, ...]:
        """A search or a series."""
        return (self._searching, self._fetching)

    def told_of_stop(self) -> str:
        """That nothing became of it."""
        return say("dialogs.open_from_archive.stopped")

    def told_of_fault(self, name: str) -> str:
        """What to do after a fault of the program."""
        return say("dialogs.open_from_archive.a-fault-in-the-program", name=name)

    def is_complete(self) -> bool:
        """A series is chosen, and nothing is on its way."""
        return self.chosen() is not None and self.named() and not self.is_busy

    def check(self) -> None:
        """Let the buttons follow what is written and chosen."""
        super().check()
        wide = Search(
            patient=self.patient.text(), name=self.name.text(), day=self.day.text()
        ).is_wide
        self.search.setEnabled(self.named() and not wide and not self.is_busy)

    def show_busy(self, busy: bool) -> None:
        """While something is on its way nobody names anything else."""
        super().show_busy(busy)
        for edit in self._asked:
            edit.setReadOnly(busy)
        self.table.setEnabled(not busy)
        if not busy and self.isVisible():
            # Buttons that were greyed gave the focus on, at last to the one that closes.
            self.patient.setFocus()

    def chosen(self) -> Listed | None:
        """The series that a person chose; None while nobody did."""
        row = self.table.currentRow()
        return self.found[row] if 0 <= row < len(self.found) else None

    # -- searching --------------------------------------------------------------------------

    def _search(self) -> None:
        if not self.search.isEnabled():
            return
        search = Search(
            patient=self.patient.text(), name=self.name.text(), day=self.day.text().strip()
        )
        try:
            search.keys()
            connection = self.connection()
        except SoundingError as refusal:
            self.tell(str(refusal))
            return

        def find(task: Task) -> list[Listed]:
            return find_series(connection, search, progress=task.progress, cancelled=task.cancelled)

        self._show(())
        self.bar.setFormat(say("dialogs.open_from_archive.searching"))
        self.begin(self._searching, find)

    def _arrived(self, found: list[Listed]) -> None:
        self.show_busy(False)
        scans = tuple(one for one in found if one.may_be_scan)
        self._show(scans)
        left_out = len(found) - len(scans)
        told = (
            say("dialogs.open_from_archive.found", count=len(scans))
            if scans
            else say("dialogs.open_from_archive.nothing-found")
        )
        more = say("dialogs.open_from_archive.left-out", count=left_out) if left_out else ""
        self.tell(f"{told} {more}".strip())
        if scans:
            self.table.setFocus()

    def _show(self, found: tuple[Listed, ...]) -> None:
        """List series; none of them is chosen before a person chose it."""
        self.found = found
        self.table.blockSignals(True)
        self.table.setRowCount(len(found))
        for row, one in enumerate(found):
            for column, text in enumerate(_cells(one)):
                item = QTableWidgetItem(text)
                item.setToolTip(text)
                self.table.setItem(row, column, item)
        self.table.setCurrentCell(-1, -1)
        self.table.blockSignals(False)
        self.check()

    # -- fetching -----------------------------------------------------------------------------

    def _accepted(self) -> None:
        one = self.chosen()
        if one is None or not self.is_complete():
            return
        try:
            connection = self.connection()
        except SoundingError as refusal:
            self.tell(str(refusal))
            return

        def fetch(task: Task) -> Path:
            return fetch_series(
                connection, one.study_uid, one.series_uid, move=connection.listen is not None,
                progress=task.progress, cancelled=task.cancelled,
            )  # fmt: skip

        self.bar.setFormat(say("dialogs.open_from_archive.so-many-images"))
        self.begin(self._fetching, fetch)

    def _fetched(self, folder: Path) -> None:
        self.show_busy(False)
        self.accept()
        self._opens(str(folder))

    # -- parts ----------------------------------------------------------------------------------

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter in a line searches; it never opens what an earlier search had found."""
        enter = event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter)
        if enter and self.is_busy:
            # The list gave its focus to a button when it began: Enter must not press that.
            return
        if enter and self.focusWidget() in self._asked:
            self._search()
            return
        super().keyPressEvent(event)

    def _search_row(self) -> tuple[QLineEdit, QLineEdit, QLineEdit]:
        """Lines for ID, name and day beside the button that searches."""
        row = QHBoxLayout()
        edits: list[QLineEdit] = []
        for words, hint, share in (
            (PATIENT_ID, message("dialogs.open_from_archive.whole-id"), 4),
            (NAME, message("dialogs.open_from_archive.family-given"), 6),
            (DAY, message("dialogs.open_from_archive.yyyy-mm-dd"), 3),
        ):
            edit, name = QLineEdit(), QLabel(str(words))
            edit.setPlaceholderText(str(hint))
            edit.setAccessibleName(str(words))
            edit.textChanged.connect(self.check)
            name.setBuddy(edit)
            row.addWidget(name)
            row.addWidget(edit, share)
            edits.append(edit)
        self.search = QPushButton(say("dialogs.open_from_archive.search"))
        self.search.setAutoDefault(False)
        self.search.clicked.connect(lambda _on: self._search())
        row.addWidget(self.search)
        self.body.addLayout(row)
        patient, person, day = edits
        return patient, person, day

    def _table(self) -> QTableWidget:
        table = QTableWidget(0, len(HEADS))
        table.setHorizontalHeaderLabels([str(head) for head in HEADS])
        table.setAccessibleName(say("dialogs.open_from_archive.series-found"))
        table.verticalHeader().hide()
        table.setShowGrid(False)
        table.setTabKeyNavigation(False)
        table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        header = table.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft)
        for column, width in enumerate(WIDTHS):
            table.setColumnWidth(column, width)
        header.setSectionResizeMode(len(HEADS) - 2, QHeaderView.ResizeMode.Stretch)
        table.setMinimumHeight(_ROWS_PX)
        table.currentCellChanged.connect(self.check)
        table.itemActivated.connect(lambda _item: self._accepted())
        return table

    def _tell_missing(self) -> None:
        """Where the optional part is not installed it is said at once."""
        try:
            require_installed()
        except SoundingError as refusal:
            self.tell(str(refusal))


def _cells(one: Listed) -> tuple[str, ...]:
    nothing = say("dialogs.open_from_archive.not-told")
    return (
        printable_name(one.patient_name)[0] or nothing,
        _day(one.birth_date) or nothing,
        one_line(one.patient_id) or nothing,
        _day(one.study_date) or nothing,
        one_line(one.modality),
        one_line(one.description),
        "" if one.count is None else str(one.count),
    )


def _day(dicom: str) -> str:
    """``20260914`` as ``2026-09-14``; what is no day stays as it is."""
    text = one_line(dicom)
    return f"{text[:4]}-{text[4:6]}-{text[6:]}" if len(text) == 8 and text.isdigit() else text


def show_open_from_archive(
    session: Session, desk: Desk, parent: QWidget | None, opens: Callable[[str], None]
) -> Dialog:
    """Open the dialog."""
    return open_dialog(OpenFromArchive(session, desk, parent, opens=opens))
