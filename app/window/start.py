"""The start screen: open a scan, take up a recent case, try the sample, read the cautions."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QCheckBox,
    QFrame,
    QHBoxLayout,
    QLabel,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from app.case.record import CaseRecord
from core.identity import Tooth
from core.sheet.patient_words import printable_name
from core.words.catalogue import say
from core.words.cautions import SPOKEN


class _Opener(QPushButton):
    """Enter presses it too, as in every dialog."""

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter as Space."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.click()
        else:
            super().keyPressEvent(event)


class Start(QWidget):
    """First screen.

    Signals
    -------
    open_folder, open_file, open_plan, open_archive, open_sample
        A button was pressed.
    open_recent(CaseRecord)
    names_hidden(bool)
        Whether names in the list are hidden.
    """

    open_folder = Signal()
    open_file = Signal()
    open_plan = Signal()
    open_archive = Signal()
    open_sample = Signal()
    open_recent = Signal(object)
    names_hidden = Signal(bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._records: tuple[CaseRecord, ...] = ()
        self._left_open: set[str] = set()
        columns = QHBoxLayout()
        columns.setSpacing(48)
        columns.addLayout(self._openers(), 4)
        columns.addWidget(self._recent(), 5)
        page = QVBoxLayout(self)
        page.setContentsMargins(56, 44, 56, 28)
        page.setSpacing(24)
        page.addLayout(columns, 1)
        self.troubles = QLabel("")
        self.troubles.setObjectName("notice")
        self.troubles.setTextFormat(Qt.TextFormat.PlainText)
        self.troubles.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.troubles.setWordWrap(True)
        self.troubles.setMargin(8)
        self.troubles.hide()
        page.addWidget(self.troubles)
        page.addWidget(_cautions())

    def _openers(self) -> QVBoxLayout:
        """Name of the program and the ways to open something."""
        name = QLabel(say("window.start.sounding"))
        name.setObjectName("brand")
        words = QLabel(say("window.start.measure-a-cone-beam-ct"))
        words.setObjectName("quiet")
        column = QVBoxLayout()
        column.setSpacing(10)
        column.addWidget(name)
        column.addWidget(words)
        column.addSpacing(12)
        for text, signal in (
            (say("window.start.open-a-folder"), self.open_folder),
            (say("window.start.open-a-file-or-zip"), self.open_file),
            (say("window.start.open-a-plan"), self.open_plan),
            (say("window.start.open-from-archive"), self.open_archive),
            (say("window.start.try-the-sample-case-five"), self.open_sample),
        ):
            button = _Opener(text)
            button.setMinimumSize(260, 38)
            button.clicked.connect(signal)
            column.addWidget(button, 0, Qt.AlignmentFlag.AlignLeft)
        drop = QLabel(say("window.start.or-drop-a-folder-a"))
        drop.setObjectName("quiet")
        column.addWidget(drop)
        column.addStretch(1)
        return column

    def _recent(self) -> QFrame:
        """Recent cases, names hidden where that is wished."""
        self.hide_names = QCheckBox(say("window.start.hide-names"))
        self.hide_names.toggled.connect(self._fill)
        self.hide_names.toggled.connect(self.names_hidden)
        self.list = QListWidget()
        self.list.setAccessibleName(say("window.start.recent-cases"))
        self.list.setSpacing(5)
        self.list.itemActivated.connect(self._take)
        self.none = QLabel(say("window.start.no-cases-yet"))
        self.none.setObjectName("quiet")
        self.none.setAlignment(Qt.AlignmentFlag.AlignTop)
        heading = QLabel(say("window.start.recent-cases-2"))
        heading.setObjectName("heading")
        top = QHBoxLayout()
        top.addWidget(heading)
        top.addStretch(1)
        top.addWidget(self.hide_names)
        frame = QFrame()
        frame.setObjectName("panel")
        column = QVBoxLayout(frame)
        column.setContentsMargins(16, 12, 16, 12)
        column.addLayout(top)
        column.addWidget(self.none)
        column.addWidget(self.list, 1)
        return frame

    def show_recent(
        self,
        records: Sequence[CaseRecord],
        *,
        hidden: bool,
        left_open: Sequence[CaseRecord] = (),
    ) -> None:
        """List recent cases, with or without names; those that a crash left open come first."""
        self._left_open = {record.key for record in left_open}
        self._records = tuple(sorted(records, key=lambda r: r.key not in self._left_open))
        self.hide_names.blockSignals(True)
        self.hide_names.setChecked(hidden)
        self.hide_names.blockSignals(False)
        self._fill()

    def tell_troubles(self, troubles: Sequence[str]) -> None:
        """What could not be read or will not be kept; stays for as long as it is so."""
        self.troubles.setText("\n".join(troubles))
        self.troubles.setVisible(bool(troubles))

    def _fill(self) -> None:
        self.list.clear()
        for record in self._records:
            item = QListWidgetItem(self._words(record))
            item.setData(Qt.ItemDataRole.UserRole, record)
            self.list.addItem(item)
        self.none.setVisible(not self._records)
        self.list.setVisible(bool(self._records))

    def _words(self, record: CaseRecord) -> str:
        name = printable_name(record.patient)[0] or say("window.start.no-name-in-the-scan")
        who = say("window.start.name-hidden") if self.hide_names.isChecked() else name
        if record.key in self._left_open:
            who = say("window.start.left-open-when-the-program", who=who)
        if record.apart_from:
            who = say("window.start.kept-apart-changed-in-two", who=who)
        tooth = Tooth.of(record.tooth).words() if record.tooth else say("window.start.no-tooth-yet")
        scanned = (
            say("window.start.scan-of", scanned=record.scanned)
            if record.scanned
            else say("window.start.scan-without-a-date")
        )
        return say(
            "window.start.last-worked-on",
            who=who,
            tooth=tooth,
            scanned=scanned,
            replace=record.changed[:16].replace("T", " "),
        )

    def _take(self, item: QListWidgetItem) -> None:
        self.open_recent.emit(item.data(Qt.ItemDataRole.UserRole))


def _cautions() -> QFrame:
    """What everybody must have read."""
    words = QLabel(str(SPOKEN))
    words.setWordWrap(True)
    words.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    title = QLabel(say("window.start.before-you-rely-on-it"))
    title.setObjectName("heading")
    frame = QFrame()
    frame.setObjectName("panel")
    column = QVBoxLayout(frame)
    column.setContentsMargins(16, 12, 16, 12)
    column.addWidget(title)
    column.addWidget(words)
    return frame
