"""Geometry and scale of one picture, and how many of them are read before it is asked to stop."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import TypeVar

from core.errors import ScanError

T = TypeVar("T")

MAX_FRAMES = 20_000
FRAMES_AT_ONCE = 500
"""Between two questions whether the user has given up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameHeader:
    """Geometry and scale of one picture.

    Parameters
    ----------
    position_mm : three numbers or None
        ImagePositionPatient.
    orientation : six numbers or None
        ImageOrientationPatient: direction along the rows, then down the columns.
    spacing_mm : (row spacing, column spacing) or None
        PixelSpacing.
    slope, intercept : float
    thickness_mm : float or None
        SliceThickness.
    image_type : str
        ImageType or FrameType, joined by backslashes.
    stack_id : str
        StackID, empty outside multi-frame objects.
    number : int or None
        InStackPositionNumber, or InstanceNumber of a file with one picture.
    location_mm : float or None
        SliceLocation.
    scaled : bool
        Whether both slope and intercept are stated.
    unreadable : tuple of str
        Attributes that are written, but not as numbers.
    own : tuple of (name, value)
        What the frame itself says of its acquisition and reconstruction, under the names that
        files of one picture use.
    """

    position_mm: tuple[float, ...] | None
    orientation: tuple[float, ...] | None
    spacing_mm: tuple[float, float] | None
    slope: float = 1.0
    intercept: float = 0.0
    thickness_mm: float | None = None
    image_type: str = ""
    stack_id: str = ""
    number: int | None = None
    location_mm: float | None = None
    scaled: bool = False
    unreadable: tuple[str, ...] = ()
    own: tuple[tuple[str, str], ...] = ()


def asking(frames: Iterable[T], cancelled: Callable[[], bool] | None) -> Iterator[T]:
    """The frames themselves; every `FRAMES_AT_ONCE` of them it is asked whether to go on.

    Raises
    ------
    ScanError
        ``scan_cancelled``.
    """
    for count, frame in enumerate(frames):
        if cancelled is not None and count % FRAMES_AT_ONCE == 0 and cancelled():
            raise ScanError("scan_cancelled")
        yield frame
