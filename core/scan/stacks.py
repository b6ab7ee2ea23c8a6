"""Grouping pictures into stacks that belong together: one patient, series, frame and grid."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from core.geometry import Array
from core.scan.frame_header import FrameHeader, asking
from core.scan.header import ImageHeader

IntArray = NDArray[np.int64]

DIRECTION_TOLERANCE = 1e-3
"""Direction cosines of one stack differ at most by this: rounding, not another direction."""
SPACING_TOLERANCE_MM = 1e-3
TELLS_APART = (
    "AcquisitionNumber",
    "ImageType",
    "ConvolutionKernel",
    "KVP",
    "TemporalPositionIndex",
    "PatientPosition",
    "AcquisitionDate",
    "SeriesDate",
    "StudyDate",
    "ContentDate",
)
"""Attributes that are the same in all slices of one acquisition and reconstruction."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One frame of one file."""

    image: ImageHeader
    frame: int

    @property
    def geometry(self) -> FrameHeader:
        """Where the picture lies, and its scale."""
        return self.image.frames[self.frame]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stack:
    """Pictures that could form one volume.

    Parameters
    ----------
    pictures : tuple of Picture
        In no particular order.
    localizer : bool
        An overview picture, not part of a volume.
    left_out : int
        Localizers with the same series UID that are not part of this stack.
    index : int
        Number of the stack among those of its series UID.
    """

    pictures: tuple[Picture, ...]
    localizer: bool = False
    left_out: int = 0
    index: int = 0

    @property
    def first(self) -> ImageHeader:
        """Header that speaks for the stack."""
        return self.pictures[0].image

    @property
    def series_uid(self) -> str:
        """SeriesInstanceUID."""
        return self.first.value("SeriesInstanceUID")


def patient_of(image: ImageHeader) -> tuple[str, str, str]:
    """What tells patients apart: ID, name without empty tail parts, birth date."""
    name = image.value("PatientName").split("=")[0]
    parts = "^".join(part.strip() for part in name.split("^")).rstrip("^ ")
    return image.value("PatientID"), parts.casefold(), image.value("PatientBirthDate")


def group(
    images: Iterable[ImageHeader], cancelled: Callable[[], bool] | None = None
) -> tuple[Stack, ...]:
    """Group images into stacks, numbered within each series UID, the largest first.

    Takes a time that grows with the number of pictures, however many directions they have.

    Raises
    ------
    ScanError
        ``scan_cancelled``.
    """
    groups: dict[tuple[object, ...], list[Picture]] = {}
    for image in images:
        own = _key(image)
        for frame, geometry in enumerate(asking(image.frames, cancelled)):
            key = (*own, *_frame_key(geometry))
            groups.setdefault(key, []).append(Picture(image=image, frame=frame))
    stacks = [
        Stack(pictures=tuple(part), localizer=is_localizer(part[0].geometry.image_type))
        for pictures in groups.values()
        for alike in _by_grid(pictures)
        for part in _told_apart(alike)
    ]
    return _numbered(stacks)


def tells(picture: Picture) -> tuple[str, ...]:
    """What the header of a picture says of its acquisition and reconstruction."""
    return tuple(_tell(picture, name) for name in TELLS_APART)


def _tell(picture: Picture, name: str) -> str:
    if name == "ImageType":
        return picture.geometry.image_type
    return dict(picture.geometry.own).get(name) or picture.image.value(name)


def is_localizer(image_type: str) -> bool:
    """Whether ImageType names an overview picture (PS3.3 C.8.2.1.1.1: LOCALIZER)."""
    return bool({"LOCALIZER", "SCOUT"} & set(image_type.upper().split("\\")))


def _told_apart(pictures: list[Picture]) -> list[list[Picture]]:
    """Split pictures that lie at the same places, where one attribute tells the volumes apart.

    Two reconstructions or two passes can share a series UID. Copies share every attribute too,
    and stay together.
    """
    if not _overlap(pictures):
        return [pictures]
    for name in TELLS_APART:
        parts: dict[str, list[Picture]] = {}
        for picture in pictures:
            parts.setdefault(_tell(picture, name), []).append(picture)
        if not any(_overlap(part) for part in parts.values()):
            return list(parts.values())
    return [pictures]


def _overlap(pictures: list[Picture]) -> bool:
    places = {picture.geometry.position_mm for picture in pictures}
    return None not in places and len(places) < len(pictures)


def _key(image: ImageHeader) -> tuple[object, ...]:
    return (
        patient_of(image),
        image.value("StudyInstanceUID"),
        image.value("SeriesInstanceUID"),
        image.value("FrameOfReferenceUID"),
        image.value("Modality"),
        image.value("SOPClassUID"),
        (image.rows, image.cols, image.samples),
        _object_of(image),
    )


def _frame_key(geometry: FrameHeader) -> tuple[object, ...]:
    return (
        is_localizer(geometry.image_type),
        geometry.orientation is None,
        geometry.position_mm is None,
        geometry.spacing_mm is None,
        geometry.stack_id,
    )


def _object_of(image: ImageHeader) -> str:
    """What a multi-frame object is part of: a concatenation (PS3.3 C.7.6.16.2.2.4) or itself."""
    if not image.multi_frame:
        return ""
    return image.value("ConcatenationUID") or image.value("SOPInstanceUID")


def _by_grid(pictures: Sequence[Picture]) -> list[list[Picture]]:
    """Split pictures by direction and pixel size, but for rounding.

    Each number is sorted on its own and parted where a gap is wider than rounding, so that no
    picture speaks for the others. What spreads further than rounding without a gap is no stack:
    then each picture stands with those that are exactly like it.
    """
    grids = [(*(p.geometry.orientation or ()), *(p.geometry.spacing_mm or ())) for p in pictures]
    if len(set(grids)) == 1:
        return [list(pictures)]
    values = np.array(grids)
    tolerances = np.full(values.shape[1], DIRECTION_TOLERANCE)
    tolerances[6 * (pictures[0].geometry.orientation is not None) :] = SPACING_TOLERANCE_MM
    parts = np.stack(
        [_parted(column, gap) for column, gap in zip(values.T, tolerances, strict=True)]
    )
    labels = [tuple(row) for row in parts.T.tolist()]
    members: dict[tuple[int, ...], list[int]] = {}
    for index, label in enumerate(labels):
        members.setdefault(label, []).append(index)
    out: list[list[Picture]] = []
    for part in members.values():
        if (np.ptp(values[part], axis=0) <= 2 * tolerances).all():
            out.append([pictures[index] for index in part])
            continue
        exact: dict[tuple[float, ...], list[Picture]] = {}
        for index in part:
            exact.setdefault(grids[index], []).append(pictures[index])
        out += exact.values()
    return out


def _parted(column: Array, gap: float) -> IntArray:
    """Number of the part that each value falls in, parts being more than `gap` apart."""
    order = np.argsort(column, kind="stable")
    steps = np.diff(column[order]) > gap
    out = np.empty(len(column), dtype=np.int64)
    out[order] = np.concatenate([[0], np.cumsum(steps)])
    return out


def _numbered(stacks: list[Stack]) -> tuple[Stack, ...]:
    by_series: dict[str, list[Stack]] = {}
    for stack in stacks:
        by_series.setdefault(stack.series_uid, []).append(stack)
    out: list[Stack] = []
    for members in by_series.values():
        volumes = [stack for stack in members if not stack.localizer]
        left_out = sum(len(stack.pictures) for stack in members if stack.localizer)
        listed = sorted(
            volumes or members,
            key=lambda stack: (-len(stack.pictures), stack.first.source.name),
        )
        out += [
            replace(stack, index=index, left_out=left_out if volumes else 0)
            for index, stack in enumerate(listed)
        ]
    return tuple(out)
