"""The sheet's work in the background: pages as pictures for the preview, and the files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from PySide6.QtGui import QImage

from app.settings import Paper
from app.tasks import Task
from core.drawing import window_of_volume
from core.errors import SoundingError
from core.image.volume import Volume
from core.measuring.ledger import Ledger
from core.plans.plan import Plan
from core.plans.sizes import ListedSize
from core.sheet.case import case_of
from core.sheet.pdf import sheet_pdf
from core.sheet.writer import write_sheet

PREVIEW_DPI = 80
PRINT_DPI = 300
_POINTS_PER_INCH = 72


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SheetJob:
    """What a sheet is made of, taken when it was asked for.

    Parameters
    ----------
    ledger : Ledger
        Whole, and of this plan.
    """

    plan: Plan
    volume: Volume
    ledger: Ledger
    paper: Paper
    sizes: tuple[ListedSize, ...]


def pages(job: SheetJob, task: Task, *, dpi: int = PREVIEW_DPI) -> tuple[QImage, ...]:
    """All pages as pictures, from the very PDF that would be written."""
    case = case_of(
        job.plan,
        job.volume,
        _with_fingerprint(job),
        without_viewing=False,
        window=window_of_volume(job.volume),
        sizes=job.sizes,
    )
    return rendered(sheet_pdf(case, paper=job.paper, progress=_step(task, 0.8)), task, dpi=dpi)


def rendered(pdf: bytes, task: Task, *, dpi: int) -> tuple[QImage, ...]:
    """Pages of a PDF as pictures of true size at a resolution."""
    import pypdfium2

    document = pypdfium2.PdfDocument(pdf)
    try:
        found = []
        for number in range(len(document)):
            if task.cancelled():
                raise SoundingError("measuring-cancelled")
            bitmap = document[number].render(scale=dpi / _POINTS_PER_INCH)
            found.append(_image(bitmap.to_pil().convert("RGB"), dpi))
            task.progress(80 + 20 * (number + 1) // len(document), 100)
        return tuple(found)
    finally:
        document.close()


def files(job: SheetJob, folder: Path, task: Task) -> tuple[Path, ...]:
    """Write the sheet's files; nothing is written once it was cancelled."""
    return write_sheet(
        job.plan,
        job.volume,
        _with_fingerprint(job),
        folder,
        paper=job.paper,
        sizes=job.sizes,
        progress=_step(task, 1.0),
    )


def _with_fingerprint(job: SheetJob) -> Ledger:
    """A ledger that leaves the program names the voxels that it was measured on."""
    return replace(job.ledger, scan_fingerprint=job.volume.fingerprint())


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
