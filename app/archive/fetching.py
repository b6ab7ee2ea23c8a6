"""Brings a series of an archive into the scan cache.

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

from app.archive.node import Connection, plain_syntaxes, require_installed, require_offered, status
from app.archive.searching import Listed, Search, find_series, identifier
from core.errors import SoundingError

MOVE = "1.2.840.10008.5.1.4.1.2.2.2"
GET = "1.2.840.10008.5.1.4.1.2.2.3"
"""Study Root Query/Retrieve, move and get (PS3.4 annex C)."""

SCANS = (
    "1.2.840.10008.5.1.4.1.1.2", "1.2.840.10008.5.1.4.1.1.2.1", "1.2.840.10008.5.1.4.1.1.4",
    "1.2.840.10008.5.1.4.1.1.4.1", "1.2.840.10008.5.1.4.1.1.13.1.2",
    "1.2.840.10008.5.1.4.1.1.7", "1.2.840.10008.5.1.4.1.1.7.4",
)  # fmt: skip
"""CT and MR, plain and enhanced; X-Ray 3D Craniofacial; secondary captures, plain and in frames."""

_PENDING = (0xFF00, 0xFF01)


def scan_cache() -> Path:
    """Where fetched series lie; may be emptied at any time."""
    return Path(user_cache_path("sounding", appauthor=False)) / "scans"


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
        ``archive-fetch-failed``, ``archive-series-incomplete``, ``archive-other-patient``,
        ``archive-move-port``, ``archive-port-taken``, ``archive-not-offered``,
        ``measuring-cancelled``, and those of the association.
    """
    require_installed()
    if move and connection.listen is None:
        raise SoundingError("archive-move-port")
    listed = _listed(connection, study, series)
    expected = None if listed is None else listed.count
    target = (
        scan_cache() / hashlib.sha256(series.encode()).hexdigest()[:32] if into is None else into
    )
    with _arriving(target) as folder:
        patient = "" if listed is None else listed.patient_id
        tray = _Tray(folder, series, patient, expected, progress, cancelled)
        asked = identifier("SERIES", StudyInstanceUID=study, SeriesInstanceUID=series)
        (_by_move if move else _by_get)(connection, asked, tray)
        if tray.other is not None:
            raise SoundingError("archive-other-patient", listed=patient, found=tray.other)
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
    patient: str
    expected: int | None
    progress: Callable[[int, int], None] | None
    cancelled: Callable[[], bool] | None
    uids: set[str] = field(default_factory=set)
    other: str | None = None
    """Whose slices they are, where that is not whom the archive listed."""

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
        found = str(dataset.get("PatientID") or "")
        if self.patient and found.strip() != self.patient.strip():
            self.other = found
            return 0xA900
        dataset.save_as(self.folder / f"{self.count + 1:06d}.dcm", enforce_file_format=True)
        self.uids.add(str(dataset.SOPInstanceUID))
        if self.progress is not None:
            self.progress(self.count, self.expected or 0)
        return 0x0000


def _listed(connection: Connection, study: str, series: str) -> Listed | None:
    found = find_series(connection, Search(study=study))
    return next((one for one in found if one.series_uid == series), None)


def _by_get(connection: Connection, asked: Dataset, tray: _Tray) -> None:
    from pynetdicom import build_role, evt

    roles = [build_role(uid, scp_role=True) for uid in SCANS]
    contexts = [(GET, plain_syntaxes()), *((uid, _any_syntax()) for uid in SCANS)]
    handlers = [(evt.EVT_C_STORE, tray.take)]
    with connection.association(contexts, handlers=handlers, roles=roles) as assoc:
        require_offered(connection, assoc, GET, "C-GET")
        _followed(connection, assoc, assoc.send_c_get(asked, GET), tray)


def _by_move(connection: Connection, asked: Dataset, tray: _Tray) -> None:
    from pynetdicom import evt

    from app.archive.listening import listening

    with (
        listening(connection, SCANS, [(evt.EVT_C_STORE, tray.take)]),
        connection.association([(MOVE, plain_syntaxes())]) as assoc,
    ):
        require_offered(connection, assoc, MOVE, "C-MOVE")
        _followed(connection, assoc, assoc.send_c_move(asked, connection.title, MOVE), tray)


def _followed(connection: Connection, assoc: Any, answers: Any, tray: _Tray) -> None:
    """Read the answers to the end; stop where that is asked."""
    code = None
    for answer, _ in answers:
        code = getattr(answer, "Status", None)
        if tray.stopped:
            assoc.abort()
            raise SoundingError("measuring-cancelled")
        if code is None or code not in (0, *_PENDING):
            break
    # What was refused for whose it is makes the archive report a failure of its own.
    if code != 0 and tray.other is None:
        raise SoundingError(
            "archive-fetch-failed", node=connection.node, title=connection.title,
            reason=status(code),
        )  # fmt: skip


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


def _any_syntax() -> list[str]:
    from pynetdicom import ALL_TRANSFER_SYNTAXES

    return list(ALL_TRANSFER_SYNTAXES)
