"""Repeat studies: the kept ones, and a new one with its sections, marks, rounds and seed."""

from __future__ import annotations

import secrets
from dataclasses import replace
from pathlib import Path

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from app.case.attestations import now_iso
from app.case.repeat_studies import KeptStudy, keep_study, kept_studies
from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.dialogs.repeat_study.placing import RepeatPlacing
from app.dialogs.repeat_study.result import show_result
from app.tools.base import Desk
from app.widgets.number_box import NumberBox
from core.errors import SoundingError
from core.trust.operator_precision import placement_of
from core.trust.repeatability import RepeatStudy, StudyDesign
from core.words.catalogue import Words, message, say
from core.words.values import listed

HEADS = ("day", "people", "placed", "scatter", "scan")
SEEDS = 1_000_000
AROUND_MM = 15.0
"""How far to either side of the present place sections are offered from."""

MOST_PEOPLE = 2


class RepeatStudyDialog(Dialog):
    """Kept studies above, a new one below."""

    heading = message("dialogs.repeat_study.dialog.repeat-study-how-steady-marks")
    accept_words = message("dialogs.repeat_study.dialog.start-a-new-study")
    least_width = 860

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.cancel.setText(say("dialogs.repeat_study.dialog.close"))
        self.words(say("dialogs.repeat_study.dialog.the-same-marks-are-placed"))
        self.now = self.words("", quiet=True)
        self.kept: tuple[KeptStudy, ...] = ()
        self.table = QTableWidget(0, len(HEADS))
        self.table.setHorizontalHeaderLabels(HEADS)
        self.table.setAccessibleName(say("dialogs.repeat_study.dialog.kept-studies"))
        self.table.verticalHeader().hide()
        self.table.setShowGrid(False)
        self.table.setTabKeyNavigation(False)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        header = self.table.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft)
        for column, width in enumerate((110, 100, 150)):
            self.table.setColumnWidth(column, width)
        header.setSectionResizeMode(3, QHeaderView.ResizeMode.Stretch)
        self.table.setMinimumHeight(130)
        self.table.currentCellChanged.connect(self.check)
        self.body.addWidget(self.table, 1)
        self.see = self._button(say("dialogs.repeat_study.dialog.what-it-says"), self._see)
        self.go_on = self._button(say("dialogs.repeat_study.dialog.go-on"), self._go_on)
        self.second = self._button(say("dialogs.repeat_study.dialog.second-person"), self._second)
        self.usual = self._button(
            say("dialogs.repeat_study.dialog.back-to-the-usual-allowance"), self._usual
        )
        row = QHBoxLayout()
        for button in (self.see, self.go_on, self.second):
            row.addWidget(button)
        row.addStretch(1)
        row.addWidget(self.usual)
        self.body.addLayout(row)
        self._new_study()
        self.resize(self.least_width, 560)
        self.placing: RepeatPlacing | None = None
        session.plan_changed.connect(self._read_plan)
        self._read()

    # -- a new study ------------------------------------------------------------------------

    def _new_study(self) -> None:
        arch, here = self.session.arch, self.session.station_mm
        length = 0.0 if arch is None else arch.length_mm
        self.count = _whole(2, 40, 10, "Sections")
        self.rounds = _whole(2, 6, 2, say("dialogs.repeat_study.dialog.times-each"))
        self.first = NumberBox(0.0, max(length, 0.1))
        self.last = NumberBox(0.0, max(length, 0.1))
        self.first.setValue(max(here - AROUND_MM, 0.0))
        self.last.setValue(min(here + AROUND_MM, length))
        self.first.setAccessibleName(say("dialogs.repeat_study.dialog.from-station"))
        self.last.setAccessibleName(say("dialogs.repeat_study.dialog.to-station"))
        row = QHBoxLayout()
        for words, box in (
            ("Sections", self.count),
            (say("dialogs.repeat_study.dialog.times-each-2"), self.rounds),
            ("from", self.first),
            ("to", self.last),
        ):
            row.addWidget(QLabel(words))
            row.addWidget(box)
        row.addWidget(QLabel(say("dialogs.repeat_study.dialog.of-the-arch")))
        row.addStretch(1)
        self.body.addLayout(row)
        self.one = self.line(
            say("dialogs.repeat_study.dialog.first-mark"), say("dialogs.repeat_study.dialog.crest")
        )
        self.other = self.line(
            say("dialogs.repeat_study.dialog.second-mark"),
            say("dialogs.repeat_study.dialog.top-of-the-canal"),
        )
        self.who = self.line(
            say("dialogs.repeat_study.dialog.placed-by-initials"), self.session.operator
        )
        for box in (self.first, self.last):
            box.valueChanged.connect(self.check)

    def is_complete(self) -> bool:
        """A scan is open, and people, marks and stations are named."""
        marks = [self.one.text().strip(), self.other.text().strip()]
        return (
            self.session.arch is not None
            and self.session.volume is not None
            and bool(self.who.text().strip())
            and all(marks)
            and marks[0] != marks[1]
            and self.last.value() - self.first.value() >= 1.0
        )

    def _accepted(self) -> None:
        """Start; this window stays behind."""
        volume = self.session.volume
        if not self.is_complete() or volume is None:
            return
        stations = np.linspace(self.first.value(), self.last.value(), int(self.count.value()))
        design = StudyDesign(
            seed=secrets.randbelow(SEEDS),
            rounds=int(self.rounds.value()),
            marks=(self.one.text().strip(), self.other.text().strip()),
            stations=tuple((f"s{n + 1}", round(float(s), 2)) for n, s in enumerate(stations)),
        )
        study = RepeatStudy(
            design=design,
            series_uid=volume.identity.series_uid,
            at=now_iso(),
            readings=(),
        )
        self._place(study, self.who.text().strip(), None)

    def _place(self, study: RepeatStudy, person: str, path: Path | None) -> None:
        kept: list[Path | None] = [path]

        def keep(changed: RepeatStudy) -> None:
            try:
                kept[0] = keep_study(changed, kept[0])
            except SoundingError as error:
                self.tell(str(error))

        dialog = RepeatPlacing(self.session, self.desk, self, study=study, person=person, keep=keep)
        dialog.finished.connect(lambda result: self._placed(dialog, done=bool(result)))
        self.placing = dialog
        open_dialog(dialog)

    def _placed(self, dialog: RepeatPlacing, *, done: bool) -> None:
        self.placing = None
        self._read()
        if done:
            show_result(self.session, self.desk, self, dialog.study)

    # -- the kept ones ----------------------------------------------------------------------

    def _read(self) -> None:
        self.kept, troubles = kept_studies()
        if troubles:
            self.tell("\n".join(troubles))
        self.table.setRowCount(len(self.kept))
        volume = self.session.volume
        series = "" if volume is None else volume.identity.series_uid
        for number, kept in enumerate(self.kept):
            study = kept.study
            texts = (
                study.at[:10],
                ", ".join(study.people),
                _placed_words(study),
                _scatter_words(study),
                say("dialogs.repeat_study.dialog.this-one")
                if study.series_uid == series and series
                else say("dialogs.repeat_study.dialog.another-one"),
            )
            for column, text in enumerate(texts):
                self.table.setItem(number, column, QTableWidgetItem(text))
        if self.kept and self.table.currentRow() < 0:
            self.table.setCurrentCell(0, 0)
        self._read_plan()

    def _read_plan(self) -> None:
        there = self.session.volume is not None
        source = placement_of(self.session.plan).source
        self.now.setText(
            say("dialogs.repeat_study.dialog.in-this-plan", source=source)
            if there
            else say("dialogs.repeat_study.dialog.no-scan-is-open")
        )
        self.check()

    def check(self) -> None:
        """Each button is there for what it can do with the chosen study."""
        super().check()
        self.usual.setEnabled(self.session.plan.own_hand is not None)
        kept, volume = self._chosen(), self.session.volume
        for button in (self.see, self.go_on, self.second):
            button.setEnabled(False)
        if kept is None:
            return
        study = kept.study
        self.see.setEnabled(bool(study.people))
        if volume is None or study.series_uid != volume.identity.series_uid:
            return
        begun = any(study.left_of(person) for person in study.people)
        self.go_on.setEnabled(begun)
        one = len(study.people) < MOST_PEOPLE and study.design is not None
        self.second.setEnabled(one and not begun)

    def _chosen(self) -> KeptStudy | None:
        row = self.table.currentRow()
        return self.kept[row] if 0 <= row < len(self.kept) else None

    def _see(self) -> None:
        kept = self._chosen()
        if kept is not None:
            show_result(self.session, self.desk, self, kept.study)

    def _go_on(self) -> None:
        kept = self._chosen()
        if kept is None:
            return
        person = next(p for p in kept.study.people if kept.study.left_of(p))
        self._place(kept.study, person, kept.path)

    def _second(self) -> None:
        kept, person = self._chosen(), self.who.text().strip()
        if kept is None:
            return
        if not person or person in kept.study.people:
            self.tell(say("dialogs.repeat_study.dialog.write-the-second-persons-initials"))
            return
        self._place(kept.study, person, kept.path)

    def _usual(self) -> None:
        self.session.apply(
            message("dialogs.repeat_study.dialog.marks-count-by-the-usual"),
            replace(self.session.plan, own_hand=None),
        )

    def _button(self, words: str, act: object) -> QPushButton:
        button = QPushButton(words)
        button.setAutoDefault(False)
        button.clicked.connect(act)
        return button


def _whole(low: int, high: int, value: int, name: str) -> NumberBox:
    box = NumberBox(low, high, step=1.0, unit="")
    box.setDecimals(0)
    box.setValue(value)
    box.setAccessibleName(name)
    return box


def _placed_words(study: RepeatStudy) -> str:
    if study.design is None:
        return say("dialogs.repeat_study.dialog.marks", readings=len(study.readings))
    whole = len(study.design.stations) * study.design.rounds
    parts: list[Words] = [f"{whole - len(study.left_of(p))}" for p in study.people]
    return say(
        "dialogs.repeat_study.dialog.of-sections",
        parts=listed(parts) if parts else "0",
        whole=whole,
    )


def _scatter_words(study: RepeatStudy) -> str:
    parts = []
    for person in study.people:
        try:
            parts.append(f"{person} {study.spread(person).sd_mm:.2f} mm")
        except SoundingError:
            parts.append(say("dialogs.repeat_study.dialog.not-yet", person=person))
    return ", ".join(parts)


def show_repeat_study(session: Session, desk: Desk, parent: QWidget | None) -> Dialog:
    """Open the repeat studies."""
    return open_dialog(RepeatStudyDialog(session, desk, parent))
