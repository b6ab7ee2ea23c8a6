"""Grouping pictures into stacks that belong together: one patient, series, frame and grid."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from core.scan.header import FrameHeader, ImageHeader

DIRECTION_TOLERANCE = 1e-3
"""Direction cosines of one stack differ at most by this: rounding, not another direction."""
SPACING_TOLERANCE_MM = 1e-3
_TELLS_APART = (
    "AcquisitionNumber",
    "ImageType",
    "ConvolutionKernel",
    "TemporalPositionIndex",
    "AcquisitionDate",
)


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


def group(images: Iterable[ImageHeader]) -> tuple[Stack, ...]:
    """Group images into stacks, numbered within each series UID, the largest first."""
    groups: dict[tuple[object, ...], list[tuple[FrameHeader, list[Picture]]]] = {}
    for image in images:
        for frame, geometry in enumerate(image.frames):
            candidates = groups.setdefault(_key(image, geometry), [])
            for representative, pictures in candidates:
                if _alike(representative, geometry):
                    pictures.append(Picture(image=image, frame=frame))
                    break
            else:
                candidates.append((geometry, [Picture(image=image, frame=frame)]))
    stacks = [
        Stack(pictures=tuple(part), localizer=is_localizer(part[0].geometry.image_type))
        for candidates in groups.values()
        for _, pictures in candidates
        for part in _told_apart(pictures)
    ]
    return _numbered(stacks)


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
    for name in _TELLS_APART:
        parts: dict[str, list[Picture]] = {}
        for picture in pictures:
            parts.setdefault(picture.image.value(name), []).append(picture)
        if len(parts) > 1 and not any(_overlap(part) for part in parts.values()):
            return list(parts.values())
    return [pictures]


def _overlap(pictures: list[Picture]) -> bool:
    places = {picture.geometry.position_mm for picture in pictures}
    return None not in places and len(places) < len(pictures)


def _key(image: ImageHeader, geometry: FrameHeader) -> tuple[object, ...]:
    return (
        patient_of(image),
        image.value("StudyInstanceUID"),
        image.value("SeriesInstanceUID"),
        image.value("FrameOfReferenceUID"),
        image.value("Modality"),
        image.value("SOPClassUID"),
        (image.rows, image.cols, image.samples),
        _object_of(image),
        is_localizer(geometry.image_type),
        geometry.orientation is None,
        geometry.position_mm is None,
        geometry.spacing_mm is None,
    )


def _object_of(image: ImageHeader) -> str:
    """What a multi-frame object is part of: a concatenation (PS3.3 C.7.6.16.2.2.4) or itself."""
    if not image.multi_frame:
        return ""
    return image.value("ConcatenationUID") or image.value("SOPInstanceUID")


def _alike(first: FrameHeader, second: FrameHeader) -> bool:
    """Whether two pictures share direction and pixel size, but for rounding."""
    return _near(first.orientation, second.orientation, DIRECTION_TOLERANCE) and _near(
        first.spacing_mm, second.spacing_mm, SPACING_TOLERANCE_MM
    )


def _near(
    first: tuple[float, ...] | None, second: tuple[float, ...] | None, tolerance: float
) -> bool:
    if first is second or first == second:
        return True
    if first is None or second is None:
        return False
    return max(abs(a - b) for a, b in zip(first, second, strict=True)) <= tolerance


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
