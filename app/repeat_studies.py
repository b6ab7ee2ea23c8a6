"""Repeat studies of the people at this machine: one file each, kept beside the cases."""

from __future__ import annotations

import json
import logging
import re
from dataclasses import dataclass
from pathlib import Path

from platformdirs import user_data_path

from core.atomic import write_whole
from core.errors import SoundingError
from core.trust.repeatability import RepeatStudy

log = logging.getLogger("sounding.studies")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KeptStudy:
    """A study and the file that it lives in."""

    path: Path
    study: RepeatStudy


def studies_folder() -> Path:
    """Where the studies are kept."""
    return user_data_path("sounding", appauthor=False) / "repeat-studies"


def read_study(path: Path) -> RepeatStudy:
    """A study from its file.

    Raises
    ------
    SoundingError
        ``repeat-unreadable``.
    """
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as fault:
        raise SoundingError("repeat-unreadable", reason=str(fault)) from fault
    if not isinstance(document, dict):
        raise SoundingError("repeat-unreadable", reason="it holds no object")
    return RepeatStudy.of_json(document)


def kept_studies(folder: Path | None = None) -> tuple[KeptStudy, ...]:
    """All studies that can be read, the newest first."""
    found = []
    for path in sorted((folder or studies_folder()).glob("*.repeat.json")):
        try:
            found.append(KeptStudy(path=path, study=read_study(path)))
        except SoundingError as fault:
            log.warning("a repeat study was passed over: %s", fault)
    return tuple(sorted(found, key=lambda kept: kept.study.at, reverse=True))


def keep_study(study: RepeatStudy, path: Path | None = None) -> Path:
    """Write a study; a new one gets a file of its own.

    Raises
    ------
    OutputError
        When it cannot be written.
    """
    if path is None:
        seed = 0 if study.design is None else study.design.seed
        when = re.sub(r"[^0-9]", "", study.at)[:14]
        path = studies_folder() / f"{when}-{seed}.repeat.json"
    path.parent.mkdir(parents=True, exist_ok=True)
    text = json.dumps(study.to_json(), ensure_ascii=False, indent=1, allow_nan=False)
    write_whole(path, text.encode("utf-8"))
    return path
