"""Whether a file holds the bytes of its pictures: none too few, none left over."""

from __future__ import annotations

import pytest
from headers import header, place

from core.scan.elements import DEFLATED_LE, EXPLICIT_LE
from core.scan.files import cut_short, left_over
from core.scan.stacks import Picture

FRAME = 40
"""Bytes of 4 by 5 words."""


def stands(frame=0, *, size=10_000, **other):
    image = header(frames=(place(0), place(1)), **other)
    image.source.size = size
    return Picture(image=image, frame=frame)


@pytest.mark.parametrize("frame", [0, 1])
def test_a_picture_is_cut_short_by_its_first_missing_byte(frame):
    end = 1000 + FRAME * (frame + 1)
    assert not cut_short(stands(frame, size=end, pixel_length=80))
    assert cut_short(stands(frame, size=end - 1, pixel_length=80))
    assert not cut_short(stands(frame, pixel_length=FRAME * (frame + 1)))
    assert cut_short(stands(frame, pixel_length=FRAME * (frame + 1) - 1))


def test_of_a_deflated_file_its_inflated_bytes_count():
    small = {"syntax": DEFLATED_LE, "size": 100}
    assert not cut_short(stands(1, pixel_length=2 * FRAME, **small))
    assert cut_short(stands(1, pixel_length=2 * FRAME - 1, **small))


def test_without_pixels_it_is_cut_short():
    assert cut_short(stands(pixel_at=-1))
    assert not cut_short(stands(pixel_at=0))


def test_fragments_need_a_first_item():
    assert not cut_short(stands(pixel_length=-1, size=1008))
    assert cut_short(stands(pixel_length=-1, size=1007))


def test_bytes_are_left_over_beyond_one_that_makes_the_length_even():
    assert not left_over(header(pixel_length=FRAME))
    assert left_over(header(pixel_length=FRAME + 1))
    odd = {"bits_allocated": 8, "rows": 3, "cols": 5, "syntax": EXPLICIT_LE}
    assert not left_over(header(pixel_length=16, **odd))
    assert left_over(header(pixel_length=17, **odd))
    assert not left_over(header(pixel_length=-1))
    two = (place(0), place(1))
    assert not left_over(header(pixel_length=2 * FRAME, frames=two))
    assert left_over(header(pixel_length=2 * FRAME + 2, frames=two))
