"""Stored values of a stack, read straight into one array.

Bits outside BitsStored are masked and signs extended (PS3.5 section 8.1.1); a rescale that differs
between slices is applied into one common scale. MONOCHROME1 never changes a value.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from core.errors import ScanError
from core.findings import Finding
from core.scan.codestream import CodedForm
from core.scan.continuity import continuity_findings, thumb
from core.scan.decode import CODECS, MAX_LOST, Job, decode_all
from core.scan.elements import NATIVE
from core.scan.files import Files, PackedFrames, cut_short
from core.scan.header import ImageHeader
from core.scan.pixel_encoding import (
    array_type,
    fill_between,
    layout_of,
    stored_padding,
    stored_values,
)
from core.scan.proof import Proof
from core.scan.sources import READ_FAULTS, Export
from core.scan.stacks import Picture

NOT_SCANNED = np.float32(-1e9)
"""Stored value of *not scanned* where slices had to be brought into one scale."""
MAX_VOXEL_BYTES = 16 << 30
MAX_SWELL = 2000
"""Compressed pictures that would grow more than this are no pictures of a head."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Voxels:
    """Stored values and their common scale; see `core.image.volume.Volume`.

    `findings` says what the pictures showed against their headers.
    """

    array: NDArray[Any]
    slope: float
    intercept: float
    padding: tuple[float, float] | None
    lost: tuple[int, ...]
    findings: tuple[Finding, ...] = ()


def read_voxels(
    export: Export,
    slices: Sequence[Picture | None],
    *,
    progress: Callable[[int, int], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Voxels:
    """Read the pictures of a stack in slice order; None stands for a slice to be made up.

    Parameters
    ----------
    export : Export
    slices : sequence of Picture or None
    progress : callable (done, total)
    cancelled : callable

    Raises
    ------
    ScanError
        ``scan_too_large``, ``scan_undecodable``, ``scan_truncated``, ``scan_cancelled``.
    """
    try:
        return _Reader(export, slices, progress, cancelled).read()
    except MemoryError as error:
        raise ScanError("scan_too_large") from error


class _Reader:
    def __init__(
        self,
        export: Export,
        slices: Sequence[Picture | None],
        progress: Callable[[int, int], None] | None,
        cancelled: Callable[[], bool] | None,
    ) -> None:
        self._export = export
        self._slices = slices
        self._pictures = [(k, picture) for k, picture in enumerate(slices) if picture is not None]
        self._progress = progress
        self._cancelled = cancelled or (lambda: False)
        self._count = 0
        self._proof = Proof()
        self._thumbs: dict[int, NDArray[Any]] = {}
        self._forms: dict[int, CodedForm] = {}

    def read(self) -> Voxels:
        layouts = {layout_of(picture.image) for _, picture in self._pictures}
        scales = {(p.geometry.slope, p.geometry.intercept) for _, p in self._pictures}
        first = self._pictures[0][1]
        self._check_size(first.image)
        shape = (len(self._slices), first.image.rows, first.image.cols)
        common = len(layouts) == 1 and len(scales) == 1
        dtype = array_type(next(iter(layouts))) if common else np.dtype(np.float32)
        array = np.zeros(shape, dtype=dtype)
        lost = self._fill(array, common=common)
        if self._cancelled():
            raise ScanError("scan_cancelled")
        if len(lost) > MAX_LOST or len(lost) * 3 > len(self._slices):
            raise ScanError("scan_truncated", count=len(lost), total=len(self._pictures))
        if common:
            slope, intercept = next(iter(scales))
            padding = stored_padding(next(iter(layouts)))
        else:
            slope, intercept = 1.0, 0.0
            missing = float(NOT_SCANNED)
            padded = any(layout.padding for layout in layouts)
            padding = (missing, missing) if padded else None
        made_up = [k for k, picture in enumerate(self._slices) if picture is None]
        fill_between(array, sorted({*made_up, *lost}), padding)
        found = self._proof.findings()
        found += continuity_findings(self._thumbs, dict(self._pictures))
        return Voxels(
            array=array,
            slope=slope,
            intercept=intercept,
            padding=padding,
            lost=lost,
            findings=tuple(found),
        )

    def _check_size(self, image: ImageHeader) -> None:
        """Refuse before memory is taken for what cannot be there."""
        width = max(2, image.bits_allocated // 8)
        total = len(self._slices) * image.rows * image.cols * width
        sources = {p.image.source.name: p.image.source.size for _, p in self._pictures}
        if total > MAX_VOXEL_BYTES or total > MAX_SWELL * sum(sources.values()) + (64 << 20):
            raise ScanError("scan_too_large")
        lost = sum(cut_short(picture) for _, picture in self._pictures)
        if lost > MAX_LOST:
            raise ScanError("scan_truncated", count=lost, total=len(self._pictures))

    def _fill(self, array: NDArray[Any], *, common: bool) -> tuple[int, ...]:
        native = [(k, p) for k, p in self._pictures if p.image.syntax in NATIVE]
        coded = [(k, p) for k, p in self._pictures if p.image.syntax not in NATIVE]
        lost: list[int] = []
        with ExitStack() as stack:
            files = Files(self._export, stack)
            for k, picture in native:
                if self._cancelled():
                    break
                if not self._native(files, k, array[k], picture, common=common):
                    lost.append(k)
                self._tick()
        for width in sorted({p.image.bits_allocated // 8 for _, p in coded}):
            if not self._cancelled():
                alike = [(k, p) for k, p in coded if p.image.bits_allocated == 8 * width]
                lost += self._coded(array, alike, width, common=common)
        return tuple(sorted(lost))

    def _native(
        self, files: Files, k: int, plane: NDArray[Any], picture: Picture, *, common: bool
    ) -> bool:
        image = picture.image
        raw_type = np.dtype(f"{'<' if image.little else '>'}u{image.bits_allocated // 8}")
        direct = common and plane.dtype.itemsize == raw_type.itemsize
        raw = plane.view(raw_type) if direct else np.empty(plane.shape, raw_type)
        try:
            whole = files.read_into(picture, _bytes_of(raw))
        except READ_FAULTS:
            return False
        if whole:
            # Words are made the machine's own before anything looks at them as numbers.
            if not image.little:
                raw.byteswap(inplace=True)
            raw = raw.view(raw_type.newbyteorder("="))
            self._settle(k, plane, raw, picture, common=common, direct=direct)
        return whole

    def _coded(
        self, array: NDArray[Any], coded: list[tuple[int, Picture]], width: int, *, common: bool
    ) -> tuple[int, ...]:
        direct = common and array.dtype.itemsize == width
        store = array
        if not direct:
            store = np.zeros(array.shape, np.dtype(f"<u{width}"))
        packed = {picture.image.source.name: picture.image for _, picture in coded}
        files = {
            name: PackedFrames(self._export, image, self._cancelled)
            for name, image in packed.items()
        }
        jobs = [
            Job(
                index=k,
                codec=CODECS[picture.image.syntax],
                rows=picture.image.rows,
                cols=picture.image.cols,
                width=width,
                read=partial(files[picture.image.source.name].read, picture.frame),
                told=partial(self._forms.__setitem__, k),
            )
            for k, picture in coded
        ]
        try:
            lost = decode_all(
                jobs,
                lambda k: _bytes_of(store[k]),
                done=self._tick,
                stopped=self._cancelled,
            )
        finally:
            for file in files.values():
                file.close()
        raw_type = np.dtype(f"<u{width}")
        for k, picture in coded:
            if k not in lost:
                raw = store[k].view(raw_type)
                self._settle(k, array[k], raw, picture, common=common, direct=direct)
        return lost

    def _settle(
        self,
        k: int,
        plane: NDArray[Any],
        raw: NDArray[Any],
        picture: Picture,
        *,
        common: bool,
        direct: bool,
    ) -> None:
        """Look at the words of a slice, then make them stored values."""
        self._proof.look(k, raw, picture.image, self._forms.get(k))
        self._thumbs[k] = thumb(raw)
        _settle(plane, raw, picture, common=common, direct=direct)

    def _tick(self) -> None:
        self._count += 1
        if self._progress is not None:
            self._progress(self._count, len(self._pictures))


def _bytes_of(plane: NDArray[Any]) -> memoryview:
    """Writable bytes of a contiguous plane."""
    return plane.reshape(-1).view(np.uint8).data


def _settle(
    plane: NDArray[Any], raw: NDArray[Any], picture: Picture, *, common: bool, direct: bool
) -> None:
    """Turn raw words into stored values; in place where `raw` is a view of `plane` (`direct`)."""
    layout = layout_of(picture.image)
    values = stored_values(raw, layout)
    if common:
        if not direct:
            plane[...] = values
        return
    geometry = picture.geometry
    plane[...] = values * np.float64(geometry.slope) + geometry.intercept
    padding = stored_padding(layout)
    if padding is not None:
        plane[(values >= padding[0]) & (values <= padding[1])] = NOT_SCANNED
