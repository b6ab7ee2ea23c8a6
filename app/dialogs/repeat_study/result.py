"""What a repeat study says: picture, figures, and the offer to count a plan's marks by it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLabel, QPushButton, QWidget

from app.case.attestations import now_iso
from app.case.session import Session
from app.dialogs.base import MOST_HEIGHT, Dialog, open_dialog
from app.pictures.plot_view import PlotView
from app.tools.base import Desk
from app.widgets.file_windows import ask_folder
from core.atomic import write_whole
from core.errors import SoundingError
from core.pictures.agreement_plot import agreement_plot
from core.pictures.ink import PAPER
from core.pictures.plot_chart import plot_chart
from core.sheet.png import chart_png
from core.sheet.repeat_page import (
    SCATTER_ONLY,
    comparison_lines,
    design_lines,
    repeat_pdf,
    spread_lines,
    table_lines,
)
from core.trust.operator_precision import own_hand, placement_by
from core.trust.repeat_result import result_of
from core.trust.repeatability import RepeatStudy
from core.words.catalogue import message, say


class RepeatResultDialog(Dialog):
    """The button takes a person's scatter over for the open plan."""

    heading = message("dialogs.repeat_study.result.repeat-study-what-it-says")
    accept_words = message("dialogs.repeat_study.result.count-this-plans-marks-by")
    least_width = 900

    def __init__(
        self, session: Session, desk: Desk, parent: QWidget | None, *, study: RepeatStudy
    ) -> None:
        super().__init__(session, desk, parent)
        self.study = study
        self.result_now = result_of(study)
        self.cancel.setText(say("dialogs.repeat_study.result.close"))
        for line in design_lines(self.result_now):
            self.words(line, quiet=True)
        for line in spread_lines(self.result_now):
            self.words(line)
        self.words(str(SCATTER_ONLY), quiet=True)
        self.which = QComboBox()
        self.which.setAccessibleName(say("dialogs.repeat_study.result.series-compared"))
        for comparison in self.result_now.comparisons:
            self.which.addItem(str(comparison.title))
        self.which.setCurrentIndex(len(self.result_now.comparisons) - 1)
        self.which.currentIndexChanged.connect(self._show)
        self.body.addWidget(self.which)
        self.plot = PlotView()
        self.plot.setMinimumHeight(200)
        self.plot.files.stem = "agreement"
        self.plot.files.failed.connect(desk.tell_error)
        self.body.addWidget(self.plot, 1)
        self.figures = self.words("")
        for line in (*table_lines(self.result_now), *self.result_now.troubles):
            self.words(line)
        self.person = QComboBox()
        self.person.setAccessibleName(say("dialogs.repeat_study.result.whose-hand"))
        self.person.addItems(list(self.result_now.spreads))
        save = QPushButton(say("dialogs.repeat_study.result.save-page-picture-and-readings"))
        save.setAutoDefault(False)
        save.clicked.connect(self._ask_folder)
        row = QHBoxLayout()
        row.addWidget(QLabel(say("dialogs.repeat_study.result.whose-hand-set-the-marks")))
        row.addWidget(self.person)
        row.addStretch(1)
        row.addWidget(save)
        self.body.addLayout(row)
        self.by = self.initials()
        self.resize(self.least_width, MOST_HEIGHT)
        self._show()

    def is_complete(self) -> bool:
        """A plan is open, a person has a scatter, and somebody answers for it."""
        has_plan = self.session.volume is not None
        return has_plan and bool(self.person.currentText()) and bool(self.by.text().strip())

    def give(self) -> None:
        """Into the plan, as a step that can be undone."""
        by = self.take_initials(self.by)
        hand = own_hand(self.study, self.person.currentText(), by=by, at=now_iso())
        counted = placement_by(hand).seen_mm
        self.session.apply(
            message(
                "dialogs.repeat_study.result.marks-count-by-the-repeat",
                person=hand.person,
                counted=counted,
            ),
            replace(self.session.plan, own_hand=hand),
        )

    def save_to(self, folder: Path) -> tuple[Path, ...]:
        """Page as PDF, picture as PNG, readings as JSON.

        Raises
        ------
        OutputError
            When a file cannot be written.
        """
        import json

        stem = f"repeat-study-{self.study.at[:10] or 'undated'}"
        files = {
            f"{stem}.pdf": repeat_pdf(self.result_now, paper=self.settings.value.paper),
            f"{stem}.json": json.dumps(self.study.to_json(), ensure_ascii=False, indent=1).encode(),
        }
        main = self.result_now.main
        if main is not None:
            files[f"{stem}.png"] = chart_png(plot_chart(agreement_plot(main)), scheme=PAPER)
        for name, data in files.items():
            write_whole(folder / name, data)
        return tuple(folder / name for name in files)

    def _show(self) -> None:
        at = self.which.currentIndex()
        found = self.result_now.comparisons
        self.which.setVisible(len(found) > 1)
        self.plot.setVisible(bool(found))
        if not 0 <= at < len(found):
            self.figures.setText("")
            return
        self.plot.show_plot(agreement_plot(found[at]))
        self.figures.setText("\n".join(comparison_lines(found[at])))

    def _ask_folder(self) -> None:
        name = ask_folder(self, say("dialogs.repeat_study.result.save-to"), "record")
        if not name:
            return
        try:
            files = self.save_to(Path(name))
        except SoundingError as error:
            self.tell(str(error))
            return
        self.tell(say("dialogs.repeat_study.result.files-are-in", files=len(files), name=name))


def show_result(session: Session, desk: Desk, parent: QWidget | None, study: RepeatStudy) -> Dialog:
    """Show what a study says."""
    return open_dialog(RepeatResultDialog(session, desk, parent, study=study))
