"""Sheet and record: what can be written, a look at each part, then files, print or a copy."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import cast

from PySide6.QtCore import QTimer, QUrl
from PySide6.QtGui import QDesktopServices, QFontMetrics, QGuiApplication, QImage
from PySide6.QtPrintSupport import QPrintDialog, QPrinter
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QProgressBar,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from app.background.tasks import Latest
from app.case.attestations import with_depth_from
from app.case.session import Session
from app.case.settings_value import Paper
from app.dialogs.answers.sign_off import SignAndWriteDialog
from app.dialogs.base import Dialog, open_dialog
from app.dialogs.film_fields import FilmFields
from app.dialogs.language_names import LANGUAGES
from app.dialogs.sheet.parts import PartsList
from app.dialogs.sheet.preview import PagesView
from app.dialogs.sheet.printing import PAPERS, page_size, print_pages
from app.dialogs.sheet.work import PRINT_DPI, Preview, SheetJob, files, preview
from app.tools.base import Desk
from app.widgets import style
from app.widgets.file_windows import ask_new_folder, keep_place
from app.widgets.shared_texts import state_words
from core.distances.drilling import ORIGINS
from core.errors import OutputError, SoundingError
from core.plans.history import sign_off_state
from core.sheet.day import Day
from core.sheet.folder import Written, folder_within, proposed_folder
from core.sheet.parts import PART, PARTS, hindrance
from core.words.catalogue import languages, message, say, together
from core.words.drilling import ORIGINS as ORIGIN_WORDS


class SheetDialog(Dialog):
    """Shows what would be written; writes nothing until a folder is chosen."""

    heading = message("dialogs.sheet.dialog.sheet-and-record")
    accept_words = message("dialogs.sheet.dialog.write-to-a-folder")
    least_width = 980

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.written: tuple[Path, ...] = ()
        self._looks: dict[str, Preview] = {}
        self._job: SheetJob | None = None
        self._printer: QPrinter | None = None
        self._is_writing = False
        self.cancel.setText(say("dialogs.sheet.dialog.close"))
        self.state = QLabel(state_words(session.plan))
        self.state.setFont(style.font(13, bold=True))
        self.paper = QComboBox()
        self.paper.addItems(list(PAPERS))
        self.paper.setCurrentText(self.settings.value.paper)
        self.paper.setAccessibleName(say("dialogs.sheet.dialog.paper"))
        self.paper.currentTextChanged.connect(self._anew)
        self.pages_language = _languages(self.settings.value.sheet_language)
        self.pages_language.activated.connect(self._anew)
        self.alias = QCheckBox(say("dialogs.sheet.dialog.under-a-pseudonym"))
        self.alias.setToolTip(say("dialogs.sheet.dialog.names-dates-and-uids-are"))
        self.alias.toggled.connect(self._anew)
        self.origin = QComboBox()
        self.origin.addItem(say("dialogs.sheet.dialog.not-chosen-yet"), None)
        for name in ORIGINS:
            self.origin.addItem(str(ORIGIN_WORDS[name]), name)
        self.origin.setAccessibleName(say("dialogs.sheet.dialog.counted-from"))
        self.origin.activated.connect(lambda _index: self._choose_origin())
        self.parts = PartsList()
        self.parts.currentRowChanged.connect(lambda _row: self._look())
        self.parts.chosen_changed.connect(self.check)
        self.film = FilmFields(self.settings.value.tube, self.settings.value.pin)
        self.film.changed.connect(self._other_film)
        self.pages = PagesView()
        self.copy = self._button(say("dialogs.sheet.dialog.copy-page"), self._copy)
        self.print = self._button(say("dialogs.sheet.dialog.print"), self._print)
        self.bar = QProgressBar()
        self.bar.setTextVisible(True)
        self.stop = self._button(say("dialogs.sheet.dialog.stop"), self._stop)
        self.folder = self._button(say("dialogs.sheet.dialog.open-folder"), self._open_folder)
        self.folder.hide()
        self.sign = self._button(say("dialogs.sheet.dialog.sign-and-write"), self._sign)
        self._writes_to = ""
        """Folder of what was just signed, until it is measured and written."""
        self._lay_out()
        self._drawing = self._worker(self._drawn, self._not_drawn)
        self._writing = self._worker(self._is_written, self._not_written)
        self._printing = self._worker(self._send, self._not_printed)
        session.ledger_changed.connect(self._anew)
        self._busy(False)
        self._anew()
        self.parts.setFocus()

    def _lay_out(self) -> None:
        self.pages.top.addWidget(self.copy)
        self.pages.top.addWidget(self.print)
        self.pages.add_below_title(self.film)
        left = QVBoxLayout()
        left.addWidget(self.state)
        left.addWidget(self.parts, 1)
        choices = QGridLayout()
        for choice, (row, column, wide) in {
            self.origin: (0, 0, 2),
            self.paper: (2, 0, 1),
            self.pages_language: (2, 1, 1),
        }.items():
            label = QLabel(choice.accessibleName())
            label.setBuddy(choice)
            choices.addWidget(label, row, column, 1, wide)
            choices.addWidget(choice, row + 1, column, 1, wide)
        choices.setColumnStretch(1, 1)
        left.addLayout(choices)
        left.addWidget(self.alias)
        middle = QHBoxLayout()
        middle.setSpacing(14)
        middle.addLayout(left)
        middle.addWidget(self.pages, 1)
        self.body.addLayout(middle, 1)
        low = QHBoxLayout()
        low.addWidget(self.bar, 1)
        low.addWidget(self.stop)
        low.addWidget(self.folder)
        low.addWidget(self.sign)
        self.body.addLayout(low)
        for widget in (self.bar, self.stop, self.folder, self.trouble):
            # What comes and goes keeps its room, so that nothing slides under the mouse.
            policy = widget.sizePolicy()
            policy.setRetainSizeWhenHidden(True)
            widget.setSizePolicy(policy)
        self.trouble.setMinimumHeight(QFontMetrics(style.font(13)).lineSpacing() + 4)

    @property
    def images(self) -> tuple[QImage, ...]:
        """Pages of the part that is looked at."""
        return self.pages.images

    def is_complete(self) -> bool:
        """Something is chosen and can be made, and nothing is being written."""
        return self._job is not None and bool(self.parts.chosen) and not self._is_writing

    def job(self) -> SheetJob | None:
        """What everything is made of now; None while the ledger is not whole."""
        s = self.session
        if s.volume is None or s.ledger is None or not s.ledger_is_current:
            return None
        if not s.ledger_is_whole:
            return None
        return SheetJob(
            plan=s.plan,
            volume=s.volume,
            ledger=s.ledger,
            basis=s.basis.at_hand(s.plan, s.volume),
            paper=cast(Paper, self.paper.currentText()),
            day=Day(
                drills=self.settings.value.drills,
                sizes=self.settings.value.sizes,
                tube=self.film.tube,
                pin=self.film.pin,
            ),
            risks_file=self.settings.value.risks_file,
            language=self.pages_language.currentData(),
            patient_language=self.settings.value.patient_language,
            pseudonymous=self.alias.isChecked(),
        )

    def _accepted(self) -> None:
        job = self._job
        if job is None or not self.is_complete():
            return
        name = ask_new_folder(
            self,
            say("dialogs.sheet.dialog.write-sheet-and-record-to"),
            "record",
            lambda within: proposed_folder(within, job.ledger),
        )
        if name:
            self.write(folder_within(name, job.ledger))

    def write(self, folder: Path) -> None:
        """Write the chosen parts into a folder, in the background."""
        job, parts = self._job, self.parts.chosen
        if job is None or not parts:
            return
        self._is_writing = True
        self._busy(True, "Writing …")
        self._writing.ask(lambda task: files(job, parts, folder, task))
        self.check()

    def done(self, result: int) -> None:
        """Let go of work under way; files half on their way are never left."""
        for latest in (self._drawing, self._writing, self._printing):
            latest.drop()
        super().done(result)

    # -- a look at a part -------------------------------------------------------------------

    def _anew(self, *_: object) -> None:
        """Case, paper or names changed: nothing that was looked at holds any more."""
        self.state.setText(state_words(self.session.plan))
        self.origin.setCurrentIndex(self.origin.findData(self.session.plan.depth_from))
        self.origin.setEnabled(bool(self.session.plan.fixtures))
        self._looks.clear()
        self._job = self.job()
        ledger = None if self._job is None else self._job.ledger
        barred = {}
        for part in PARTS if ledger is not None else ():
            refusal = None if ledger is None else hindrance(part, ledger)
            if refusal is not None:
                barred[part] = refusal
        self.parts.tell_hindrances(barred)
        self._look()
        self.check()
        if self._writes_to and self._job is not None:
            folder, self._writes_to = folder_within(self._writes_to, self._job.ledger), ""
            keep_place("record", folder)
            QTimer.singleShot(0, lambda: self.write(folder))

    def check(self) -> None:
        """What is signed already is only written."""
        super().check()
        signed = sign_off_state(self.session.plan) == "signed"
        self.sign.setVisible(not signed and bool(self.session.plan.fixtures))
        self.sign.setEnabled(self.is_complete())
        # Return never leads to a draft where a signed sheet can be had.
        (self.ok if self.sign.isHidden() else self.sign).setDefault(True)

    def _sign(self) -> None:
        """Ask for the signature here; what is signed is written at once."""
        question = SignAndWriteDialog(self.session, self.desk, self)
        self._follow(question)
        open_dialog(question)

    def _follow(self, question: SignAndWriteDialog) -> None:
        question.accepted.connect(lambda: self._signed(question.folder.text()))
        question.asked_anew.connect(self._follow)

    def _signed(self, folder: str) -> None:
        if sign_off_state(self.session.plan) == "signed":
            self._writes_to = folder
            self._anew()

    def _choose_origin(self) -> None:
        """Where depths are counted from is part of the plan: who signs it signs that as well."""
        chosen = self.origin.currentData()
        if chosen != self.session.plan.depth_from and self._may_void():
            self.session.apply(*with_depth_from(self.session.plan, chosen))

    def _may_void(self) -> bool:
        """Whether the plan may be changed: of a signed one only when the person says so."""
        if sign_off_state(self.session.plan) != "signed":
            return True
        change = say("dialogs.sheet.dialog.choose-and-void")
        heading, question = str(self.heading), say("dialogs.sheet.dialog.voids-the-signature")
        may = self.desk.choose(heading, question, (change,)) == change
        if not may:
            self.origin.setCurrentIndex(self.origin.findData(self.session.plan.depth_from))
        return may

    def _other_film(self) -> None:
        """Another tube or pin: on the film's page, and on the sheet that shows it smaller."""
        tube, pin = self.film.kept
        self._anew()
        if (tube, pin) != (self.settings.value.tube, self.settings.value.pin):
            try:
                self.settings.change(tube=tube, pin=pin)
            except OutputError as refusal:
                self.tell(str(refusal))

    def _look(self) -> None:
        """Show the chosen part: what is known of it at once, else in the background."""
        job, part = self._job, self.parts.part
        self.film.setVisible(part == "film" and part not in self.parts.hindrances)
        for button in (self.copy, self.print):
            button.setEnabled(False)
        refusal = self.parts.hindrances.get(part)
        if job is None or refusal is not None:
            self._drawing.drop()
            self._busy(False)
            self.pages.tell(
                str(PART[part].words), self._no_page() if refusal is None else str(refusal)
            )
        elif part in self._looks:
            self._show(part, self._looks[part])
        else:
            self.pages.tell(str(PART[part].words), "")
            self._busy(True, say("dialogs.sheet.dialog.drawing-pages"))
            self._drawing.ask(lambda task: (job, part, preview(job, part, task)))

    def _no_page(self) -> str:
        session = self.session
        if session.ledger_problem is not None:
            return str(session.ledger_problem)
        if not session.confirmed:
            return say("dialogs.sheet.dialog.confirm-or-set-jaw-plane")
        return say("dialogs.sheet.dialog.everything-is-measured-first")

    def _drawn(self, found: tuple[SheetJob, str, Preview]) -> None:
        job, part, look_at = found
        if job is not self._job:
            return
        self._looks[part] = look_at
        self._busy(False)
        if part == self.parts.part:
            self._show(part, look_at)

    def _show(self, part: str, look_at: Preview) -> None:
        self.pages.show_part(str(PART[part].words), look_at.images, look_at.lines)
        for button in (self.copy, self.print):
            button.setEnabled(bool(look_at.images))

    # -- results ----------------------------------------------------------------------------

    def _is_written(self, done: Written) -> None:
        self.written = done.files
        self._is_writing = False
        self._busy(False)
        self.folder.show()
        words = say(
            "dialogs.sheet.dialog.files-are-in", files=len(done.files), parent=done.files[0].parent
        )
        if done.removed:
            gone = ", ".join(done.removed)
            words = together(words, say("dialogs.sheet.dialog.taken-out", gone=gone))
        self.tell(words)
        self.check()

    def _not_drawn(self, error: Exception) -> None:
        self._busy(False)
        self.pages.tell(str(PART[self.parts.part].words), _words_of(error))

    def _not_written(self, error: Exception) -> None:
        self._is_writing = False
        self._busy(False)
        self.tell(_words_of(error))
        self.check()

    def _not_printed(self, error: Exception) -> None:
        self._printer = None
        self._busy(False)
        self.tell(_words_of(error))

    def _progressed(self, done: int, total: int) -> None:
        self.bar.setRange(0, total)
        self.bar.setValue(done)

    def _stop(self) -> None:
        for latest in (self._drawing, self._writing, self._printing):
            latest.drop()
        self._is_writing = False
        self._busy(False)
        self.tell(say("dialogs.sheet.dialog.stopped-nothing-was-written"))
        self.check()

    def _busy(self, busy: bool, words: str = "") -> None:
        """Show that something is on its way; a look never hides that files are being written."""
        if self._is_writing and not words.startswith("Writing"):
            return
        self.bar.setVisible(busy)
        self.stop.setVisible(busy)
        if busy:
            self.tell("")
            self.bar.setRange(0, 100)
            self.bar.setValue(0)
            self.bar.setFormat(f"{words} %p %")

    def _copy(self) -> None:
        if self.images:
            QGuiApplication.clipboard().setImage(self.images[self.pages.page])
            self.tell(say("dialogs.sheet.dialog.the-page-is-copied"))

    def _open_folder(self) -> None:
        if self.written:
            QDesktopServices.openUrl(QUrl.fromLocalFile(str(self.written[0].parent)))

    # -- print ------------------------------------------------------------------------------

    def _print(self) -> None:
        job, part = self._job, self.parts.part
        if job is None or not self.images:
            return
        printer = QPrinter(QPrinter.PrinterMode.HighResolution)
        printer.setPageSize(page_size(self.images[0]))
        if QPrintDialog(printer, self).exec() != QPrintDialog.DialogCode.Accepted:
            return
        self._printer = printer
        self._busy(True, say("dialogs.sheet.dialog.drawing-for-the-printer"))
        self._printing.ask(lambda task: preview(job, part, task, dpi=PRINT_DPI))

    def _send(self, found: Preview) -> None:
        printer, self._printer = self._printer, None
        self._busy(False)
        if printer is not None:
            print_pages(printer, found.images)
            self.tell(say("dialogs.sheet.dialog.sent-to-the-printer-measure"))

    # -- parts ------------------------------------------------------------------------------

    def _worker(self, done: Callable[..., None], failed: Callable[[Exception], None]) -> Latest:
        return Latest(done, failed, progressed=self._progressed, parent=self)

    def _button(self, words: str, act: Callable[[], None]) -> QPushButton:
        button = QPushButton(words)
        button.setAutoDefault(False)
        button.clicked.connect(lambda _on: act())
        return button


def _words_of(error: Exception) -> str:
    """A refusal's own sentence; of a fault its kind, since its text may name a patient."""
    if isinstance(error, SoundingError):
        return str(error)
    return say("dialogs.sheet.dialog.it-could-not-be-made", name=type(error).__name__)


def show_sheet(session: Session, desk: Desk, parent: QWidget | None) -> Dialog:
    """Open sheet and record."""
    return open_dialog(SheetDialog(session, desk, parent))


def _languages(chosen: str) -> QComboBox:
    """As wide as the list of parts leaves it; unfolded it shows its words whole."""
    box = QComboBox()
    for code in languages():
        box.addItem(str(LANGUAGES[code]), code)
    box.setCurrentIndex(box.findData(chosen))
    box.setAccessibleName(say("dialogs.sheet.dialog.language"))
    box.setToolTip(say("dialogs.sheet.dialog.language"))
    box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
    box.view().setMinimumWidth(box.view().sizeHintForColumn(0) + 24)
    return box
