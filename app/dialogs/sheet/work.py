"""The sheet's work in the background: a look at each part, and the files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from PySide6.QtGui import QImage

from app.background.tasks import Task
from app.case.secret import practice_secret
from app.case.settings_value import Paper
from core.errors import SoundingError
from core.image.volume import Volume
from core.measuring.basis import Basis
from core.measuring.ledger import Ledger
from core.plans.plan import Plan
from core.sheet.case import Case
from core.sheet.day import Day
from core.sheet.folder import Written, settled_case, write_folder
from core.sheet.patient_page import read_risks
from core.sheet.preview import look_at
from core.sheet.raster import page_count, page_picture
from core.sheet.record import RecordSettings
from core.words.catalogue import SOURCE

PREVIEW_DPI = 80
PRINT_DPI = 300


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SheetJob:
    """What a sheet is made of, taken when it was asked for.

    Parameters
    ----------
    ledger : Ledger
        Whole, and of this plan.
    basis : Basis or None
        That of the measuring, where it is at hand: to make it once more takes seconds.
    day : Day
        The practice's own drills and sizes.
    risks_file : str
        The practice's own text for the patient's page; empty: none.
    language : str
        Of all other pages, whatever the screen speaks.
    patient_language : str
        Of the patient's page.
    pseudonymous : bool
        Names, dates and UIDs replaced in everything.
    """

    plan: Plan
    volume: Volume
    ledger: Ledger
    paper: Paper
    basis: Basis | None = None
    day: Day = field(default_factory=Day)
    risks_file: str = ""
    language: str = SOURCE
    patient_language: str = SOURCE
    pseudonymous: bool = False
    _kept: dict[str, Any] = field(default_factory=dict)

    def settings(self) -> RecordSettings:
        """Settings of the record; reads the practice's files.

        Raises
        ------
        OutputError
            ``risk-text``, ``secret-unusable``.
        """
        return RecordSettings(
            paper=self.paper,
            day=self.day,
            risks=read_risks(self.risks_file) if self.risks_file else "",
            language=self.language,
            patient_language=self.patient_language,
            secret=practice_secret() if self.pseudonymous else b"",
        )

    def case(self, settings: RecordSettings) -> Case:
        """What the pages are made of; made once, since it takes a second or two."""
        if "case" not in self._kept:
            self._kept["case"] = settled_case(
                self.plan, self.volume, self.ledger, settings=settings, basis=self.basis
            )
        case: Case = self._kept["case"]
        return case


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Preview:
    """One part as it would be written.

    Parameters
    ----------
    images : tuple of QImage
        Its pages, at their true size; empty where it has none.
    lines : tuple of str
        What its other files hold.
    """

    images: tuple[QImage, ...]
    lines: tuple[str, ...]


def preview(job: SheetJob, part: str, task: Task, *, dpi: int = PREVIEW_DPI) -> Preview:
    """A part as pictures of its very pages, and as lines where it has none."""
    tell = _step(task, 0.8)
    settings = job.settings()
    case = job.case(settings)
    tell(0.2)
    look = look_at(part, case, settings, progress=lambda s: tell(0.2 + 0.8 * s))
    images = () if look.pdf is None else rendered(look.pdf, task, dpi=dpi)
    return Preview(images=images, lines=look.lines)


def rendered(pdf: bytes, task: Task, *, dpi: int) -> tuple[QImage, ...]:
    """Pages of a PDF as pictures of true size at a resolution."""
    count = page_count(pdf)
    found = []
    for number in range(count):
        if task.cancelled():
            raise SoundingError("measuring-cancelled")
        found.append(_image(page_picture(pdf, number, dpi=dpi), dpi))
        task.progress(80 + 20 * (number + 1) // count, 100)
    return tuple(found)


def files(job: SheetJob, parts: tuple[str, ...], folder: Path, task: Task) -> Written:
    """Write the parts' files, all or none; nothing is written once it was cancelled."""
    settings = job.settings()
    return write_folder(
        job.plan,
        job.volume,
        job.ledger,
        folder,
        parts,
        settings,
        basis=job.basis,
        progress=_step(task, 1.0),
    )


def _step(task: Task, most: float) -> Callable[[float], None]:
    def tell(share: float) -> None:
        if task.cancelled():
            raise SoundingError("measuring-cancelled")
        task.progress(round(100 * most * share), 100)

    return tell


def _image(picture: Any, dpi: int) -> QImage:
    width, height = picture.size
    data = picture.tobytes()
    image = QImage(data, width, height, 3 * width, QImage.Format.Format_RGB888).copy()
    image.setDotsPerMeterX(round(dpi / 0.0254))
    image.setDotsPerMeterY(round(dpi / 0.0254))
    return image
