"""Frames of multi-frame objects: Enhanced CT and X-Ray 3D Craniofacial.

Geometry stands in functional groups, shared by all frames or given for each (DICOM PS3.3
C.7.6.16.2: Plane Position, Plane Orientation, Pixel Measures, Pixel Value Transformation).
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from core.errors import ScanError
from core.scan.attributes import TAGS
from core.scan.elements import Damaged, Flat
from core.scan.frame_header import MAX_FRAMES, FrameHeader, asking
from core.scan.numbers import number, numbers, position, spacing, unreadable, whole
from core.scan.sources import Export, Source

if TYPE_CHECKING:
    from pydicom.dataset import Dataset


_OWN = (
    ("AcquisitionNumber", "FrameContentSequence", "FrameAcquisitionNumber"),
    ("TemporalPositionIndex", "FrameContentSequence", "TemporalPositionIndex"),
    ("ConvolutionKernel", "CTReconstructionSequence", "ConvolutionKernel"),
    ("KVP", "CTXRayDetailsSequence", "KVP"),
)
"""Name in files of one picture, group, and name there (PS3.3 C.7.6.16.2 and C.8.15.3)."""


def read_frames(
    export: Export,
    source: Source,
    flat: Flat,
    text: dict[str, str],
    cancelled: Callable[[], bool] | None = None,
) -> tuple[FrameHeader, ...]:
    """Read the frames of a multi-frame object.

    Parameters
    ----------
    export : Export
    source : Source
    flat : Flat
    text : dict of str to str
        Decoded attributes by name.
    cancelled : callable, optional
        Asked now and then; True ends the work.

    Raises
    ------
    Damaged
        When the groups cannot be read, or do not fit NumberOfFrames.
    ScanError
        ``scan_cancelled``.
    """
    try:
        data = flat.inflated or export.head(source, flat.pixel_at)
        shared, frames = _groups(data[flat.start : flat.pixel_at], flat)
        out = tuple(_frame(shared, frame, text) for frame in asking(frames, cancelled))
    except (ScanError, MemoryError):
        raise
    except Exception as error:  # a general reader fails in many ways on hostile bytes
        raise Damaged from error
    if not 0 < len(out) <= MAX_FRAMES or str(len(out)) != (text.get("NumberOfFrames") or "1"):
        raise Damaged
    return out


def _groups(data: bytes, flat: Flat) -> tuple[Dataset, list[Dataset]]:
    from pydicom.dataset import Dataset
    from pydicom.filereader import read_dataset

    wanted: list[Any] = [
        TAGS["SharedFunctionalGroupsSequence"],
        TAGS["PerFrameFunctionalGroupsSequence"],
    ]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = read_dataset(
            io.BytesIO(data),
            flat.implicit,
            flat.little,
            stop_when=lambda tag, *_: tag.group >= 0x7FE0,
            specific_tags=wanted,
        )
        shared = found.get("SharedFunctionalGroupsSequence") or [Dataset()]
        return shared[0], list(found.get("PerFrameFunctionalGroupsSequence") or [])


def _frame(shared: Dataset, frame: Dataset, text: Mapping[str, str]) -> FrameHeader:
    kind = _item(shared, frame, "CTImageFrameTypeSequence", "XRay3DFrameTypeSequence")
    measures = _item(shared, frame, "PixelMeasuresSequence")
    scale = _item(shared, frame, "PixelValueTransformationSequence")
    place = _item(shared, frame, "PlanePositionSequence")
    orientation = _item(shared, frame, "PlaneOrientationSequence")
    content = _item(shared, frame, "FrameContentSequence")
    written = {
        "ImagePositionPatient": _value(place, "ImagePositionPatient"),
        "ImageOrientationPatient": _value(orientation, "ImageOrientationPatient"),
        "PixelSpacing": _value(measures, "PixelSpacing"),
        "SliceThickness": _value(measures, "SliceThickness"),
    }
    for name in ("RescaleSlope", "RescaleIntercept"):
        if scale is not None and name in scale:
            written[name] = _value(scale, name)
    slope, intercept = number(written.get("RescaleSlope")), number(written.get("RescaleIntercept"))
    return FrameHeader(
        position_mm=position(written["ImagePositionPatient"]),
        orientation=numbers(written["ImageOrientationPatient"], 6),
        spacing_mm=spacing(written["PixelSpacing"]),
        slope=1.0 if slope is None else slope,
        intercept=0.0 if intercept is None else intercept,
        thickness_mm=number(written["SliceThickness"]),
        image_type=_value(kind, "FrameType") or text.get("ImageType", ""),
        stack_id=_value(content, "StackID"),
        number=whole(_value(content, "InStackPositionNumber")),
        scaled=slope is not None and intercept is not None,
        unreadable=unreadable(written),
        own=_own(shared, frame),
    )


def _own(shared: Dataset, frame: Dataset) -> tuple[tuple[str, str], ...]:
    """What a frame says of its acquisition and reconstruction."""
    said = [(name, _value(_item(shared, frame, group), inner)) for name, group, inner in _OWN]
    return tuple((name, value) for name, value in said if value)


def _item(shared: Dataset, frame: Dataset, *names: str) -> Dataset | None:
    """First item of the named group, the frame's own before the shared one."""
    for groups in (frame, shared):
        for name in names:
            found = groups.get(name)
            if found:
                item: Dataset = found[0]
                return item
    return None


def _value(item: Dataset | None, name: str) -> str:
    """Value as text with backslashes, empty where absent."""
    found = None if item is None else item.get(name)
    if found is None:
        return ""
    if isinstance(found, str) or not hasattr(found, "__iter__"):
        return str(found)
    return "\\".join(str(part) for part in found)
