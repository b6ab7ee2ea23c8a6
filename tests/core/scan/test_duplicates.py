"""Two pictures at one place: a copy is dropped, another picture is never chosen between."""

from __future__ import annotations

import io
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pytest
from headers import picture

from core.errors import ScanError
from core.scan.duplicates import without_copies
from core.scan.elements import DEFLATED_LE
from core.scan.frames import SAME_PLACE_MM
from core.scan.stacks import Picture

UP = np.array([0.0, 0.0, 1.0])
WORDS = bytes(range(40))


class Held:
    """An export whose files lie in memory; `broken` cannot be opened."""

    def __init__(self, words, broken=()):
        self.words, self.broken, self.opened = words, broken, []

    @contextmanager
    def open(self, source):
        self.opened.append(source.name)
        if source.name in self.broken:
            raise OSError(source.name)
        yield io.BytesIO(self.words[source.name])


def two(*, words=WORDS, at=(-10.0, -10.0, 0.0), image=None, **frame):
    """A picture, and one at the same place that is otherwise as told; with their export."""
    first = picture(0)
    second = picture(7, position_mm=at, image=image, **frame)
    kept = bytes(1000)
    export = Held({"I0": kept + WORDS + b"tail", "I7": kept + words + b"other tail"})
    return export, [first, second, picture(1)]


def dropped(export, pictures, normal=UP):
    kept, count = without_copies(export, pictures, normal)
    assert len(kept) + count == len(pictures)
    return count


def conflict(export, pictures):
    with pytest.raises(ScanError) as caught:
        without_copies(export, pictures, UP)
    return caught.value.code, caught.value.fields.get("count")


def test_the_same_words_at_the_same_place_are_dropped():
    export, pictures = two()
    kept, count = without_copies(export, pictures, UP)
    assert [p.image.source.name for p in kept] == ["I0", "I1"]
    assert count == 1


def test_pictures_at_places_of_their_own_are_not_even_opened():
    export, pictures = two(at=(-10.0, -10.0, 0.0021))
    assert dropped(export, pictures) == 0
    assert export.opened == []


@pytest.mark.parametrize(("mm", "count"), [(0.0, 1), (0.002, 1), (0.00201, 0), (-0.00201, 0)])
def test_one_place_is_two_micrometres_wide(mm, count):
    assert SAME_PLACE_MM == 0.002
    assert dropped(*two(at=(-10.0, -10.0, mm))) == count


def test_a_picture_beside_another_on_its_level_is_no_copy():
    assert dropped(*two(at=(-10.0, -9.9981, 0.0))) == 1
    assert conflict(*two(at=(-10.0, -9.99, 0.0))) == ("scan_conflicting_slices", 1)


def test_other_words_at_the_same_place_are_never_chosen_between():
    assert conflict(*two(words=WORDS[:-1] + b"x")) == ("scan_conflicting_slices", 1)


def test_what_follows_the_pixels_makes_no_other_picture():
    """Both files end differently; as many bytes count as the pixel data are long."""
    export, pictures = two()
    short = [replace_pixels(p, 39) for p in pictures]
    assert dropped(export, short) == 1
    longer = [replace_pixels(p, 41) for p in pictures]
    assert conflict(export, longer)[1] == 1


def replace_pixels(one, length):
    return Picture(image=replace(one.image, pixel_length=length), frame=0)


def test_of_fragments_all_to_the_end_of_the_file_counts():
    export, pictures = two(image={"pixel_length": -1})
    pictures[0] = replace_pixels(pictures[0], -1)
    assert conflict(export, pictures)[1] == 1
    export.words["I7"] = export.words["I0"]
    assert dropped(export, pictures) == 1


def test_of_a_deflated_file_the_whole_file_counts():
    deflated = [
        Picture(image=replace(p.image, syntax=DEFLATED_LE, pixel_length=2000), frame=0)
        for p in two()[1]
    ]
    export = Held({"I0": b"a" * 1040, "I7": b"b" + b"a" * 1039})
    assert conflict(export, deflated)[1] == 1


@pytest.mark.parametrize(
    "other",
    [{"orientation": (1.0, 0.0, 0.0, 0.0, 0.999, 0.0)}, {"spacing_mm": (0.3, 0.4)},
     {"slope": 2.0}, {"intercept": 1.0}, {"image": {"bits_stored": 12}},
     {"image": {"high_bit": 11}}, {"image": {"signed": False}}, {"image": {"rows": 5}}],
)  # fmt: skip
def test_the_same_words_told_otherwise_are_another_picture(other):
    assert conflict(*two(**other)) == ("scan_conflicting_slices", 1)


def test_another_frame_of_a_file_is_another_picture():
    export, pictures = two()
    frames = pictures[1].image.frames * 2
    pictures[1] = Picture(image=replace(pictures[1].image, frames=frames), frame=1)
    assert conflict(export, pictures)[1] == 1


def test_each_that_differs_counts():
    export, pictures = two(words=b"x" * 40)
    again = picture(8, position_mm=(-10.0, -10.0, 0.0))
    export.words["I8"] = bytes(1000) + b"y" * 40
    assert conflict(export, [*pictures, again])[1] == 2


def test_a_file_that_cannot_be_read_is_a_copy_of_none():
    export, pictures = two()
    export.broken = ("I0", "I7")
    assert conflict(export, pictures)[1] == 1


def test_a_file_is_read_once():
    export, pictures = two()
    more = picture(8, position_mm=(-10.0, -10.0, 0.0))
    export.words["I8"] = export.words["I0"]
    assert dropped(export, [*pictures, more]) == 2
    assert sorted(export.opened) == ["I0", "I7", "I8"]


def test_it_can_be_stopped():
    with pytest.raises(ScanError) as caught:
        without_copies(*two(), UP, lambda: True)
    assert caught.value.code == "scan_cancelled"
