"""Lists the series of an archive and opens one into the scan cache.

Nothing of what an archive says becomes the name of a file. A series stands in the cache only once
all of it has arrived; before that it lies under a name that nobody opens.
"""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from platformdirs import user_cache_path
from pydicom.dataset import Dataset

from app.archive.node import Connection, require_installed
from core.errors import SoundingError
from core.words.catalogue import say

FIND = "1.2.840.10008.5.1.4.1.2.2.1"
MOVE = "1.2.840.10008.5.1.4.1.2.2.2"
GET = "1.2.840.10008.5.1.4.1.2.2.3"
"""Study Root Query/Retrieve (PS3.4 annex C)."""

SCANS = (
    "1.2.840.10008.5.1.4.1.1.2", "1.2.840.10008.5.1.4.1.1.2.1", "1.2.840.10008.5.1.4.1.1.4",
    "1.2.840.10008.5.1.4.1.1.4.1", "1.2.840.10008.5.1.4.1.1.13.1.2",
    "1.2.840.10008.5.1.4.1.1.7", "1.2.840.10008.5.1.4.1.1.7.4",
)  # fmt: skip
"""CT and MR, plain and enhanced; X-Ray 3D Craniofacial; secondary captures, plain and in frames."""

_PENDING = (0xFF00, 0xFF01)


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """One series as the archive describes it."""

    patient_name: str
    patient_id: str
    study_date: str
    study_uid: str
    series_uid: str
    modality: str
    description: str
    count: int | None


def scan_cache() -> Path:
    """Where fetched series lie; may be emptied at any time."""
    return Path(user_cache_path("sounding", appauthor=False)) / "scans"


def find_series(connection: Connection, *, patient: str = "", study: str = "") -> list[Listed]:
    """Series of a patient or of a study.

    Raises
    ------
    SoundingError
        ``archive-search-wide``, ``archive-search-failed``, and those of the association.
    """
    require_installed()
    if not patient.strip("* ?") and not study.strip("* ?"):
        raise SoundingError("archive-search-wide")
    with connection.association([(FIND, _plain())]) as assoc:
        studies = [{"StudyInstanceUID": study}] if study else []
        if not study:
            asked = _asked("STUDY", PatientID=patient, StudyInstanceUID="")
            found = _answers(connection, assoc.send_c_find(asked, FIND))
            studies = [{"StudyInstanceUID": str(d.StudyInstanceUID)} for d in found]
        series: list[Listed] = []
        for one in studies:
            asked = _asked(
                "SERIES", **one, PatientName="", PatientID=patient, StudyDate="",
                SeriesInstanceUID="", Modality="", SeriesDescription="",
                NumberOfSeriesRelatedInstances="",
            )  # fmt: skip
            found = _answers(connection, assoc.send_c_find(asked, FIND))
            series += [_listed(d, one["StudyInstanceUID"]) for d in found]
    return series


def fetch_series(
    connection: Connection,
    study: str,
    series: str,
    *,
    into: Path | None = None,
    move: bool = False,
    progress: Callable[[int, int], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Path:
    """Bring one series here.

    Parameters
    ----------
    connection : Connection
    study, series : str
        UIDs.
    into : Path, optional
        A new folder; else one in the scan cache, where an earlier one of this series is replaced.
    move : bool
        C-MOVE to our own port in place of C-GET.
    progress : callable (done, total), optional
    cancelled : callable, optional

    Returns
    -------
    Path
        The folder, complete.

    Raises
    ------
    SoundingError
        ``archive-fetch-failed``, ``archive-series-incomplete``, ``archive-move-port``,
        ``archive-port-taken``, ``measuring-cancelled``, and those of the association.
    """
    require_installed()
    if move and connection.listen is None:
        raise SoundingError("archive-move-port")
    expected = _expected(connection, study, series)
    target = (
        scan_cache() / hashlib.sha256(series.encode()).hexdigest()[:32] if into is None else into
    )
    with _arriving(target) as folder:
        tray = _Tray(folder, series, expected, progress, cancelled)
        asked = _asked("SERIES", StudyInstanceUID=study, SeriesInstanceUID=series)
        (_by_move if move else _by_get)(connection, asked, tray)
        if not tray.count or (expected is not None and tray.count < expected):
            raise SoundingError(
                "archive-series-incomplete", found=tray.count, expected=expected or "the"
            )
    return target


@dataclass(slots=True)
class _Tray:
    """Puts each object that arrives into the folder."""

    folder: Path
    series: str
    expected: int | None
    progress: Callable[[int, int], None] | None
    cancelled: Callable[[], bool] | None
    uids: set[str] = field(default_factory=set)

    @property
    def count(self) -> int:
        return len(self.uids)

    @property
    def stopped(self) -> bool:
        return self.cancelled is not None and self.cancelled()

    def take(self, event: Any) -> int:
        if self.stopped:
            return 0xFE00
        dataset = event.dataset
        dataset.file_meta = event.file_meta
        # What was not asked for is not mixed in.
        if str(dataset.get("SeriesInstanceUID", "")) != self.series:
            return 0xA900
        dataset.save_as(self.folder / f"{self.count + 1:06d}.dcm", enforce_file_format=True)
        self.uids.add(str(dataset.SOPInstanceUID))
        if self.progress is not None:
            self.progress(self.count, self.expected or 0)
        return 0x0000


def _expected(connection: Connection, study: str, series: str) -> int | None:
    for one in find_series(connection, study=study):
        if one.series_uid == series:
            return one.count
    return None


def _by_get(connection: Connection, asked: Dataset, tray: _Tray) -> None:
    from pynetdicom import build_role, evt

    roles = [build_role(uid, scp_role=True) for uid in SCANS]
    contexts = [(GET, _plain()), *((uid, _any_syntax()) for uid in SCANS)]
    handlers = [(evt.EVT_C_STORE, tray.take)]
    with connection.association(contexts, handlers=handlers, roles=roles) as assoc:
        _followed(connection, assoc, assoc.send_c_get(asked, GET), tray)


def _by_move(connection: Connection, asked: Dataset, tray: _Tray) -> None:
    from pynetdicom import evt

    from app.archive.listening import listening

    with (
        listening(connection, SCANS, [(evt.EVT_C_STORE, tray.take)]),
        connection.association([(MOVE, _plain())]) as assoc,
    ):
        _followed(connection, assoc, assoc.send_c_move(asked, connection.title, MOVE), tray)


def _followed(connection: Connection, assoc: Any, answers: Any, tray: _Tray) -> None:
    """Read the answers to the end; stop where that is asked."""
    code = None
    for status, _ in answers:
        code = getattr(status, "Status", None)
        if tray.stopped:
            assoc.abort()
            raise SoundingError("measuring-cancelled")
        if code is None or code not in (0, *_PENDING):
            break
    if code != 0:
        reason = (
            say("archive.fetching.no-answer")
            if code is None
            else say("archive.fetching.status-0x", code=code)
        )
        raise SoundingError(
            "archive-fetch-failed", node=connection.node, title=connection.title, reason=reason
        )


@contextmanager
def _arriving(target: Path) -> Iterator[Path]:
    """A folder that takes its name only once it is complete."""
    part = target.with_name(f"{target.name}.part")
    shutil.rmtree(part, ignore_errors=True)
    part.mkdir(parents=True)
    try:
        yield part
        if target.is_dir() and target.parent == scan_cache():
            shutil.rmtree(target)
        part.rename(target)
    finally:
        shutil.rmtree(part, ignore_errors=True)


def _answers(connection: Connection, found: Any) -> list[Dataset]:
    kept: list[Dataset] = []
    for status, dataset in found:
        code = getattr(status, "Status", None)
        if code in _PENDING and dataset is not None:
            kept.append(dataset)
        elif code != 0:
            reason = (
                say("archive.fetching.no-answer")
                if code is None
                else say("archive.fetching.status-0x", code=code)
            )
            raise SoundingError(
                "archive-search-failed", node=connection.node, title=connection.title, reason=reason
            )
    return kept


def _listed(found: Dataset, study: str) -> Listed:
    count = str(found.get("NumberOfSeriesRelatedInstances") or "")
    return Listed(
        patient_name=str(found.get("PatientName") or ""),
        patient_id=str(found.get("PatientID") or ""),
        study_date=str(found.get("StudyDate") or ""),
        study_uid=study,
        series_uid=str(found.get("SeriesInstanceUID") or ""),
        modality=str(found.get("Modality") or ""),
        description=str(found.get("SeriesDescription") or ""),
        count=int(count) if count.isdecimal() else None,
    )


def _asked(level: str, **keys: str) -> Dataset:
    asked = Dataset()
    asked.QueryRetrieveLevel = level
    for keyword, value in keys.items():
        setattr(asked, keyword, value)
    return asked


def _plain() -> tuple[str, ...]:
    from pydicom.uid import ExplicitVRLittleEndian, ImplicitVRLittleEndian

    return (ExplicitVRLittleEndian, ImplicitVRLittleEndian)


def _any_syntax() -> list[str]:
    from pynetdicom import ALL_TRANSFER_SYNTAXES

    return list(ALL_TRANSFER_SYNTAXES)
