"""Repeat studies of the people at this machine: one file each, kept beside the cases."""

from __future__ import annotations

import json
import logging
import re
from dataclasses import dataclass
from pathlib import Path

from platformdirs import user_data_path

from app.case.own_files import KeptFileError, read_kept, told_aside, write_private
from core.errors import SoundingError
from core.trust.repeatability import RepeatStudy
from core.words.catalogue import say

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
        document = read_kept(path, "sounding-repeat-study")
        return RepeatStudy.of_json(document)
    except FileNotFoundError as fault:
        raise SoundingError(
            "repeat-unreadable", reason=say("case.repeat_studies.there-is-no-such-file")
        ) from fault
    except KeptFileError as fault:
        raise SoundingError("repeat-unreadable", reason=fault.fields["reason"]) from fault
    except (ArithmeticError, RecursionError) as fault:
        raise SoundingError(
            "repeat-unreadable", reason=say("case.repeat_studies.its-numbers-cannot-be-used")
        ) from fault


def kept_studies(folder: Path | None = None) -> tuple[tuple[KeptStudy, ...], tuple[str, ...]]:
    """All studies that can be read, the newest first; one that cannot be is set aside.

    Returns
    -------
    studies : tuple of KeptStudy
    troubles : tuple of str
        A sentence for each that could not be read.
    """
    found, troubles = [], []
    for path in sorted((folder or studies_folder()).glob("*.repeat.json")):
        try:
            found.append(KeptStudy(path=path, study=read_study(path)))
        except SoundingError as fault:
            log.warning("a repeat study was set aside")
            troubles.append(told_aside(path, fault))
    newest = sorted(found, key=lambda kept: kept.study.at, reverse=True)
    return tuple(newest), tuple(troubles)


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
    text = json.dumps(study.to_json(), ensure_ascii=False, indent=1, allow_nan=False)
    write_private(path, text.encode("utf-8"))
    return path
