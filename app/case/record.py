"""What is known about a kept case besides its plan: one small file beside it."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path

from app.case.own_files import KeptFileError, read_kept
from core.errors import PlanError
from core.identity import Tooth
from core.words.catalogue import say

PLAN, ABOUT = "case.plan.json", "case.json"
FORM = "sounding-case"
MOST_LETTERS = 4096
"""No path, name or identifier of a scan is longer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseRecord:
    """What is known about a kept case.

    Parameters
    ----------
    key : str
        Name of its folder.
    source : str
        Folder, file or zip of the scan.
    series : str
        Series UID within the source.
    plan_file : str
        The user's own plan file, where the plan was saved or opened by hand.
    patient, tooth : str
        For the list of recent cases; shown only while names are not hidden.
    changed : str
        ISO 8601, the last change.
    apart_from : str
        Key of the case that this one was split from, because two windows changed it.
    closed : bool
        False while it is open, and after a crash.
    """

    key: str
    source: str = ""
    series: str = ""
    plan_file: str = ""
    patient: str = ""
    tooth: str = ""
    scanned: str = ""
    changed: str = ""
    apart_from: str = ""
    closed: bool = False


_TEXTS = (
    "source", "series", "plan_file", "patient", "tooth", "scanned", "changed", "apart_from",
)  # fmt: skip


def about(record: CaseRecord) -> bytes:
    """The record as its file holds it."""
    document = {"format": FORM, **asdict(record)}
    return json.dumps(document, ensure_ascii=False, indent=1).encode("utf-8")


def read_record(place: Path) -> CaseRecord:
    """The record of a kept case.

    Raises
    ------
    FileNotFoundError
        When the folder holds none.
    KeptFileError
        ``kept-unreadable`` when it is not as it must be.
    """
    path = place / ABOUT
    document = read_kept(path, FORM)
    texts = {name: document.get(name, "") for name in _TEXTS}
    closed = document.get("closed", False)
    for name, value in texts.items():
        if not isinstance(value, str) or len(value) > MOST_LETTERS or "\0" in value:
            raise KeptFileError(
                "kept-unreadable", path=path, reason=say("case.record.is-not-a-text", name=name)
            )
    if not isinstance(closed, bool):
        raise KeptFileError(
            "kept-unreadable", path=path, reason=say("case.record.closed-is-neither-yes-nor")
        )
    if texts["tooth"] and not _is_tooth(texts["tooth"]):
        raise KeptFileError(
            "kept-unreadable", path=path, reason=say("case.record.its-tooth-is-none")
        )
    return CaseRecord(key=place.name, closed=closed, **texts)


def _is_tooth(number: str) -> bool:
    try:
        Tooth.of(number)
    except (PlanError, ValueError):
        return False
    return True
