"""Pictures at the same place: copies are dropped, different ones are never chosen between."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

import numpy as np

from core.errors import ScanError
from core.geometry import Array
from core.scan.elements import DEFLATED_LE
from core.scan.frames import SAME_PLACE_MM
from core.scan.stacks import Picture
from core.scan.walk import READ_FAULTS, Export


def without_copies(
    export: Export, pictures: Sequence[Picture], normal: Array
) -> tuple[tuple[Picture, ...], int]:
    """Drop copies of pictures.

    Parameters
    ----------
    export : Export
    pictures : sequence of Picture
        All with a position.
    normal : (3,)
        Slice normal.

    Returns
    -------
    pictures, number dropped

    Raises
    ------
    ScanError
        ``scan_conflicting_slices`` when two pictures at one place differ.
    """
    positions = np.array([picture.geometry.position_mm for picture in pictures])
    order = np.argsort(positions @ normal, kind="stable")
    kept: list[int] = []
    conflicts = 0
    digests = _Digests(export)
    for index in order:
        if kept and float((positions[index] - positions[kept[-1]]) @ normal) <= SAME_PLACE_MM:
            apart = float(np.linalg.norm(positions[index] - positions[kept[-1]]))
            same = apart <= SAME_PLACE_MM
            if not same or not _copies(digests, pictures[kept[-1]], pictures[index]):
                conflicts += 1
            continue
        kept.append(int(index))
    if conflicts:
        raise ScanError("scan_conflicting_slices", count=conflicts)
    return tuple(pictures[index] for index in sorted(kept)), len(pictures) - len(kept)


def _copies(digests: _Digests, first: Picture, second: Picture) -> bool:
    """Whether two pictures hold the same values at the same scale."""
    a, b = first.image, second.image
    if first.frame != second.frame or first.geometry != second.geometry:
        return False
    if a.syntax == b.syntax:
        alike = (a.little, a.bits_stored, a.high_bit, a.signed) == (
            b.little,
            b.bits_stored,
            b.high_bit,
            b.signed,
        )
        return alike and digests.of(first) == digests.of(second)
    # The same object written twice in different transfer syntaxes keeps its UID.
    uid = a.value("SOPInstanceUID")
    return uid != "" and uid == b.value("SOPInstanceUID")


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
