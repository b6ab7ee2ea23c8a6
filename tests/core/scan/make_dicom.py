"""Invented scans, written as DICOM with every fault that the tests need."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
from numpy.typing import NDArray
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.encaps import encapsulate
from pydicom.filewriter import dcmwrite
from pydicom.pixels.encoders.base import RLELosslessEncoder
from pydicom.uid import (
    UID,
    CTImageStorage,
    DeflatedExplicitVRLittleEndian,
    EnhancedCTImageStorage,
    ExplicitVRBigEndian,
    ExplicitVRLittleEndian,
    ImplicitVRLittleEndian,
    JPEG2000Lossless,
    JPEGBaseline8Bit,
    JPEGLossless,
    JPEGLosslessSV1,
    JPEGLSLossless,
    RLELossless,
)

XRAY_3D_CRANIOFACIAL = UID("1.2.840.10008.5.1.4.1.1.13.1.2")
ROOT = "1.2.826.0.1.3680043.10.1083."
"""Prefix of invented UIDs (the tail is a counter, so that runs repeat)."""
SERIES = ROOT + "1"
STUDY = ROOT + "2"
FRAME = ROOT + "3"
AXIAL = (1.0, 0.0, 0.0, 0.0, 1.0, 0.0)
SHAPE = (6, 20, 24)

Change = Callable[[int, Dataset], None]


def voxels(
    shape: tuple[int, int, int] = SHAPE, *, low: int = -1000, high: int = 3000
) -> NDArray[np.int16]:
    """Seeded values without any symmetry, so that a flip or a swapped slice shows."""
    values = np.random.default_rng(20).integers(low, high, size=shape)
    return values.astype(np.int16)


def normal_of(orientation: Sequence[float]) -> NDArray[np.float64]:
    return np.cross(orientation[:3], orientation[3:])


def dataset(
    values: NDArray[Any],
    *,
    k: int,
    position: Sequence[float] | None,
    orientation: Sequence[float] | None = AXIAL,
    spacing: Sequence[float] | None = (0.3, 0.25),
    bits: int = 16,
) -> Dataset:
    """One CT slice; `values` are the stored values and give the pixel representation."""
    ds = Dataset()
    ds.SpecificCharacterSet = "ISO_IR 192"
    ds.ImageType = ["ORIGINAL", "PRIMARY", "AXIAL"]
    ds.SOPClassUID = CTImageStorage
    ds.SOPInstanceUID = f"{SERIES}.{k + 1}"
    ds.StudyDate = ds.AcquisitionDate = "20240305"
    ds.StudyTime = "101500"
    ds.AccessionNumber = "A1"
    ds.Modality = "CT"
    ds.Manufacturer = "Invented"
    ds.ReferringPhysicianName = "Doe^Jane"
    ds.SeriesDescription = "Lower jaw"
    ds.PatientName = "Sample^Sam"
    ds.PatientID = "P1"
    ds.PatientBirthDate = "19700102"
    ds.PatientSex = "O"
    ds.PatientPosition = "HFS"
    ds.StudyInstanceUID = STUDY
    ds.SeriesInstanceUID = SERIES
    ds.StudyID = "7"
    ds.SeriesNumber = 1
    ds.InstanceNumber = k + 1
    ds.FrameOfReferenceUID = FRAME
    if position is not None:
        ds.ImagePositionPatient = [f"{value:.9g}" for value in position]
    if orientation is not None:
        ds.ImageOrientationPatient = [f"{value:.12g}" for value in orientation]
    if spacing is not None:
        ds.PixelSpacing = list(spacing)
    ds.SamplesPerPixel = 1
    ds.PhotometricInterpretation = "MONOCHROME2"
    ds.Rows, ds.Columns = values.shape
    ds.BitsAllocated = values.dtype.itemsize * 8
    ds.BitsStored = min(bits, ds.BitsAllocated)
    ds.HighBit = ds.BitsStored - 1
    ds.PixelRepresentation = 1 if values.dtype.kind == "i" else 0
    ds.RescaleSlope, ds.RescaleIntercept = 1, 0
    ds["PixelData"] = _pixel_element(values)
    return ds


def _pixel_element(values: NDArray[Any]) -> Any:
    from pydicom.dataelem import DataElement

    vr = "OB" if values.dtype.itemsize == 1 else "OW"
    return DataElement(0x7FE00010, vr, values.tobytes())


def write(ds: Dataset, path: Path, syntax: str = ExplicitVRLittleEndian) -> Path:
    """Write a data set in any of the transfer syntaxes; `ds` holds uncompressed pixels."""
    meta = FileMetaDataset()
    meta.MediaStorageSOPClassUID = ds.SOPClassUID
    meta.MediaStorageSOPInstanceUID = ds.SOPInstanceUID
    meta.TransferSyntaxUID = UID(syntax)
    ds.file_meta = meta
    path.parent.mkdir(parents=True, exist_ok=True)
    if syntax == ExplicitVRBigEndian and ds.BitsAllocated > 8:
        width = ds.BitsAllocated // 8
        swapped = np.frombuffer(ds.PixelData, f"<u{width}").astype(f">u{width}")
        ds.PixelData = swapped.tobytes()
    if UID(syntax).is_compressed and syntax != DeflatedExplicitVRLittleEndian:
        compress(ds, syntax)
    implicit = syntax == ImplicitVRLittleEndian
    little = syntax != ExplicitVRBigEndian
    dcmwrite(path, ds, implicit_vr=implicit, little_endian=little, enforce_file_format=True)
    return path


def compress(ds: Dataset, syntax: str) -> None:
    """Replace uncompressed pixels by compressed fragments, a frame each."""
    frames = int(ds.get("NumberOfFrames", 1))
    width = ds.BitsAllocated // 8
    words = np.frombuffer(ds.PixelData, f"<u{width}")
    pictures = words.reshape(frames, ds.Rows, ds.Columns)
    ds.PixelData = encapsulate([encode(picture, ds, syntax) for picture in pictures])
    ds["PixelData"].is_undefined_length = True


def encode(picture: NDArray[Any], ds: Dataset, syntax: str) -> bytes:
    picture = np.ascontiguousarray(picture)
    if syntax == RLELossless:
        return RLELosslessEncoder.encode(
            picture.tobytes(),
            encoding_plugin="pydicom",
            rows=ds.Rows,
            columns=ds.Columns,
            samples_per_pixel=1,
            photometric_interpretation="MONOCHROME2",
            bits_allocated=ds.BitsAllocated,
            bits_stored=ds.BitsStored,
            pixel_representation=ds.PixelRepresentation,
            number_of_frames=1,
        )
    if syntax == JPEGLSLossless:
        return bytes(imagecodecs.jpegls_encode(picture))
    if syntax == JPEGLosslessSV1:
        return bytes(imagecodecs.ljpeg_encode(picture, bitspersample=ds.BitsStored))
    if syntax == JPEGLossless:
        return bytes(
            imagecodecs.jpeg8_encode(
                picture, lossless=True, predictor=4, bitspersample=ds.BitsStored
            )
        )
    if syntax == JPEG2000Lossless:
        signed = picture.view(f"<i{picture.dtype.itemsize}")
        source = signed if ds.PixelRepresentation else picture
        return bytes(imagecodecs.jpeg2k_encode(source, level=0, reversible=True, codecformat="j2k"))
    if syntax == JPEGBaseline8Bit:
        return bytes(imagecodecs.jpeg8_encode(picture, level=90))
    raise ValueError(syntax)


def series(
    values: NDArray[Any] | None = None,
    *,
    origin: Sequence[float] = (-30.0, -40.0, 50.0),
    orientation: Sequence[float] = AXIAL,
    spacing: Sequence[float] = (0.3, 0.25),
    step: Sequence[float] | float = 0.4,
    bits: int = 16,
) -> list[Dataset]:
    """Slices of an even stack; `step` is a length along the normal or a vector."""
    values = voxels() if values is None else values
    vector = np.asarray(step, dtype=float)
    if vector.ndim == 0:
        vector = normal_of(orientation) * float(step)
    return [
        dataset(
            plane,
            k=k,
            position=np.asarray(origin) + k * vector,
            orientation=orientation,
            spacing=spacing,
            bits=bits,
        )
        for k, plane in enumerate(values)
    ]


def write_series(
    folder: Path,
    slices: Sequence[Dataset] | None = None,
    *,
    change: Change | None = None,
    syntax: str = ExplicitVRLittleEndian,
    names: Callable[[int], str] = lambda k: f"I{(k * 7) % 100:03d}{k}",
) -> Path:
    """Write slices under names that are in no order."""
    for k, ds in enumerate(series() if slices is None else slices):
        if change is not None:
            change(k, ds)
        write(ds, folder / names(k), syntax)
    return folder


def multi_frame(
    values: NDArray[Any],
    *,
    sop_class: str = EnhancedCTImageStorage,
    origin: Sequence[float] = (-30.0, -40.0, 50.0),
    orientation: Sequence[float] = AXIAL,
    spacing: Sequence[float] = (0.3, 0.25),
    step: float = 0.4,
    slopes: Sequence[float] | None = None,
) -> Dataset:
    """One multi-frame object; its frames are stored in reverse order of their positions."""
    ds = dataset(values[0], k=0, position=None, orientation=None, spacing=None)
    ds.SOPClassUID = sop_class
    ds.NumberOfFrames = len(values)
    for name in ("RescaleSlope", "RescaleIntercept"):
        delattr(ds, name)
    shared = Dataset()
    measures = Dataset()
    measures.PixelSpacing = list(spacing)
    measures.SliceThickness = step
    shared.PixelMeasuresSequence = [measures]
    direction = Dataset()
    direction.ImageOrientationPatient = list(orientation)
    shared.PlaneOrientationSequence = [direction]
    ds.SharedFunctionalGroupsSequence = [shared]
    frames = []
    count = len(values)
    normal = normal_of(orientation)
    for place in reversed(range(count)):
        frame = Dataset()
        position = Dataset()
        position.ImagePositionPatient = [
            f"{v:.9g}" for v in np.asarray(origin) + place * step * normal
        ]
        frame.PlanePositionSequence = [position]
        scale = Dataset()
        scale.RescaleSlope = 1 if slopes is None else slopes[place]
        scale.RescaleIntercept = 0
        scale.RescaleType = "US"
        frame.PixelValueTransformationSequence = [scale]
        frames.append(frame)
    ds.PerFrameFunctionalGroupsSequence = frames
    ds["PixelData"] = _pixel_element(np.ascontiguousarray(values[::-1]))
    return ds
