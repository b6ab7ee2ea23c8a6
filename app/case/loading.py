"""Opens an export in the background: first what is in it, then the chosen series."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from numpy.typing import NDArray
from PySide6.QtCore import QObject, Qt, Signal
from PySide6.QtWidgets import QLabel, QProgressBar, QPushButton, QVBoxLayout, QWidget

from app.background.tasks import Latest, Task
from app.case.grey_presets import presets
from core.distances import plane_field_kernels
from core.image import sampling_warm_up
from core.image.volume import Volume
from core.plans.plan import Plan
from core.plans.plan_file import check_scan, load_plan
from core.proposing.proposal import Proposal
from core.proposing.propose import propose
from core.scan import SeriesReport, inspect, open_scan
from core.scan.open import preview
from core.sheet.patient_words import printable_name
from core.words.catalogue import say


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Contents:
    """What an export holds.

    Parameters
    ----------
    pictures : tuple
        One preview a report, None where it cannot be read; empty where nobody has to choose.
    """

    path: str
    reports: tuple[SeriesReport, ...]
    pictures: tuple[NDArray[Any] | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loaded:
    """A scan ready to be shown."""

    path: str
    volume: Volume
    plan: Plan | None
    proposal: Proposal
    windows: dict[str, tuple[float, float]]


def must_ask(reports: tuple[SeriesReport, ...]) -> bool:
    """True where a person has to say which series is meant: several usable ones, or two dates."""
    usable = [report for report in reports if report.usable]
    dates = {report.date for report in reports if report.modality in ("CT", "")}
    return len(usable) > 1 or (len(usable) == 1 and len(dates) > 1)


def best_of(reports: tuple[SeriesReport, ...]) -> int:
    """Index of the series to preselect: usable, CT, the latest date, the smallest voxels."""

    def key(index: int) -> tuple[bool, bool, str, float, int]:
        r = reports[index]
        voxel = 1.0 if r.voxel_mm is None else r.voxel_mm[0] * r.voxel_mm[1] * r.voxel_mm[2]
        return r.usable, r.modality == "CT", r.date, -round(voxel, 6), r.shape[0]

    return max(range(len(reports)), key=key)


class Loading(QObject):
    """Two steps, each a worker; the newest request wins.

    Signals
    -------
    began(text)
        Something is being read.
    progressed(done, total)
    must_choose(Contents)
        Somebody has to choose a series; `take` goes on.
    loaded(Loaded)
    failed(error)
    """

    began = Signal(str)
    progressed = Signal(int, int)
    must_choose = Signal(object)
    loaded = Signal(object)
    failed = Signal(object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._plan: Plan | None = None
        self._look_in = Latest(
            self._found, self.failed.emit, progressed=self.progressed.emit, parent=self
        )
        self._read = Latest(
            self.loaded.emit, self.failed.emit, progressed=self.progressed.emit, parent=self
        )

    def open(self, path: str, plan: Plan | str | None = None) -> None:
        """Open an export, with a plan (or the path of one) made on it."""
        self.cancel()
        self._plan = None
        self.began.emit(say("case.loading.looking-through-the-files"))

        def work(task: Task) -> tuple[Contents, Plan | None]:
            known = load_plan(plan) if isinstance(plan, str) else plan
            reports = inspect(path, progress=task.progress, cancelled=task.cancelled)
            pictures: tuple[NDArray[Any] | None, ...] = ()
            if _chosen_by(known, reports) is None and must_ask(reports):
                pictures = tuple(preview(path, report) for report in reports)
            return Contents(path=path, reports=reports, pictures=pictures), known

        self._look_in.ask(work)

    def take(self, path: str, series: str | None) -> None:
        """Read one series of an export."""
        plan = self._plan
        self.began.emit(say("case.loading.reading-the-scan"))

        def work(task: Task) -> Loaded:
            volume = open_scan(path, series, progress=task.progress, cancelled=task.cancelled)
            # Summed up here once: it is compared before any number stands, and kept with the case.
            fingerprint = volume.fingerprint()
            if plan is not None:
                check_scan(plan, volume.identity, fingerprint=fingerprint)
            sampling_warm_up.prepare(volume.voxels.dtype)
            plane_field_kernels.prepare()
            # Reads the fonts for the bar at the top: not in the window's thread.
            printable_name(volume.identity.patient_name)
            return Loaded(
                path=path,
                volume=volume,
                plan=plan,
                proposal=propose(volume, cancelled=task.cancelled),
                windows=presets(volume),
            )

        self._read.ask(work)

    def cancel(self) -> None:
        """Give up what is being read."""
        self._look_in.drop()
        self._read.drop()

    def _found(self, result: tuple[Contents, Plan | None]) -> None:
        contents, self._plan = result
        known = _chosen_by(self._plan, contents.reports)
        if known is not None:
            self.take(contents.path, known)
        elif contents.pictures:
            self.must_choose.emit(contents)
        else:
            self.take(contents.path, None)


def _chosen_by(plan: Plan | None, reports: tuple[SeriesReport, ...]) -> str | None:
    """The series that a plan was made on, where the export has it just once."""
    if plan is None or plan.scan is None:
        return None
    keys = [r.key for r in reports if r.usable and r.uid == plan.scan.series_uid]
    return keys[0] if len(keys) == 1 else None


class LoadingPage(QWidget):
    """What is being read, how far it is, and a button to give up."""

    cancelled = Signal()

    def __init__(self, loading: Loading, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.what = QLabel("")
        self.what.setObjectName("heading")
        self.count = QLabel("")
        self.count.setObjectName("quiet")
        self.bar = QProgressBar()
        self.bar.setTextVisible(False)
        self.bar.setFixedSize(420, 8)
        self.cancel = QPushButton(say("case.loading.cancel"))
        self.cancel.clicked.connect(self.cancelled)
        column = QVBoxLayout(self)
        column.addStretch(2)
        for widget in (self.what, self.bar, self.count, self.cancel):
            column.addWidget(widget, 0, Qt.AlignmentFlag.AlignHCenter)
        column.addStretch(3)
        loading.began.connect(self._began)
        loading.progressed.connect(self._progressed)

    def _began(self, what: str) -> None:
        self.what.setText(what)
        self.count.setText("")
        self.bar.setRange(0, 0)

    def _progressed(self, done: int, total: int) -> None:
        if done >= total:
            # Everything is read: checking and putting it together has no count, and may take long.
            self.bar.setRange(0, 0)
            self.count.setText(say("case.loading.all-read", total=total))
            return
        self.bar.setRange(0, total)
        self.bar.setValue(done)
        self.count.setText(f"{done} of {total}")


def is_plan_file(path: str) -> bool:
    """True for what can only be a plan."""
    return Path(path).suffix.lower() == ".json"
