"""Fonts: the bundled one, and what the machine has for scripts that it does not cover."""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Literal, TypeAlias

import uharfbuzz as hb

Face: TypeAlias = Literal["plain", "strong", "slant"]

_BUNDLED: dict[Face, str] = {
    "plain": "SourceSans3-Regular.ttf",
    "strong": "SourceSans3-Semibold.ttf",
    "slant": "SourceSans3-Italic.ttf",
}

_LESS_FIT = (
    "bold", "italic", "oblique", "mono", "black", "thin", "light", "condensed", "display",
    "serif", "rashi", "kufi", "looped", "unjoined", "nastaliq",
)  # fmt: skip
"""Words in a file's name that put it behind plain upright text faces."""

_SUFFIXES = (".ttf", ".otf", ".ttc", ".otc")


@dataclass(frozen=True, slots=True, eq=False)
class FontFile:
    """One face of a font file, ready for shaping.

    Parameters
    ----------
    path : Path
    index : int
        Of the face in a collection.
    font : uharfbuzz.Font
    characters : frozenset of int
        Code points that have a glyph.
    """

    path: Path
    index: int
    font: hb.Font
    characters: frozenset[int]

    @property
    def units_per_em(self) -> int:
        """Units of its outlines in the size of the type."""
        return int(self.font.face.upem)


def bundled_path(face: Face) -> Path:
    """File of the bundled font."""
    return Path(str(resources.files("core.sheet") / "fonts" / _BUNDLED[face]))


@lru_cache(maxsize=8)
def bundled(face: Face) -> FontFile:
    """The bundled font in one of its faces."""
    return _opened(bundled_path(face), 0)


def font_folders() -> tuple[Path, ...]:
    """Where this system and its user keep fonts; folders that are not there left out."""
    home = Path.home()
    if sys.platform == "win32":
        local = os.environ.get("LOCALAPPDATA", str(home / "AppData" / "Local"))
        folders = [
            Path(os.environ.get("WINDIR", r"C:\Windows")) / "Fonts",
            Path(local) / "Microsoft" / "Windows" / "Fonts",
        ]
    elif sys.platform == "darwin":
        folders = [Path("/System/Library/Fonts"), Path("/Library/Fonts"), home / "Library/Fonts"]
    else:
        data = os.environ.get("XDG_DATA_HOME", str(home / ".local" / "share"))
        folders = [
            Path("/usr/share/fonts"),
            Path("/usr/local/share/fonts"),
            Path(data) / "fonts",
            home / ".fonts",
        ]
    return tuple(f for f in folders if f.is_dir())


@lru_cache(maxsize=256)
def machine_font(characters: str, folders: tuple[Path, ...]) -> FontFile | None:
    """The first suitable font of the machine that has a glyph for every character.

    Upright text faces come before bold, slanted, fixed-width and ornate ones; otherwise by file
    name, so that the same machine always picks the same font.
    """
    wanted = {ord(c) for c in characters}
    for path in _files(folders):
        for index in range(_face_count(path)):
            covered = _coverage(path, index)
            if wanted <= covered:
                return _opened(path, index)
    return None


@lru_cache(maxsize=8)
def _files(folders: tuple[Path, ...]) -> tuple[Path, ...]:
    found: list[Path] = []
    for folder in folders:
        for root, _, names in os.walk(folder):
            found += [Path(root) / n for n in names if n.lower().endswith(_SUFFIXES)]
    return tuple(sorted(found, key=_rank))


def _rank(path: Path) -> tuple[int, str]:
    name = path.stem.lower()
    return sum(word in name for word in _LESS_FIT), str(path)


@lru_cache(maxsize=8192)
def _face_count(path: Path) -> int:
    try:
        return int(hb.Face(hb.Blob.from_file_path(str(path))).count)
    except (OSError, ValueError, hb.HarfBuzzError):
        return 0


@lru_cache(maxsize=8192)
def _coverage(path: Path, index: int) -> frozenset[int]:
    try:
        face = hb.Face(hb.Blob.from_file_path(str(path)), index)
        if face.glyph_count == 0 or "CBDT" in face.table_tags or "sbix" in face.table_tags:
            return frozenset()
        return frozenset(face.unicodes)
    except (OSError, ValueError, hb.HarfBuzzError):
        return frozenset()


def _opened(path: Path, index: int) -> FontFile:
    face = hb.Face(hb.Blob.from_file_path(str(path)), index)
    return FontFile(path, index, hb.Font(face), frozenset(face.unicodes))
