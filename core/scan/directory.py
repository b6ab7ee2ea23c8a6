"""A disc's directory file (DICOMDIR): a hint only, since it often lists what is not there."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator, Sequence
from pathlib import PurePosixPath

from core.findings import Finding
from core.scan.header import ImageHeader
from core.scan.sources import Export, Source

MAX_DIRECTORY_BYTES = 64 << 20


def directory_findings(export: Export, directories: Sequence[ImageHeader]) -> list[Finding]:
    """Say how many files the directory files list that the export does not hold.

    File IDs are compared without regard to case: discs are often copied in lower case.
    """
    names = {source.name.casefold() for source in export.sources}
    missing: set[str] = set()
    for directory in directories:
        # File IDs count from the root of the disc, where the first directory file lies; those
        # further down name the same root, and a copied disc may stand anywhere below the folder.
        roots = PurePosixPath(directory.source.name).parents
        for listed in _listed(export, directory.source):
            if not any((root / listed).as_posix().casefold() in names for root in roots):
                missing.add(listed.casefold())
    if not missing:
        return []
    return [Finding("scan_directory_lists_more", "note", {"count": len(missing)})]


def _listed(export: Export, source: Source) -> Iterator[str]:
    """File IDs of a directory file, with forward slashes; nothing where it cannot be read."""
    if source.size > MAX_DIRECTORY_BYTES:
        return
    import pydicom

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            data = export.head(source, source.size)
            records = pydicom.dcmread(io.BytesIO(data)).get("DirectoryRecordSequence") or []
            found = [record.get("ReferencedFileID") for record in records]
    except Exception:  # noqa: BLE001  (a general reader fails in many ways; this is only a hint)
        return
    for file_id in found:
        if isinstance(file_id, str) and file_id:
            yield file_id.replace("\\", "/")
        elif file_id:
            yield "/".join(str(part) for part in file_id)
