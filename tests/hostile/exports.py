"""Small invented exports whose truth is known: the grey value at every voxel centre.

A `Truth` is what the scanner measured. A `Scan` holds the files that say so; a kind of lie changes
them, and the truth stays, unless the kind says that the files now hold something else.
"""

from __future__ import annotations

import copy
import random
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import imagecodecs
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial.transform import Rotation

from tests.hostile import dicom_bytes as wire

ROOT = "1.2.826.0.1.3680043.10.1083."
CT = "1.2.840.10008.5.1.4.1.1.2"
ENHANCED_CT = "1.2.840.10008.5.1.4.1.1.2.1"
SHAPE = (8, 20, 26)
AXIAL = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])


@dataclass(frozen=True)
class Truth:
    """Grey values and where their centres lie.

    Parameters
    ----------
    grey : (K, J, I) float
    mm_from_ijk : (4, 4)
    """

    grey: NDArray[Any]
    mm_from_ijk: NDArray[Any]

    def part(self, slices: slice) -> Truth:
        """Some of the slices."""
        affine = self.mm_from_ijk.copy()
        affine[:3, 3] += affine[:3, 2] * range(len(self.grey))[slices].start
        return Truth(self.grey[slices], affine)


@dataclass
class File:
    """One file: header values as they are written, and words or bytes of its pictures."""

    head: dict[str, Any]
    words: NDArray[Any]
    syntax: str = wire.EXPLICIT
    pixels: bytes | list[bytes] | None = None
    raw: bytes | None = None
    name: str = ""

    def packed(self) -> bytes:
        """The file's bytes."""
        if self.raw is not None:
            return self.raw
        pixels = self.pixels
        if pixels is None:
            pixels = native(self.words, self.syntax)
        return wire.file_bytes(self.head, pixels, self.syntax)


@dataclass
class Scan:
    """Files of an export and the truths that they hold."""

    files: list[File]
    truths: list[Truth]
    notes: dict[str, Any] = field(default_factory=dict)

    @property
    def truth(self) -> Truth:
        return self.truths[0]

    def write(self, folder: Path, draw: random.Random) -> None:
        """Write the files under names that are in no order."""
        numbers = draw.sample(range(100, 999), len(self.files))
        for number, file in zip(numbers, self.files, strict=True):
            (folder / (file.name or f"I{number}")).write_bytes(file.packed())


def native(words: NDArray[Any], syntax: str) -> bytes:
    """Words in the byte order of a transfer syntax, padded to an even length."""
    order = ">" if syntax == wire.BIG else "<"
    data = words.astype(words.dtype.newbyteorder(order)).tobytes()
    return data + bytes(len(data) % 2)


def grey_values(draw: random.Random, shape: tuple[int, int, int] = SHAPE) -> NDArray[Any]:
    """A smooth picture from air to enamel with a scan's noise, without any symmetry."""
    random_ = np.random.default_rng(draw.randrange(1 << 30))
    rough = ndimage.gaussian_filter(random_.normal(size=shape), (1.6, 2.2, 2.2), mode="wrap")
    rough -= rough.min()
    grey = -1000 + 3400 * rough / rough.max() + random_.normal(0, 12, shape)
    return np.clip(np.rint(grey), -1000, 2600)


def affine_of(draw: random.Random, shape: tuple[int, int, int] = SHAPE) -> NDArray[Any]:
    """Axial, turned or tilted slices with some usual voxel size."""
    turn = np.eye(3)
    if draw.randrange(3) == 0:
        angles = [draw.uniform(-40, 40) for _ in range(3)]
        turn = Rotation.from_euler("xyz", angles, degrees=True).as_matrix()
    row, col = draw.choice(((0.3, 0.25), (0.2, 0.2), (0.25, 0.3), (0.4, 0.4)))
    step = np.array([0.0, 0.0, draw.choice((0.2, 0.25, 0.3, 0.4))])
    if draw.randrange(4) == 0:
        step[1] = step[2] * np.tan(np.radians(draw.uniform(-20, 20)))
    out = np.eye(4)
    out[:3, 0], out[:3, 1], out[:3, 2] = turn[:, 0] * col, turn[:, 1] * row, turn @ step
    out[:3, 3] = [draw.uniform(-40, -10), draw.uniform(-50, -20), draw.uniform(-30, 60)]
    out[:3, 3] = np.round(out[:3, 3], 3)
    return out


@dataclass(frozen=True)
class Form:
    """How grey values become words."""

    signed: bool
    allocated: int
    stored: int
    slope: float
    intercept: float

    def words(self, grey: NDArray[Any]) -> NDArray[Any]:
        """Words whose values are the grey values; clipping would be a fault of the tests."""
        values = np.rint((grey - self.intercept) / self.slope).astype(np.int64)
        low = -(1 << (self.stored - 1)) if self.signed else 0
        high = low + (1 << self.stored)
        if values.min() < low or values.max() >= high:
            raise AssertionError(f"{self} cannot hold {values.min()} … {values.max()}")
        return (values & ((1 << self.allocated) - 1)).astype(f"u{self.allocated // 8}")

    def grey(self, words: NDArray[Any]) -> NDArray[Any]:
        """Grey values of whole words."""
        values = words.view(f"i{words.dtype.itemsize}") if self.signed else words
        return values * self.slope + self.intercept

    def head(self) -> dict[str, Any]:
        """What the header says of it."""
        return {
            "BitsAllocated": self.allocated,
            "BitsStored": self.stored,
            "HighBit": self.stored - 1,
            "PixelRepresentation": int(self.signed),
            "RescaleSlope": f"{self.slope:g}",
            "RescaleIntercept": f"{self.intercept:g}",
        }


SIGNED = Form(True, 16, 16, 1.0, 0.0)
UNSIGNED = Form(False, 16, 16, 1.0, -1024.0)
TWELVE = Form(False, 16, 12, 1.0, -1024.0)
SIGNED_TWELVE = Form(True, 16, 12, 1.0, 1000.0)
FINE = Form(False, 16, 16, 0.1, -1100.0)
FORMS = (SIGNED, UNSIGNED, TWELVE, SIGNED_TWELVE, FINE)


def cosines(affine: NDArray[Any]) -> str:
    """ImageOrientationPatient."""
    row, col = (affine[:3, n] / np.linalg.norm(affine[:3, n]) for n in (0, 1))
    return "\\".join(f"{value:.10g}" for value in (*row, *col))


def place(affine: NDArray[Any], k: float) -> str:
    """ImagePositionPatient of slice k."""
    return "\\".join(f"{value:.10g}" for value in affine[:3, 3] + k * affine[:3, 2])


def spacing(affine: NDArray[Any]) -> str:
    """PixelSpacing: between the rows first."""
    return "\\".join(f"{np.linalg.norm(affine[:3, n]):.8g}" for n in (1, 0))


def normal_step(affine: NDArray[Any]) -> float:
    """Step of the slices along their normal."""
    normal = np.cross(affine[:3, 0], affine[:3, 1])
    return float(affine[:3, 2] @ normal / np.linalg.norm(normal))


def common_head() -> dict[str, Any]:
    """What all files of the scan say alike."""
    return {
        "SpecificCharacterSet": "ISO_IR 192",
        "ImageType": "ORIGINAL\\PRIMARY\\AXIAL",
        "SOPClassUID": CT,
        "StudyDate": "20240305",
        "SeriesDate": "20240305",
        "AcquisitionDate": "20240305",
        "StudyTime": "101500",
        "Modality": "CT",
        "Manufacturer": "Invented",
        "SeriesDescription": "Lower jaw",
        "PatientName": "Sample^Sam",
        "PatientID": "P1",
        "PatientBirthDate": "19700102",
        "PatientSex": "O",
        "KVP": "90",
        "ConvolutionKernel": "K1",
        "PatientPosition": "HFS",
        "StudyInstanceUID": ROOT + "2",
        "SeriesInstanceUID": ROOT + "1",
        "SeriesNumber": "1",
        "AcquisitionNumber": "1",
        "FrameOfReferenceUID": ROOT + "3",
        "SamplesPerPixel": 1,
        "PhotometricInterpretation": "MONOCHROME2",
    }


def scan(draw: random.Random, form: Form | None = None) -> Scan:
    """A plain scan, one file a slice."""
    form = form or draw.choice(FORMS)
    truth = Truth(grey_values(draw), affine_of(draw))
    return Scan(slices_of(truth, form), [truth], {"form": form})


def slices_of(truth: Truth, form: Form, *, first: int = 0, uid: int = 100) -> list[File]:
    """One file for each slice of a truth."""
    affine = truth.mm_from_ijk
    along = normal_step(affine)
    files = []
    for k, plane in enumerate(truth.grey):
        head = common_head() | form.head()
        head |= {
            "SOPInstanceUID": f"{ROOT}{uid}.{k + 1}",
            "InstanceNumber": str(first + k + 1),
            "ImagePositionPatient": place(affine, k),
            "ImageOrientationPatient": cosines(affine),
            "PixelSpacing": spacing(affine),
            "SliceLocation": f"{along * (first + k):.6g}",
            "SliceThickness": f"{along:.6g}",
            "SpacingBetweenSlices": f"{along:.6g}",
            "Rows": plane.shape[0],
            "Columns": plane.shape[1],
        }
        files.append(File(head, form.words(plane)))
    return files


def compressed(file: File, syntax: str, bits: int | None = None) -> File:
    """The same picture as one compressed fragment."""
    head = SimpleNamespace(**file.head)
    words = np.ascontiguousarray(file.words)
    bits = bits or head.BitsStored
    if syntax == wire.RLE:
        data = rle(words)
    elif syntax == wire.JPEG_LS:
        data = bytes(imagecodecs.jpegls_encode(words))
    elif syntax == wire.JPEG_LOSSLESS:
        data = bytes(imagecodecs.ljpeg_encode(words, bitspersample=bits))
    else:
        signed = words.view(f"i{words.dtype.itemsize}") if head.PixelRepresentation else words
        data = bytes(imagecodecs.jpeg2k_encode(signed, level=0, reversible=True, codecformat="j2k"))
    out = copy.copy(file)
    out.head = dict(file.head)
    out.syntax, out.pixels = syntax, [b"", data]
    return out


def rle(words: NDArray[Any]) -> bytes:
    """RLE frame with literal runs only (PS3.5 annex G): segments of the high bytes first."""
    width = words.dtype.itemsize
    planes = words.astype(words.dtype.newbyteorder(">")).reshape(-1, 1).view(np.uint8)
    segments = []
    for byte in range(width):
        data = planes[:, byte].tobytes()
        runs = [data[at : at + 128] for at in range(0, len(data), 128)]
        segment = b"".join(bytes([len(run) - 1]) + run for run in runs)
        segments.append(segment + bytes(len(segment) % 2))
    offsets, at = [], 64
    for segment in segments:
        offsets.append(at)
        at += len(segment)
    header = [len(segments), *offsets] + [0] * (15 - len(offsets))
    return np.array(header, "<u4").tobytes() + b"".join(segments)


def multi_frame(draw: random.Random, form: Form | None = None) -> Scan:
    """One Enhanced CT object; its frames lie in it from the last place to the first."""
    form = form or draw.choice((SIGNED, UNSIGNED, TWELVE))
    truth = Truth(grey_values(draw), affine_of(draw))
    return Scan([frames_of(truth, form)], [truth], {"form": form})


def frames_of(truth: Truth, form: Form, *, uid: str = ROOT + "50") -> File:
    """All slices of a truth as frames of one file."""
    affine = truth.mm_from_ijk
    order = list(reversed(range(len(truth.grey))))
    head = common_head() | form.head()
    for name in ("RescaleSlope", "RescaleIntercept"):
        del head[name]
    head |= {
        "SOPClassUID": ENHANCED_CT,
        "SOPInstanceUID": uid,
        "InstanceNumber": "1",
        "NumberOfFrames": str(len(order)),
        "Rows": truth.grey.shape[1],
        "Columns": truth.grey.shape[2],
        "SharedFunctionalGroupsSequence": [
            {
                "PixelMeasuresSequence": [
                    {"PixelSpacing": spacing(affine), "SliceThickness": "0.3"}
                ],
                "PlaneOrientationSequence": [{"ImageOrientationPatient": cosines(affine)}],
            }
        ],
        "PerFrameFunctionalGroupsSequence": [
            {
                "FrameContentSequence": [{"StackID": "1", "InStackPositionNumber": k + 1}],
                "PlanePositionSequence": [{"ImagePositionPatient": place(affine, k)}],
                "PixelValueTransformationSequence": [
                    {
                        "RescaleSlope": f"{form.slope:g}",
                        "RescaleIntercept": f"{form.intercept:g}",
                        "RescaleType": "US",
                    }
                ],
            }
            for k in order
        ],
    }  # fmt: skip
    return File(head, form.words(truth.grey[order]))
