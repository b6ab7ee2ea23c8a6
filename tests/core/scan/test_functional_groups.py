"""Frames of a multi-frame object: what stands in its own groups comes before the shared ones."""

from __future__ import annotations

import pytest
from pydicom.dataset import Dataset

from core.scan.functional_groups import _frame


def groups(**held):
    """``Group__Name=value``."""
    out = Dataset()
    for told, value in held.items():
        group, name = told.split("__")
        if group not in out:
            setattr(out, group, [Dataset()])
        setattr(getattr(out, group)[0], name, value)
    return out


WHOLE = {
    "PlanePositionSequence__ImagePositionPatient": [1, 2, 3],
    "PlaneOrientationSequence__ImageOrientationPatient": [1, 0, 0, 0, 1, 0],
    "PixelMeasuresSequence__PixelSpacing": [0.3, 0.2],
    "PixelMeasuresSequence__SliceThickness": 0.4,
    "PixelValueTransformationSequence__RescaleSlope": 2,
    "PixelValueTransformationSequence__RescaleIntercept": -1000,
    "CTImageFrameTypeSequence__FrameType": ["ORIGINAL", "PRIMARY", "VOLUME", "NONE"],
    "FrameContentSequence__StackID": "7",
    "FrameContentSequence__InStackPositionNumber": 12,
    "FrameContentSequence__FrameAcquisitionNumber": 3,
    "FrameContentSequence__TemporalPositionIndex": 4,
    "CTReconstructionSequence__ConvolutionKernel": "H60",
    "CTXRayDetailsSequence__KVP": 90,
}


def check(found):
    assert found.position_mm == (1, 2, 3)
    assert found.orientation == (1, 0, 0, 0, 1, 0)
    assert found.spacing_mm == (0.3, 0.2)
    assert found.thickness_mm == 0.4
    assert (found.slope, found.intercept, found.scaled) == (2, -1000, True)
    assert found.image_type == "ORIGINAL\\PRIMARY\\VOLUME\\NONE"
    assert (found.stack_id, found.number) == ("7", 12)
    assert dict(found.own) == {
        "AcquisitionNumber": "3", "TemporalPositionIndex": "4", "ConvolutionKernel": "H60",
        "KVP": "90.0",
    }  # fmt: skip
    assert found.unreadable == ()


def test_groups_of_the_frame_and_shared_ones():
    check(_frame(Dataset(), groups(**WHOLE), {}))
    check(_frame(groups(**WHOLE), Dataset(), {}))


@pytest.mark.parametrize("name", sorted(WHOLE))
def test_the_frames_own_come_first(name):
    group = name.split("__")[0]
    own = {key: value for key, value in WHOLE.items() if key.startswith(group)}
    wrong = dict.fromkeys(own, "9")
    for numbers in ("PlanePosition", "PlaneOrientation", "PixelMeasures"):
        if group.startswith(numbers):
            wrong = dict.fromkeys(own)
    check(_frame(groups(**WHOLE | wrong), groups(**own), {}))


def test_frames_of_three_dimensional_pictures_have_a_type_of_their_own():
    three = groups(XRay3DFrameTypeSequence__FrameType=["ORIGINAL", "PRIMARY"])
    assert _frame(Dataset(), three, {"ImageType": "X"}).image_type == "ORIGINAL\\PRIMARY"
    assert _frame(Dataset(), Dataset(), {"ImageType": "X"}).image_type == "X"


def test_where_nothing_is_said_nothing_is_known():
    found = _frame(Dataset(), Dataset(), {})
    assert (found.position_mm, found.orientation, found.spacing_mm) == (None, None, None)
    assert (found.slope, found.intercept, found.scaled) == (1.0, 0.0, False)
    assert (found.thickness_mm, found.number, found.stack_id) == (None, None, "")
    assert found.own == ()
    assert found.unreadable == ()


@pytest.mark.parametrize("lacking", ["RescaleSlope", "RescaleIntercept"])
def test_half_a_scale_is_none(lacking):
    told = dict(WHOLE)
    del told[f"PixelValueTransformationSequence__{lacking}"]
    assert not _frame(Dataset(), groups(**told), {}).scaled
