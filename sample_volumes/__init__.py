"""Invented sample scans with exact geometry beside them, and cheap phantoms for tests."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Any

__all__ = ["path", "small_jaw"]


def path(name: str) -> Path:
    """Path of an installed sample: a scan's folder or a file.

    Parameters
    ----------
    name : str
        ``lower_left_36`` (folder of DICOM slices), ``lower_left_36.plan.json``,
        ``lower_left_36_wrong.plan.json``, ``lower_left_36.truth.json`` ...

    Raises
    ------
    FileNotFoundError
        When there is no such sample.
    """
    found = Path(str(files(__name__) / name))
    if not found.exists():
        raise FileNotFoundError(f"no sample named {name!r}")
    return found


def __getattr__(name: str) -> Any:
    # The phantom needs scipy; a program that only looks up a path does not.
    if name == "small_jaw":
        from sample_volumes.phantom import small_jaw

        return small_jaw
    raise AttributeError(name)
