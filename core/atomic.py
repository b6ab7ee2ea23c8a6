"""Files are written whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import shutil
from collections.abc import Iterator, Sequence
from pathlib import Path

from core.errors import OutputError

_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_FORBIDDEN = {errno.EACCES, errno.EPERM, errno.EROFS}
_NO_FOLDER = {errno.ENOENT, errno.ENOTDIR}


def write_whole(path: str | Path, data: bytes, *, mode: int = 0o666, lasting: bool = True) -> None:
    """Write a file under a temporary name beside it, flush it to the disk, and rename it.

    The old file stays as it was until the new one is complete. A symbolic link is refused: what
    it points at may belong to somebody else's record.

    Parameters
    ----------
    mode : int
        Who may read a new file, less what the process takes away (umask).
    lasting : bool
        False: not flushed, since after a power cut nobody wants it any more. Others still only
        see it whole.

    Raises
    ------
    OutputError
        ``output-link``, ``output-is-folder``, ``output-no-folder``, ``output-disk-full``,
        ``output-forbidden`` or ``output-failed``; nothing half-written is left behind.
    """
    path = Path(path)
    temporary = path.with_name(f".{path.name}.{secrets.token_hex(6)}.part")
    try:
        if path.is_symlink():
            raise OutputError("output-link", path=path)
        if path.is_dir():
            raise OutputError("output-is-folder", path=path)
        _write_new(temporary, data, mode, flushed=lasting)
        temporary.replace(path)
        if lasting:
            _flush_folder(path.parent)
    except OSError as error:
        raise _in_plain_words(error, path) from error
    finally:
        # After a rename nothing is left under the temporary name.
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)


def write_together(
    folder: str | Path, files: Sequence[tuple[str, bytes]], *, without: Sequence[str] = ()
) -> tuple[Path, ...]:
    """Write a set of files that belong together: all of them, or none.

    All are written and flushed in a hidden folder first, and renamed only when all are there. A
    folder that was not there appears whole, by one rename. Where files of an older set stand,
    these are kept until the last rename and put back when one fails (a page that another program
    holds open). Only a process that is killed between two of the renames, which follow each other
    at once, leaves whole files of both sets side by side; the older ones then lie in the hidden
    folder, ``.….part``, which is never swept away by the program.

    Parameters
    ----------
    folder : path
        Made where it is missing, with the folders above it.
    files : sequence of (name, bytes)
    without : sequence of str
        Files of an older set that this one has no successor for: taken out in the same step.

    Returns
    -------
    tuple of Path
        Where each file is.

    Raises
    ------
    OutputError
        ``output-folder``, or those of `write_whole`; the folder is then as it was.
    """
    folder = Path(folder)
    targets = [folder / name for name, _ in files]
    gone = [folder / name for name in without]
    fresh = not os.path.lexists(folder)
    for target in (*targets, *gone):
        if target.is_symlink():
            raise OutputError("output-link", path=target)
        if target.is_dir():
            raise OutputError("output-is-folder", path=target)
    staging = folder.parent if fresh else folder
    staging = staging / f".{folder.name}.{secrets.token_hex(6)}.part"
    try:
        with _as_refusals(folder, code="output-folder"):
            folder.parent.mkdir(parents=True, exist_ok=True)
            staging.mkdir()
        for target, (name, data) in zip(targets, files, strict=True):
            with _as_refusals(target):
                _write_new(staging / name, data)
        if fresh:
            with _as_refusals(folder):
                staging.rename(folder)
            _flush_folder(folder.parent)
        else:
            _exchange(staging, targets, gone)
            _flush_folder(folder)
    except BaseException:
        # Only where every older file is back in its place: else it would go with the folder.
        if not any(staging.glob("*.old")):
            shutil.rmtree(staging, ignore_errors=True)
        raise
    if not fresh:
        shutil.rmtree(staging, ignore_errors=True)
    return tuple(targets)


def _exchange(staging: Path, targets: Sequence[Path], gone: Sequence[Path]) -> None:
    """Move new files to their places and old ones out; on a fault all older ones go back."""
    moved: list[Path] = []
    try:
        for target in gone:
            with _as_refusals(target):
                if target.exists():
                    target.replace(staging / f"{target.name}.old")
        for target in targets:
            with _as_refusals(target):
                if target.exists():
                    _keep(target, staging / f"{target.name}.old")
                (staging / target.name).replace(target)
                moved.append(target)
    except BaseException:
        for target in reversed((*gone, *targets)):
            kept = staging / f"{target.name}.old"
            with contextlib.suppress(OSError):
                if kept.exists():
                    kept.replace(target)
                    # Two names of one file: the rename is then no rename, and leaves both.
                    kept.unlink(missing_ok=True)
                elif target in moved:
                    target.unlink()
        raise


def _keep(target: Path, kept: Path) -> None:
    """Give an older file a second name, so that its place is never empty."""
    try:
        kept.hardlink_to(target)
    except OSError:  # no second names on this file system
        target.replace(kept)


@contextlib.contextmanager
def _as_refusals(path: Path, code: str = "") -> Iterator[None]:
    try:
        yield
    except OSError as error:
        if code and error.errno not in _FULL:
            raise OutputError(code, path=path) from error
        raise _in_plain_words(error, path) from error


def _write_new(temporary: Path, data: bytes, mode: int = 0o666, *, flushed: bool = True) -> None:
    # O_EXCL so that a file somebody put there in the meantime is never written through.
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    with os.fdopen(os.open(temporary, flags, mode), "wb") as file:
        file.write(data)
        if flushed:
            file.flush()
            os.fsync(file.fileno())


def _flush_folder(folder: Path) -> None:
    """Make the rename itself last through a power cut, where the system can do it."""
    if os.name != "posix":
        return
    # Some network file systems refuse to flush a folder; the file itself is already safe.
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _in_plain_words(error: OSError, path: Path) -> OutputError:
    if error.errno in _FULL:
        return OutputError("output-disk-full", path=path)
    if error.errno in _FORBIDDEN:
        return OutputError("output-forbidden", path=path)
    if error.errno in _NO_FOLDER:
        return OutputError("output-no-folder", path=path, folder=path.parent)
    return OutputError("output-failed", path=path, reason=error.strerror or type(error).__name__)
