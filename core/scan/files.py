"""Bytes of pictures: read from files that stay open while more of them are to come."""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import ExitStack
from typing import BinaryIO

from core.scan.decode import frame_extents
from core.scan.elements import DEFLATED_LE, Damaged, behind_meta, inflate
from core.scan.header import ImageHeader
from core.scan.sources import Export, Source
from core.scan.stacks import Picture


def cut_short(picture: Picture) -> bool:
    """Whether the file is too short to hold the picture."""
    image = picture.image
    if image.pixel_at < 0:
        return True
    if image.encapsulated:
        return image.pixel_at + 8 > image.source.size
    need = image.frame_bytes * (picture.frame + 1)
    if image.syntax == DEFLATED_LE:
        return image.pixel_length < need
    return image.pixel_at + need > image.source.size or image.pixel_length < need


def left_over(image: ImageHeader) -> bool:
    """Whether there are more bytes of uncompressed pixels than the header states frames for.

    One byte more makes an odd length even (PS3.5 section 8.1.1).
    """
    need = image.frame_bytes * len(image.frames)
    return not image.encapsulated and image.pixel_length > need + need % 2


class Files:
    """Files kept open while consecutive pictures come from the same one."""

    def __init__(self, export: Export, stack: ExitStack) -> None:
        self._export = export
        self._stack = stack
        self._source: Source | None = None
        self._file: BinaryIO | None = None
        self._inflated = b""

    def read_into(self, picture: Picture, target: memoryview) -> bool:
        """Read an uncompressed picture; False when the file ends too soon."""
        image = picture.image
        if cut_short(picture):
            return False
        at = image.pixel_at + picture.frame * image.frame_bytes
        if image.syntax == DEFLATED_LE:
            if self._source is not image.source:
                self._inflated = self._inflate(image)
                self._source = image.source
            whole = self._inflated[at : at + len(target)]
            target[: len(whole)] = whole
            return len(whole) == len(target)
        file = self._opened(image.source)
        file.seek(at)
        got = 0
        while got < len(target):
            count = file.readinto(target[got:])  # type: ignore[attr-defined]
            if not count:
                return False
            got += count
        return True

    def _inflate(self, image: ImageHeader) -> bytes:
        """The data set of a deflated file, up to the end of its pixels; empty where damaged."""
        packed = self._export.head(image.source, image.source.size)
        most = image.pixel_at + image.frame_bytes * len(image.frames)
        try:
            return inflate(packed[behind_meta(packed) :], most)
        except Damaged:
            return b""

    def _opened(self, source: Source) -> BinaryIO:
        if self._file is None or self._source is not source:
            self._stack.close()
            self._file = self._stack.enter_context(self._export.open(source))
            self._source = source
        return self._file


class PackedFrames:
    """Compressed bytes of a file's frames; its table of frames is read once."""

    def __init__(self, export: Export, image: ImageHeader, stopped: Callable[[], bool]) -> None:
        self._export = export
        self._image = image
        self._stopped = stopped
        self._lock = threading.Lock()
        self._file: BinaryIO | None = None
        self._extents: list[list[tuple[int, int]]] = []

    def read(self, frame: int) -> bytes:
        """Bytes of one frame; the file stays open while more frames are to come."""
        with self._lock:
            if not self._extents:
                self._file = self._export.open(self._image.source)
                frames = len(self._image.frames)
                at = self._image.pixel_at
                self._extents = frame_extents(self._file, at, frames, self._stopped)
            elif self._file is None:
                self._file = self._export.open(self._image.source)
            parts = []
            for offset, length in self._extents[frame]:
                self._file.seek(offset)
                parts.append(self._file.read(min(length, self._image.source.size)))
            if len(self._extents) == 1:
                self.close()
            return b"".join(parts)

    def close(self) -> None:
        """Close the file, if it is open."""
        if self._file is not None:
            self._file.close()
            self._file = None
