"""Sends the DICOM objects of a sheet's folder: nothing unsigned unless asked, nothing twice.

What an archive has stored is written down in the folder after each object, so that a run that was
stopped goes on where it stopped. An object that was made anew has another UID and is sent.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import pydicom
from pydicom.dataset import Dataset
from pydicom.errors import InvalidDicomError
from pydicom.uid import ExplicitVRLittleEndian, ImplicitVRLittleEndian

from app.archive.node import Connection, Node, require_installed, status
from core.atomic import write_whole
from core.errors import SoundingError
from core.measuring.ledger import LEDGER_FILE

SENT_FILE = "sheet.sent.json"
COMMITMENT = "1.2.840.10008.1.20.1"
COMMITMENT_INSTANCE = "1.2.840.10008.1.20.1.1"
"""Storage Commitment Push Model SOP class and its well-known instance (PS3.4 annex J)."""

COMMITMENT_S = 15.0
"""How long an answer is waited for; some archives answer hours later, to a port of ours."""

Commitment = Literal["not asked", "not offered", "not confirmed", "confirmed", "refused"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """What became of a folder.

    Parameters
    ----------
    stored : tuple of str
        Names of files that the archive took in this run.
    before : tuple of str
        Those that it had confirmed in an earlier one.
    commitment : Commitment
    """

    stored: tuple[str, ...]
    before: tuple[str, ...]
    commitment: Commitment


@dataclass(slots=True)
class _Book:
    """Which objects an archive has stored, kept in the folder."""

    path: Path
    nodes: dict[str, list[str]] = field(default_factory=dict)

    @classmethod
    def of(cls, folder: Path) -> _Book:
        path = folder / SENT_FILE
        try:
            document = json.loads(path.read_text("utf-8"))
            stored = {str(k): [str(uid) for uid in v] for k, v in document["stored"].items()}
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            # Unreadable: sent once more, which an archive takes as the same object.
            return cls(path)
        return cls(path, stored)

    def has(self, node: Node, uid: str) -> bool:
        return uid in self.nodes.get(str(node), [])

    def add(self, node: Node, uid: str) -> None:
        self.nodes.setdefault(str(node), []).append(uid)
        document = {"format": "sounding-sent", "version": 1, "stored": self.nodes}
        write_whole(self.path, json.dumps(document, indent=1).encode("utf-8"))


def send_folder(
    folder: Path,
    connection: Connection,
    *,
    unsigned: bool = False,
    again: bool = False,
    commitment: bool = True,
    progress: Callable[[int, int], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Sent:
    """Send a folder's objects, each once.

    Parameters
    ----------
    folder : Path
        Written by `core.sheet.folder.write_folder`.
    connection : Connection
    unsigned : bool
        True: a draft is sent too.
    again : bool
        True: what the archive has stored before is sent too.
    commitment : bool
        Ask the archive, where it offers that, to confirm that it keeps the objects.
    progress : callable (done, total), optional
    cancelled : callable, optional
        Asked before each object.

    Raises
    ------
    SoundingError
        ``archive-not-installed``, ``archive-nothing-to-send``, ``archive-unsigned``,
        ``archive-no-answer``, ``archive-certificate``, ``archive-stopped``,
        ``archive-not-all-stored``.
    """
    require_installed()
    objects = read_objects(folder)
    if not unsigned:
        refuse_unsigned(folder, objects)
    book, node = _Book.of(folder), connection.node
    before = [n for n, d in objects if not again and book.has(node, str(d.SOPInstanceUID))]
    waiting = [(name, d) for name, d in objects if name not in before]
    total, done = len(objects), len(before)
    answers = _Answers()
    with (
        _listening(connection, answers),
        connection.association(
            _contexts(d for _, d in objects), handlers=answers.handlers
        ) as assoc,
    ):
        refusals: list[tuple[str, str]] = []
        for name, dataset in waiting:
            if cancelled is not None and cancelled():
                raise SoundingError("archive-stopped", node=node, done=done, total=total)
            reason = _stored(assoc, dataset)
            if reason:
                refusals.append((name, reason))
                continue
            book.add(node, str(dataset.SOPInstanceUID))
            done += 1
            if progress is not None:
                progress(done, total)
        if refusals:
            name, reason = refusals[0]
            raise SoundingError(
                "archive-not-all-stored", node=node, done=done, total=total, name=name,
                reason=reason,
            )  # fmt: skip
        said = _committed(assoc, [d for _, d in objects], answers) if commitment else "not asked"
    return Sent(stored=tuple(n for n, _ in waiting), before=tuple(before), commitment=said)


def read_objects(folder: Path) -> list[tuple[str, Dataset]]:
    """Name and content of each DICOM object, the report first.

    Raises
    ------
    SoundingError
        ``archive-nothing-to-send``.
    """
    found: list[tuple[str, Dataset]] = []
    for path in sorted(folder.glob("*.dcm")):
        try:
            found.append((path.name, pydicom.dcmread(path)))
        except (InvalidDicomError, OSError):
            continue
    if not found:
        raise SoundingError("archive-nothing-to-send", path=folder)
    return sorted(found, key=lambda pair: pair[0] != "measurements.dcm")


def refuse_unsigned(folder: Path, objects: Iterable[tuple[str, Dataset]]) -> None:
    """Refuse a set of which anything is a draft, or of which nothing says that it is signed.

    Raises
    ------
    SoundingError
        ``archive-unsigned`` with the name of the first.
    """
    for name, dataset in objects:
        drafted = str(dataset.get("SeriesDescription", "")).startswith("DRAFT")
        if drafted or dataset.get("VerificationFlag", "VERIFIED") != "VERIFIED":
            raise SoundingError("archive-unsigned", name=name)
    try:
        signed = json.loads((folder / LEDGER_FILE).read_text("utf-8"))["plan"]["signed"]
    except (OSError, ValueError, KeyError, TypeError):
        signed = False
    if signed is not True:
        raise SoundingError("archive-unsigned", name=LEDGER_FILE)


def _contexts(datasets: Iterable[Dataset]) -> list[tuple[str, tuple[str, ...]]]:
    plain = (ExplicitVRLittleEndian, ImplicitVRLittleEndian)
    classes = dict.fromkeys(str(d.SOPClassUID) for d in datasets)
    return [*((uid, plain) for uid in classes), (COMMITMENT, plain)]


def _stored(assoc: Any, dataset: Dataset) -> str:
    """Why an object was not stored; empty where it was, with a warning or without."""
    try:
        answer = assoc.send_c_store(dataset)
    except (ValueError, RuntimeError) as error:
        # No presentation context was accepted for its class, or the association is gone.
        return str(error).partition(".")[0]
    code = getattr(answer, "Status", None)
    # 0xB0xx: stored, with elements coerced or of no interest (PS3.4 table B.2-1).
    return "" if code == 0 or (code or 0) >> 8 == 0xB0 else status(code)


class _Answers:
    """Reports about storage commitment, on our own association or to our port."""

    def __init__(self) -> None:
        from pynetdicom import evt

        self.arrived = threading.Event()
        self.kept: set[str] = set()
        self.transaction = ""
        self.handlers = [(evt.EVT_N_EVENT_REPORT, self._report)]

    def _report(self, event: Any) -> tuple[int, None]:
        said = event.event_information
        if str(said.get("TransactionUID", "")) == self.transaction:
            items = said.get("ReferencedSOPSequence") or ()
            self.kept = {str(item.ReferencedSOPInstanceUID) for item in items}
            self.arrived.set()
        return 0x0000, None


def _listening(connection: Connection, answers: _Answers) -> Any:
    """Our own port open while objects are sent, where one is named."""
    from contextlib import nullcontext

    from app.archive.listening import listening

    if connection.listen is None:
        return nullcontext()
    return listening(connection, [COMMITMENT], answers.handlers)


def _committed(assoc: Any, datasets: list[Dataset], answers: _Answers) -> Commitment:
    if not any(c.abstract_syntax == COMMITMENT for c in assoc.accepted_contexts):
        return "not offered"
    from pydicom.uid import generate_uid

    request = Dataset()
    request.TransactionUID = answers.transaction = str(generate_uid(prefix=None))
    request.ReferencedSOPSequence = [_reference(d) for d in datasets]
    status, _ = assoc.send_n_action(request, 1, COMMITMENT, COMMITMENT_INSTANCE)
    if getattr(status, "Status", None) != 0:
        return "refused"
    if not answers.arrived.wait(COMMITMENT_S):
        return "not confirmed"
    return "confirmed" if answers.kept >= {str(d.SOPInstanceUID) for d in datasets} else "refused"


def _reference(dataset: Dataset) -> Dataset:
    item = Dataset()
    item.ReferencedSOPClassUID = dataset.SOPClassUID
    item.ReferencedSOPInstanceUID = dataset.SOPInstanceUID
    return item
