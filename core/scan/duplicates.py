"""Pictures at the same place: copies are dropped, different ones are never chosen between."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence

import numpy as np

from core.errors import ScanError
from core.geometry import Array
from core.scan.elements import DEFLATED_LE
from core.scan.frames import SAME_PLACE_MM
from core.scan.sources import READ_FAULTS, Export
from core.scan.stacks import Picture

_PAIRS_AT_ONCE = 32


def without_copies(
    export: Export,
    pictures: Sequence[Picture],
    normal: Array,
    cancelled: Callable[[], bool] | None = None,
) -> tuple[tuple[Picture, ...], int]:
    """Drop copies of pictures.

    Parameters
    ----------
    export : Export
    pictures : sequence of Picture
        All with a position.
    normal : (3,)
        Slice normal.
    cancelled : callable, optional

    Returns
    -------
    pictures, number dropped

    Raises
    ------
    ScanError
        ``scan_conflicting_slices`` when two pictures at one place differ; ``scan_cancelled``.
    """
    positions = np.array([picture.geometry.position_mm for picture in pictures])
    order = np.argsort(positions @ normal, kind="stable")
    kept: list[int] = []
    conflicts = 0
    digests = _Digests(export)
    rewritten: list[tuple[Picture, Picture]] = []
    for index in order:
        if cancelled is not None and cancelled():
            raise ScanError("scan_cancelled")
        if kept and float((positions[index] - positions[kept[-1]]) @ normal) <= SAME_PLACE_MM:
            apart = float(np.linalg.norm(positions[index] - positions[kept[-1]]))
            pair = pictures[kept[-1]], pictures[index]
            if apart > SAME_PLACE_MM or not _may_be_copies(*pair):
                conflicts += 1
            elif pair[0].image.syntax != pair[1].image.syntax:
                rewritten.append(pair)
            elif digests.of(pair[0]) != digests.of(pair[1]):
                conflicts += 1
            continue
        kept.append(int(index))
    conflicts += _differing(export, rewritten)
    if conflicts:
        raise ScanError("scan_conflicting_slices", count=conflicts)
    return tuple(pictures[index] for index in sorted(kept)), len(pictures) - len(kept)


def _may_be_copies(first: Picture, second: Picture) -> bool:
    """Whether two pictures of one place state the same grid, scale and words."""
    a, b = first.image, second.image
    return first.frame == second.frame and _stated(first) == _stated(second) and a.rows == b.rows


def _stated(picture: Picture) -> tuple[object, ...]:
    image, geometry = picture.image, picture.geometry
    return (
        geometry.orientation,
        geometry.spacing_mm,
        geometry.slope,
        geometry.intercept,
        image.bits_stored,
        image.high_bit,
        image.signed,
    )


def _differing(export: Export, pairs: Sequence[tuple[Picture, Picture]]) -> int:
    """How many pairs, written in two transfer syntaxes, hold different values."""
    from core.scan.pixels import read_voxels

    count = 0
    for at in range(0, len(pairs), _PAIRS_AT_ONCE):
        some = [picture for pair in pairs[at : at + _PAIRS_AT_ONCE] for picture in pair]
        voxels = read_voxels(export, some)
        differ = (voxels.array[::2] != voxels.array[1::2]).any(axis=(1, 2))
        differ[[k // 2 for k in voxels.lost]] = True
        count += int(differ.sum())
    return count


class _Digests:
    """Hashes of pixel data as they are written, one a file."""

    def __init__(self, export: Export) -> None:
        self._export = export
        self._known: dict[str, bytes] = {}

    def of(self, picture: Picture) -> bytes:
        """Hash for the file of a picture."""
        name = picture.image.source.name
        if name not in self._known:
            self._known[name] = self._read(picture)
        return self._known[name]

    def _read(self, picture: Picture) -> bytes:
        image = picture.image
        try:
            with self._export.open(image.source) as file:
                if image.syntax != DEFLATED_LE:
                    file.seek(image.pixel_at)
                digest = hashlib.sha256()
                left = image.source.size if image.encapsulated else image.pixel_length
                while left > 0 and (part := file.read(min(left, 1 << 20))):
                    digest.update(part)
                    left -= len(part)
                return digest.digest()
        except READ_FAULTS:
            return repr(image.source).encode()
