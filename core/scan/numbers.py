"""Numbers as a header writes them (PS3.5 table 6.2-1: DS and IS), and which of them cannot be read.

A decimal comma, NaN, infinity or any other text is no number; it is never replaced by a default
without a word.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

MAX_POSITION_MM = 1e5

_WHOLE = re.compile(r"[+-]?\d{1,12}")

_COUNTS: Mapping[str, int] = {
    "ImagePositionPatient": 3,
    "ImageOrientationPatient": 6,
    "PixelSpacing": 2,
    "RescaleSlope": 1,
    "RescaleIntercept": 1,
    "SliceThickness": 1,
    "SpacingBetweenSlices": 1,
    "SliceLocation": 1,
    "GantryDetectorTilt": 1,
}
"""Attributes that are measured with, and how many numbers each holds."""
_WHOLE_NUMBERS = ("InstanceNumber", "NumberOfFrames")
MUST_BE_READ = frozenset(("RescaleSlope", "RescaleIntercept", "NumberOfFrames"))
"""Where one of these is written but cannot be read, no grey value is known."""


def unreadable(text: Mapping[str, str]) -> tuple[str, ...]:
    """Names of attributes that are written, but not as the numbers that they must be."""
    return tuple(
        name
        for name in (*_COUNTS, *_WHOLE_NUMBERS)
        if name in text and not _readable(name, text[name])
    )


def _readable(name: str, written: str) -> bool:
    if not written.strip():
        # Empty is allowed where the value may be unknown (type 2), as with an instance number.
        return name not in ("RescaleSlope", "RescaleIntercept")
    if name in _WHOLE_NUMBERS:
        return whole(written) is not None
    return numbers(written, _COUNTS[name]) is not None


def numbers(text: str | None, count: int) -> tuple[float, ...] | None:
    """Exactly `count` finite numbers separated by backslashes, or None."""
    if not text:
        return None
    found = [number(part) for part in text.split("\\")]
    if len(found) != count or any(value is None for value in found):
        return None
    return tuple(value for value in found if value is not None)


def position(text: str | None) -> tuple[float, ...] | None:
    """Three coordinates in mm within any scanner's reach, or None."""
    found = numbers(text, 3)
    return found if found is not None and max(map(abs, found)) < MAX_POSITION_MM else None


def spacing(text: str | None) -> tuple[float, float] | None:
    """(row spacing, column spacing) in mm, both positive, or None."""
    found = numbers(text, 2)
    if found is None or min(found) <= 0:
        return None
    return found[0], found[1]


def number(text: str | None) -> float | None:
    """One finite number, or None."""
    if not text or "_" in text:  # Python reads 1_0 as ten; the standard does not
        return None
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def whole(text: str | None) -> int | None:
    """One whole number, or None."""
    written = (text or "").strip()
    return int(written) if _WHOLE.fullmatch(written) else None
