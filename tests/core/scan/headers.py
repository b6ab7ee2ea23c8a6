"""Headers and pictures as objects, without files: each as sound as a plain scan's."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

from core.scan.elements import EXPLICIT_LE
from core.scan.frame_header import FrameHeader
from core.scan.header import ImageHeader
from core.scan.stacks import Picture

TEXT = {
    "SOPClassUID": "1.2.840.10008.5.1.4.1.1.2",
    "Modality": "CT",
    "PhotometricInterpretation": "MONOCHROME2",
    "PatientName": "Doe^Jane",
    "PatientID": "1",
    "PatientBirthDate": "19700101",
    "SeriesInstanceUID": "1.2.3",
    "StudyInstanceUID": "1.2",
    "FrameOfReferenceUID": "1.2.4",
    "PatientPosition": "HFS",
}


def place(k: int = 0, **other: object) -> FrameHeader:
    """One slice of a stack of 0.3 mm steps."""
    frame = FrameHeader(
        position_mm=(-10.0, -10.0, 0.3 * k), orientation=(1.0, 0.0, 0.0, 0.0, 1.0, 0.0),
        spacing_mm=(0.3, 0.3), slope=1.0, intercept=0.0, thickness_mm=0.3,
        image_type="ORIGINAL\\PRIMARY\\AXIAL", number=k + 1, location_mm=0.3 * k, scaled=True,
        unreadable=(),
    )  # fmt: skip
    return replace(frame, **other)


def header(k: int = 0, *, text: dict[str, str] | None = None, frames=None, **other) -> ImageHeader:
    """A header of one file."""
    image = ImageHeader(
        source=SimpleNamespace(name=f"I{k}", size=10_000), syntax=EXPLICIT_LE,
        text=TEXT | (text or {}), rows=4, cols=5, bits_allocated=16, bits_stored=16, high_bit=15,
        samples=1, signed=True, little=True, pixel_tag=0x7FE00010, pixel_at=1000, pixel_length=40,
        frames=(place(k),) if frames is None else frames, multi_frame=False, padding=None,
    )  # fmt: skip
    return replace(image, **other)


def picture(k: int = 0, *, text=None, image=None, **frame) -> Picture:
    """A picture of a file of its own."""
    image = image or {}
    return Picture(image=header(k, text=text, frames=(place(k, **frame),), **image), frame=0)
