"""Asks an archive which series it has of a patient, a name, a day or a study."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

from pydicom.dataset import Dataset

from app.archive.node import Connection, plain_syntaxes, require_installed, require_offered, status
from core.errors import SoundingError

FIND = "1.2.840.10008.5.1.4.1.2.2.1"
"""Study Root Query/Retrieve, find (PS3.4 annex C)."""

MOST_STUDIES = 200
"""More than anybody reads through; a list of more is a search that named too little."""

NO_PICTURES = frozenset({
    "SR", "KO", "PR", "DOC", "M3D", "PLAN", "REG", "SEG", "RTSTRUCT", "RTPLAN", "RTDOSE", "AU",
    "ECG", "HD", "RESP", "STAIN",
})  # fmt: skip
"""Modalities (PS3.3 C.7.3.1.1.1) of objects that are no scan."""

_PENDING = (0xFF00, 0xFF01)
_WILD = "*? "
_UNICODE = "ISO_IR 192"


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """What is looked for; what is left empty is not asked for.

    Parameters
    ----------
    patient : str
        The patient's ID; ``*`` and ``?`` stand for anything.
    name : str
        The name or its beginning: ``Family`` or ``Family, Given``.
    day : str
        Of the scan, ``YYYY-MM-DD``.
    study : str
        UID.
    """

    patient: str = ""
    name: str = ""
    day: str = ""
    study: str = ""

    @property
    def is_wide(self) -> bool:
        """True where everybody in the archive would be listed."""
        return not any(
            text.strip(_WILD) for text in (self.patient, self.name, self.day, self.study)
        )

    def keys(self) -> dict[str, str]:
        """Matching keys of the study level (PS3.4 C.2.2.2).

        Raises
        ------
        SoundingError
            ``archive-search-wide``, ``archive-search-day``.
        """
        if self.is_wide:
            raise SoundingError("archive-search-wide")
        return {
            "PatientID": self.patient.strip(),
            "PatientName": _begins_with(self.name),
            "StudyDate": _dicom_day(self.day),
            "StudyInstanceUID": self.study.strip(),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """One series as the archive describes it."""

    patient_name: str
    patient_id: str
    birth_date: str
    study_date: str
    study_uid: str
    series_uid: str
    modality: str
    description: str
    count: int | None

    @property
    def may_be_scan(self) -> bool:
        """False for reports, documents and bodies, which nobody can measure on."""
        return self.modality not in NO_PICTURES


def find_series(
    connection: Connection,
    search: Search,
    *,
    progress: Callable[[int, int], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> list[Listed]:
    """Series that an archive has, the newest study first.

    Parameters
    ----------
    connection : Connection
    search : Search
    progress : callable (done, total), optional
        Studies whose series are known.
    cancelled : callable, optional

    Raises
    ------
    SoundingError
        ``archive-search-wide``, ``archive-search-day``, ``archive-search-many``,
        ``archive-search-failed``, ``archive-not-offered``, ``measuring-cancelled``, and those of
        the association.
    """
    require_installed()
    keys = search.keys()
    with connection.association([(FIND, plain_syntaxes())]) as assoc:
        require_offered(connection, assoc, FIND, "C-FIND")
        asked = identifier("STUDY", PatientBirthDate="", **keys)
        studies = _answers(connection, assoc, asked)
        studies.sort(key=lambda study: str(study.get("StudyDate") or ""), reverse=True)
        series: list[Listed] = []
        for done, study in enumerate(studies, start=1):
            if cancelled is not None and cancelled():
                assoc.abort()
                raise SoundingError("measuring-cancelled")
            asked = identifier(
                "SERIES", StudyInstanceUID=str(study.StudyInstanceUID), SeriesInstanceUID="",
                Modality="", SeriesDescription="", NumberOfSeriesRelatedInstances="",
            )  # fmt: skip
            found = _answers(connection, assoc, asked)
            series += sorted((_listed(study, d) for d in found), key=lambda s: s.modality != "CT")
            if progress is not None:
                progress(done, len(studies))
    return series


def identifier(level: str, **keys: str) -> Dataset:
    """What a query or retrieval is about (PS3.4 C.4).

    Parameters
    ----------
    level : {'STUDY', 'SERIES'}
    keys : str
        By the keyword of their attribute.
    """
    asked = Dataset()
    if not all(value.isascii() for value in keys.values()):
        asked.SpecificCharacterSet = _UNICODE
    asked.QueryRetrieveLevel = level
    for keyword, value in keys.items():
        setattr(asked, keyword, value)
    return asked


def _answers(connection: Connection, assoc: Any, asked: Dataset) -> list[Dataset]:
    kept: list[Dataset] = []
    for answer, dataset in assoc.send_c_find(asked, FIND):
        code = getattr(answer, "Status", None)
        if code in _PENDING and dataset is not None:
            kept.append(dataset)
            if len(kept) > MOST_STUDIES and asked.QueryRetrieveLevel == "STUDY":
                assoc.abort()
                raise SoundingError("archive-search-many", most=MOST_STUDIES)
        elif code != 0:
            raise SoundingError(
                "archive-search-failed", node=connection.node, title=connection.title,
                reason=status(code),
            )  # fmt: skip
    return kept


def _listed(study: Dataset, found: Dataset) -> Listed:
    def of(dataset: Dataset, keyword: str) -> str:
        return str(dataset.get(keyword) or "")

    count = of(found, "NumberOfSeriesRelatedInstances")
    return Listed(
        patient_name=of(study, "PatientName"),
        patient_id=of(study, "PatientID"),
        birth_date=of(study, "PatientBirthDate"),
        study_date=of(study, "StudyDate"),
        study_uid=of(study, "StudyInstanceUID"),
        series_uid=of(found, "SeriesInstanceUID"),
        modality=of(found, "Modality"),
        description=of(found, "SeriesDescription"),
        count=int(count) if count.isdecimal() else None,
    )


def _begins_with(name: str) -> str:
    """``Family, Given`` as a person's name (PS3.5 6.2), each part open at its end."""
    parts = [part.strip(_WILD) for part in name.replace("^", ",").split(",")]
    told = "^".join(f"{part}*" for part in parts)
    return told if told.strip("*^") else ""


def _dicom_day(day: str) -> str:
    text = day.strip()
    if not text:
        return ""
    try:
        return date.fromisoformat(text).strftime("%Y%m%d")
    except ValueError:
        raise SoundingError("archive-search-day", found=text) from None
