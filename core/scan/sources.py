"""Where the bytes of an export lie: a folder, a single file, or the members of a zip.

Nothing is unpacked: members are streamed, so that no name in an archive can reach the disk.
"""

from __future__ import annotations

import io
import os
import stat
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import BinaryIO

from core.errors import ScanError

MAX_ENTRIES = 200_000
"""More entries than any export has: a scan has a few thousand at most."""
SWELL = 100
"""An archive, or a large member, that grows more than this many times is refused."""
SWELL_FROM_BYTES = 64 << 20
"""Growth is only judged from this size on: small constant slices deflate very well."""
MAX_TOTAL_BYTES = 64 << 30

READ_FAULTS = (OSError, EOFError, zipfile.BadZipFile, zlib.error, RuntimeError, ValueError)
"""What reading bytes of a folder or archive can raise on bad media or a damaged archive."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One file of the export.

    Parameters
    ----------
    name : str
        Path relative to what was opened, with forward slashes; for people and for matching.
    path : Path
        The file on disk, or the archive.
    member : str
        Name inside the archive; empty for a file on disk.
    size : int
        Bytes.
    """

    name: str
    path: Path
    member: str = ""
    size: int = 0


class Export:
    """The files of one export, kept open while they are read.

    Parameters
    ----------
    root : Path
        What the user named.
    sources : tuple of Source
        Every regular file below it, in the order of their names.
    """

    def __init__(
        self, root: Path, sources: tuple[Source, ...], archive: zipfile.ZipFile | None = None
    ) -> None:
        self.root = root
        self.sources = sources
        self._archive = archive

    def open(self, source: Source) -> BinaryIO:
        """Open a source for reading; raises one of `READ_FAULTS`."""
        if self._archive is None:
            return source.path.open("rb", buffering=0)
        return io.BytesIO(self._archive.read(source.member))

    def head(self, source: Source, length: int) -> bytes:
        """First bytes of a source (fewer where it ends sooner)."""
        if self._archive is None:
            with source.path.open("rb", buffering=0) as file:
                return file.read(length)
        with self._archive.open(source.member) as file:
            return file.read(length)


@contextmanager
def opened(path: str | Path) -> Iterator[Export]:
    """Open an export: folder, zip, DICOMDIR (then its folder) or single file.

    Raises
    ------
    ScanError
        ``scan_path_missing``, ``scan_path_unreadable``, ``zip_damaged``, ``zip_unsafe_name``,
        ``zip_swells``, ``zip_encrypted``.
    """
    root = Path(path)
    try:
        mode = root.stat().st_mode
    except (OSError, ValueError) as error:
        raise ScanError("scan_path_missing", path=str(path)) from error
    if stat.S_ISDIR(mode):
        yield Export(root, tuple(_folder(root)))
    elif not stat.S_ISREG(mode):
        raise ScanError("scan_path_missing", path=str(path))
    elif _is_zip(root):
        with _archive(root) as archive:
            yield Export(root, tuple(_members(root, archive)), archive)
    elif root.name.upper() == "DICOMDIR":
        # A directory file is a hint only: it often lists what is not on the disc.
        yield Export(root.parent, tuple(_folder(root.parent)))
    else:
        yield Export(root, (Source(name=root.name, path=root, size=root.stat().st_size),))


def _folder(root: Path) -> list[Source]:
    found: list[Source] = []
    try:
        next(iter(root.iterdir()), None)
    except OSError as error:
        raise ScanError("scan_path_unreadable", path=str(root)) from error
    for folder, _, names in os.walk(root):
        for name in names:
            file = Path(folder) / name
            try:
                info = file.stat()
            except (OSError, ValueError):
                continue
            if stat.S_ISREG(info.st_mode):
                relative = file.relative_to(root).as_posix()
                found.append(Source(name=relative, path=file, size=info.st_size))
    return sorted(found, key=lambda source: source.name)


def _is_zip(path: Path) -> bool:
    try:
        return zipfile.is_zipfile(path)
    except OSError as error:
        raise ScanError("scan_path_unreadable", path=str(path)) from error


def _archive(path: Path) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(path)
    except (*READ_FAULTS, NotImplementedError) as error:
        raise ScanError("zip_damaged", path=str(path)) from error


def _members(path: Path, archive: zipfile.ZipFile) -> list[Source]:
    entries = archive.infolist()
    for entry in entries:
        if not entry.filename:
            raise ScanError("zip_damaged", path=str(path))
        if _unsafe(entry.filename):
            raise ScanError("zip_unsafe_name", path=str(path), name=entry.filename[:80])
    files = [entry for entry in entries if not entry.is_dir()]
    if any(entry.flag_bits & 1 for entry in files):
        raise ScanError("zip_encrypted", path=str(path))
    total = sum(entry.file_size for entry in files)
    packed = sum(entry.compress_size for entry in files)
    swells = (total > SWELL_FROM_BYTES and total > SWELL * packed) or any(
        entry.file_size > SWELL_FROM_BYTES and entry.file_size > SWELL * entry.compress_size
        for entry in files
    )
    if swells or total > MAX_TOTAL_BYTES or len(entries) > MAX_ENTRIES:
        raise ScanError("zip_swells", path=str(path), megabytes=total >> 20)
    found = [
        Source(name=entry.filename, path=path, member=entry.filename, size=entry.file_size)
        for entry in files
    ]
    return sorted(found, key=lambda source: source.name)


def _unsafe(name: str) -> bool:
    """Whether an archive's name is absolute, names a drive, or climbs out of its folder."""
    windows = PureWindowsPath(name)
    return (
        PurePosixPath(name).is_absolute()
        or bool(windows.anchor)
        or ".." in windows.parts
        or "\0" in name
    )
