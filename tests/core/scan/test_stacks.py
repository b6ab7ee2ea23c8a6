"""Which pictures belong together: one patient, series, frame of reference, direction and grid."""

from __future__ import annotations

import pytest
from headers import header, picture, place

from core.errors import ScanError
from core.scan.frame_header import FRAMES_AT_ONCE, asking
from core.scan.stacks import DIRECTION_TOLERANCE, group, is_localizer, patient_of

AXIAL = (1.0, 0.0, 0.0, 0.0, 1.0, 0.0)


def images(count=4, start=0, **other):
    return [picture(k, **other).image for k in range(start, start + count)]


def sizes(*parts):
    return [len(stack.pictures) for stack in group([image for part in parts for image in part])]


@pytest.mark.parametrize(
    ("name", "value"),
    [("PatientID", "2"), ("PatientName", "Doe^John"), ("PatientBirthDate", "19700102"),
     ("StudyInstanceUID", "1.9"), ("SeriesInstanceUID", "1.9"), ("FrameOfReferenceUID", "1.9"),
     ("Modality", "MR"), ("SOPClassUID", "1.9")],
)  # fmt: skip
def test_each_of_these_tells_stacks_apart(name, value):
    assert sizes(images(), images(3, 4, text={name: value})) == [4, 3]


@pytest.mark.parametrize("field", ["rows", "cols", "samples"])
def test_pictures_of_another_size_are_another_stack(field):
    assert sizes(images(), images(3, 4, image={field: 3})) == [4, 3]


@pytest.mark.parametrize("field", ["orientation", "position_mm", "spacing_mm"])
def test_pictures_without_a_place_are_another_stack(field):
    assert sizes(images(), images(3, 4, **{field: None})) == [4, 3]


def test_names_are_told_apart_by_what_people_read():
    """Case, blanks around parts, empty tail parts and other scripts make no other person."""
    told = {
        patient_of(header(text={"PatientName": name}))
        for name in (
            "Doe^Jane",
            "DOE^JANE",
            "Doe ^ Jane",
            "Doe^Jane^^^",
            "Doe^Jane=ドウ",
            "Doe^Jane ",
        )
    }
    assert told == {("1", "doe^jane", "19700101")}
    assert patient_of(header(text={"PatientName": "^Jane"}))[1] == "^jane"


@pytest.mark.parametrize(
    ("image_type", "localizer"),
    [("ORIGINAL\\PRIMARY\\LOCALIZER", True), ("original\\primary\\scout", True),
     ("ORIGINAL\\PRIMARY\\AXIAL", False), ("", False), ("ORIGINAL\\LOCALIZERS", False)],
)  # fmt: skip
def test_localizers_say_so(image_type, localizer):
    assert is_localizer(image_type) is localizer


def turned(off):
    return (1.0, off, 0.0, -off, 1.0, 0.0)


def test_directions_a_thousandth_apart_are_rounding():
    assert sizes(images(), images(3, 4, orientation=turned(0.9 * DIRECTION_TOLERANCE))) == [7]
    assert sizes(images(), images(3, 4, orientation=turned(1.1 * DIRECTION_TOLERANCE))) == [4, 3]


@pytest.mark.parametrize("at", [0, 1])
def test_pixels_a_micrometre_apart_are_rounding(at):
    near, far = [0.3, 0.3], [0.3, 0.3]
    near[at], far[at] = 0.3009, 0.3011
    assert sizes(images(), images(3, 4, spacing_mm=tuple(near))) == [7]
    assert sizes(images(), images(3, 4, spacing_mm=tuple(far))) == [4, 3]


def test_without_directions_pixel_sizes_are_held_apart_as_closely():
    bare = {"orientation": None}
    assert sizes(images(**bare), images(3, 4, spacing_mm=(0.3, 0.3009), **bare)) == [7]
    assert sizes(images(**bare), images(3, 4, spacing_mm=(0.3, 0.3011), **bare)) == [4, 3]


def test_what_drifts_from_picture_to_picture_is_no_one_stack():
    """Each a little further: up to twice the rounding it is one stack, beyond that none."""
    one = [picture(k, orientation=turned(0.0009 * k)).image for k in range(3)]
    assert sizes(one) == [3]
    drift = [picture(k, orientation=turned(0.0009 * (k // 2))).image for k in range(8)]
    assert sizes(drift) == [2, 2, 2, 2]


def test_volumes_at_the_same_places_are_told_apart_by_the_one_attribute_that_does():
    soft, hard = {"ConvolutionKernel": "soft"}, {"ConvolutionKernel": "hard"}
    assert sizes(images(text=soft), images(3, text=hard)) == [4, 3]
    # At other places they are parts of one.
    assert sizes(images(text=soft), images(3, 4, text=hard)) == [7]
    # Copies share every attribute, and what tells only some apart tells nothing.
    assert sizes(images(), images()) == [8]
    assert sizes(images(text=soft), images(text=hard), images(text=hard)) == [12]


def test_what_a_frame_says_of_itself_comes_before_what_its_file_says():
    own = images(text={"KVP": "90"}, own=(("KVP", "110"),))
    assert sizes(images(3, text={"KVP": "90"}), own) == [4, 3]
    alike = images(text={"KVP": "90"}, own=(("KVP", ""),))
    assert sizes(images(3, text={"KVP": "90"}), alike) == [7]


def test_stacks_of_a_series_are_numbered_by_size_then_name():
    small = images(2, 30, image={"rows": 9})
    stacks = group([*small, *images(2, 20, image={"rows": 8}), *images(5)])
    assert [(len(s.pictures), s.index, s.first.rows) for s in stacks] == [
        (5, 0, 4), (2, 1, 8), (2, 2, 9)
    ]  # fmt: skip
    other = group([*images(), *images(3, 4, text={"SeriesInstanceUID": "1.9"})])
    assert [(s.series_uid, s.index) for s in other] == [("1.2.3", 0), ("1.9", 0)]


def test_overviews_are_counted_and_are_no_stack_beside_a_volume():
    overviews = images(2, 10, image_type="ORIGINAL\\PRIMARY\\LOCALIZER")
    (stack,) = group([*overviews, *images()])
    assert (len(stack.pictures), stack.localizer, stack.left_out) == (4, False, 2)
    (alone,) = group(overviews)
    assert (len(alone.pictures), alone.localizer, alone.left_out) == (2, True, 0)


def test_parts_of_a_concatenation_are_one_object_and_two_objects_are_two():
    def part(k, **text):
        return header(k, text=text, frames=(place(k),), multi_frame=True)

    joined = [part(k, ConcatenationUID="1.7", SOPInstanceUID=f"1.8.{k}") for k in range(3)]
    assert sizes(joined) == [3]
    assert sizes([part(k, SOPInstanceUID=f"1.8.{k}") for k in range(3)]) == [1, 1, 1]
    assert sizes([part(k, SOPInstanceUID="1.8") for k in range(3)]) == [3]


def test_reading_frames_is_asked_to_stop_before_the_first_and_every_500():
    asked = []

    def count_to(n):
        def cancelled():
            asked.append(n)
            return False

        assert list(asking(range(n), cancelled)) == list(range(n))
        return asked.count(n)

    assert FRAMES_AT_ONCE == 500
    assert [count_to(n) for n in (0, 1, 500, 501, 1001)] == [0, 1, 1, 2, 3]
    assert list(asking(range(3), None)) == [0, 1, 2]
    with pytest.raises(ScanError) as caught:
        list(asking(range(3), lambda: True))
    assert caught.value.code == "scan_cancelled"
