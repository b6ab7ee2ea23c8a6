"""Stored values: what the words in a file mean.

Bits outside BitsStored are masked and signs extended (PS3.5 section 8.1.1); padding is told apart
from values (PS3.3 C.7.5.1.1.2).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from core.scan.decode import CODECS
from core.scan.elements import EXPLICIT_BE, NATIVE
from core.scan.header import ImageHeader

_GREY = ("", "MONOCHROME1", "MONOCHROME2")
"""Photometric interpretations of grey pictures; where none is given, that is told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """How the values of a picture lie in their words."""

    bits_allocated: int
    bits_stored: int
    high_bit: int
    signed: bool
    padding: tuple[int, int] | None


def unreadable_layout(image: ImageHeader) -> str:
    """Why the pixel layout cannot be read, as an error code; empty when it can."""
    bits, stored = image.bits_allocated, image.bits_stored
    if image.samples != 1 or image.value("PhotometricInterpretation") not in _GREY:
        return "scan_colour"
    if image.syntax not in NATIVE and image.syntax not in CODECS:
        return "scan_syntax_unknown"
    sure = (
        min(image.rows, image.cols) >= 2
        and image.signed is not None
        and image.pixel_tag in (0, 0x7FE00010)
        and bits in (8, 16, 32)
        and 0 < stored <= bits
        and stored - 1 <= image.high_bit < bits
        # Words of less than a byte, bytes in words of the other order, and unsigned words
        # beyond any array type.
        and not (bits == 8 and (stored < 8 or image.syntax == EXPLICIT_BE))
        and not (stored == 32 and not image.signed)
        and image.encapsulated == (image.syntax not in NATIVE)
    )
    return "" if sure else "scan_pixel_layout"


def layout_of(image: ImageHeader) -> Layout:
    """Pixel layout that a header states."""
    return Layout(
        bits_allocated=image.bits_allocated,
        bits_stored=image.bits_stored,
        high_bit=image.high_bit,
        signed=image.signed is True,
        padding=image.padding,
    )


def array_type(layout: Layout) -> np.dtype[Any]:
    """Type of the volume's array for pictures of this layout.

    Unsigned words whose top bit is never set are the same words with a sign; nearly every scan is
    then sampled by kernels of one type, and those of the other need not be compiled.
    """
    if layout.bits_allocated == 32:
        return np.dtype(np.int32)
    top_is_free = layout.bits_stored < 16 and max(padding_words(layout) or (0,)) < 1 << 15
    return np.dtype(np.int16 if layout.signed or top_is_free else np.uint16)


def stored_values(raw: NDArray[Any], layout: Layout) -> NDArray[Any]:
    """Raw words → stored values: bits outside BitsStored dropped, sign extended.

    Works in place; a word that equals a padding value which does not fit into BitsStored is kept
    as it is, since masking it would turn *not scanned* into a value.
    """
    bits = layout.bits_allocated
    signed = raw.view(np.dtype(f"i{bits // 8}"))
    values = signed if layout.signed else raw
    if layout.bits_stored == bits:
        return values
    kept = None
    if layout.padding is not None and not _fits(layout.padding, layout):
        kept = raw == np.array(layout.padding[0]).astype(raw.dtype)
        word = raw[kept][:1].copy()
    if layout.signed:
        values <<= bits - 1 - layout.high_bit
        values >>= bits - layout.bits_stored
    else:
        values >>= layout.high_bit + 1 - layout.bits_stored
        values &= (1 << layout.bits_stored) - 1
    if kept is not None and len(word):
        raw[kept] = word[0]
    return values


def _fits(padding: tuple[int, int], layout: Layout) -> bool:
    """Whether the first padding word is representable in BitsStored."""
    word = padding[0] & ((1 << layout.bits_allocated) - 1)
    if layout.signed:
        value = _signed(word, layout.bits_allocated)
        return -(1 << (layout.bits_stored - 1)) <= value < 1 << (layout.bits_stored - 1)
    return word < 1 << layout.bits_stored


def padding_words(layout: Layout) -> tuple[int, int] | None:
    """Inclusive range of raw words that mean *not scanned*, as unsigned numbers."""
    if layout.padding is None:
        return None
    words = [word & ((1 << min(16, layout.bits_allocated)) - 1) for word in layout.padding]
    if layout.bits_allocated == 32 and layout.signed:
        words = [word | 0xFFFF0000 if word >= 1 << 15 else word for word in words]
    low, high = sorted(words)
    if layout.signed and low < 1 << 15 <= high and layout.bits_allocated >= 16:
        return low, low  # a range across zero wraps as words: its first value alone is sure
    return low, high


def stored_padding(layout: Layout) -> tuple[float, float] | None:
    """Inclusive range of stored values that mean *not scanned* (PS3.3 C.7.5.1.1.2)."""
    if layout.padding is None:
        return None
    words = [word & ((1 << min(16, layout.bits_allocated)) - 1) for word in layout.padding]
    if layout.signed:
        words = [_signed(word, min(16, layout.bits_allocated)) for word in words]
    return float(min(words)), float(max(words))


def _signed(word: int, bits: int) -> int:
    return word - (1 << bits) if word >= 1 << (bits - 1) else word


def fill_between(
    array: NDArray[Any], made_up: Sequence[int], padding: tuple[float, float] | None
) -> None:
    """Put slices in place of missing ones: linear between the nearest real ones.

    Parameters
    ----------
    array : (slices, rows, cols)
        Changed in place.
    made_up : sequence of int
        Slices that are missing.
    padding : (low, high) or None
        Stored values of what was not scanned.
    """
    real = [k for k in range(len(array)) if k not in made_up]
    for k in made_up:
        below = max((r for r in real if r < k), default=None)
        above = min((r for r in real if r > k), default=None)
        low = array[below if below is not None else real[0]]
        high = array[above if above is not None else real[-1]]
        share = 0.5
        if below is not None and above is not None:
            share = (k - below) / (above - below)
        between = low * (1 - share) + high * share
        if array.dtype.kind != "f":
            between = np.rint(between)
        array[k] = between
        if padding is not None:
            for side in (low, high):
                array[k][(side >= padding[0]) & (side <= padding[1])] = padding[0]
