"""Files that the program keeps for itself: for their owner's eyes only, and never in the way.

Cases, settings and studies hold names of patients or of colleagues, so they lie in folders and
files that only their owner may open. Whatever is found in one of them (damage, another kind of
file, nesting without end, huge numbers) makes that one file unreadable and nothing else: it is
set aside under another name and named, and the program goes on.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
from pathlib import Path
from typing import Any

from core.atomic import write_whole
from core.errors import OutputError, PlanError, SoundingError
from core.plans.plan_json import MAX_BYTES, read_json
from core.words.catalogue import say

FOLDER_MODE, FILE_MODE = 0o700, 0o600

ASIDE = ".unread-"
"""Stands in the name of what was set aside."""

UNREADABLE = (
    OSError,
    ArithmeticError,
    AttributeError,
    LookupError,
    MemoryError,
    RecursionError,
    SoundingError,
    TypeError,
    ValueError,
)
"""What reading a document of whatever content can end in."""


class KeptFileError(SoundingError):
    """A file of the program's own that cannot be read."""


def read_kept(path: Path, form: str) -> dict[str, Any]:
    """The object of one of the program's own files.

    Parameters
    ----------
    form : str
        Its ``format``.

    Raises
    ------
    FileNotFoundError
        When there is none.
    KeptFileError
        ``kept-unreadable`` whatever else is wrong.
    """
    try:
        with path.open("rb") as file:
            document = read_json(file.read(MAX_BYTES + 1))
    except FileNotFoundError:
        raise
    except PlanError as error:
        raise KeptFileError("kept-unreadable", path=path, reason=_reason(error)) from error
    except OSError as error:
        why = error.strerror or type(error).__name__
        raise KeptFileError("kept-unreadable", path=path, reason=why) from error
    if document.get("format") != form:
        raise KeptFileError(
            "kept-unreadable", path=path, reason=say("case.own_files.it-is-a-file-of")
        )
    return document


def _reason(error: PlanError) -> str:
    if error.code == "plan-too-large":
        return say("case.own_files.it-is-larger-than-mb", fields=error.fields["megabytes"])
    line = error.fields.get("line")
    return (
        say("case.own_files.it-is-damaged")
        if line is None
        else say("case.own_files.it-is-damaged-at-line", line=line)
    )


def set_aside(path: Path) -> Path | None:
    """Move an unreadable file or folder out of the way, beside where it was.

    Returns
    -------
    Path or None
        Where it is now; None where it could not be moved.
    """
    beside = path.with_name(f"{path.name}{ASIDE}{secrets.token_hex(3)}")
    try:
        path.rename(beside)
    except OSError:
        return None
    return beside


def told_aside(path: Path, error: Exception) -> str:
    """Set an unreadable file aside, and say which one, why, and where it is now."""
    reason = error.fields.get("reason") if isinstance(error, SoundingError) else None
    kept = set_aside(path)
    fields = {"path": path, "reason": reason or say("case.own_files.its-content-is-not-as")}
    if kept is None:
        return str(KeptFileError("kept-unreadable", **fields))
    return str(KeptFileError("kept-set-aside", kept=kept, **fields))


def private_folder(folder: Path) -> None:
    """Make a folder that only its owner may open; one that was open to others is closed to them.

    Raises
    ------
    OutputError
        ``kept-folder``.
    """
    try:
        folder.mkdir(mode=FOLDER_MODE, parents=True, exist_ok=True)
        _close_to_others(folder, FOLDER_MODE)
    except OSError as error:
        raise OutputError("kept-folder", path=folder) from error


def write_private(path: Path, data: bytes, *, lasting: bool = True) -> None:
    """Write a file whole, for its owner only, in a private folder; `lasting` as in `write_whole`.

    Raises
    ------
    OutputError
        Those of `private_folder` and `core.atomic.write_whole`.
    """
    private_folder(path.parent)
    write_whole(path, data, mode=FILE_MODE, lasting=lasting)


def close_all(folder: Path) -> None:
    """Close everything in a folder to others, and sweep away what a killed program left half.

    Only for folders that no running program writes to: see `core.atomic.write_whole` for the
    names of what is half-written.
    """
    for place, _folders, names in os.walk(folder):
        with contextlib.suppress(OSError):
            _close_to_others(Path(place), FOLDER_MODE)
        for name in names:
            path = Path(place) / name
            with contextlib.suppress(OSError):
                if name.startswith(".") and name.endswith(".part"):
                    path.unlink()
                else:
                    _close_to_others(path, FILE_MODE)


def removed(folder: Path) -> None:
    """Take a folder of the program's own off the disk."""
    shutil.rmtree(folder, ignore_errors=True)


def cannot_keep(folder: Path) -> bool:
    """True where nothing can be written: what is worked on is lost when the program ends."""
    trial = folder / f".{secrets.token_hex(6)}.part"
    try:
        private_folder(folder)
        trial.touch(mode=FILE_MODE)
        trial.unlink()
    except (OSError, OutputError):
        return True
    return False


def _close_to_others(path: Path, mode: int) -> None:
    # Links are left alone: what they point at is not the program's.
    if os.name == "posix" and not path.is_symlink() and path.stat().st_mode & 0o077:
        path.chmod(mode)
