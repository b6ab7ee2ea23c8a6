"""The practice's secret for pseudonyms: made once, kept in the user's settings folder."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from platformdirs import user_config_path

from app.case.own_files import private_folder
from core.errors import OutputError

_BYTES = 32


def secret_file() -> Path:
    """Where the secret is kept."""
    return user_config_path("sounding", appauthor=False) / "pseudonym.key"


def practice_secret(path: Path | None = None) -> bytes:
    """The secret, made at the first call; only its owner may read the file.

    The same secret gives the same case the same pseudonym again. Without the file a new one is
    made, and earlier pseudonyms cannot be told any more.

    Raises
    ------
    OutputError
        ``secret-unusable`` where the file can be neither read nor made, or is too short.
    """
    path = secret_file() if path is None else path
    try:
        private_folder(path.parent)
        try:
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:
            found = bytes.fromhex(path.read_text("ascii").strip())
        else:
            found = secrets.token_bytes(_BYTES)
            with os.fdopen(handle, "w", encoding="ascii") as file:
                file.write(found.hex())
    except (OSError, ValueError, OutputError) as error:
        raise OutputError("secret-unusable", path=path) from error
    if len(found) < _BYTES:
        raise OutputError("secret-unusable", path=path)
    return found
