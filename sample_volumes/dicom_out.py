"""Write grey values as a CT series, one losslessly compressed file a slice."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pydicom import dcmread
from pydicom.dataset import Dataset, FileDataset, FileMetaDataset
from pydicom.misc import is_dicom
from pydicom.uid import UID, CTImageStorage, ExplicitVRLittleEndian, JPEGLSLossless

from sample_volumes.voxelise import Grid

INTERCEPT = -1200
_NAMES = uuid.UUID("5d0c6c3e-0d2f-4a52-9c0a-6a1f0d7f3b11")


def uid(name: str) -> UID:
    """The same UID for the same name, always (UUID-derived, DICOM PS3.5 annex B.2)."""
    return UID(f"2.25.{uuid.uuid5(_NAMES, name).int}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """Who and when, all invented."""

    name: str
    patient_name: str
    patient_id: str
    birth_date: str
    sex: str
    scan_date: str
    scan_time: str
    description: str
    body_part: str

    @property
    def series_uid(self) -> UID:
        """Series instance UID."""
        return uid(f"{self.name}/series")

    @property
    def frame_uid(self) -> UID:
        """Frame of reference UID."""
        return uid(f"{self.name}/frame")

    @property
    def study_uid(self) -> UID:
        """Study instance UID."""
        return uid(f"{self.name}/study")


def _describe(d: Dataset, header: Header) -> None:
    """Patient, study, series and equipment."""
    d.SpecificCharacterSet = "ISO_IR 192"
    d.ImageType = ["ORIGINAL", "PRIMARY", "AXIAL"]
    d.StudyDate = d.SeriesDate = d.AcquisitionDate = d.ContentDate = header.scan_date
    d.StudyTime = d.SeriesTime = d.AcquisitionTime = d.ContentTime = header.scan_time
    d.AccessionNumber = ""
    d.Modality = "CT"
    d.Manufacturer = "Invented"
    d.ManufacturerModelName = "Simulated cone beam"
    d.SoftwareVersions = "sample"
    d.ReferringPhysicianName = ""
    d.StudyDescription = "Invented sample, no real patient"
    d.SeriesDescription = header.description
    d.PatientName = header.patient_name
    d.PatientID = header.patient_id
    d.PatientBirthDate = header.birth_date
    d.PatientSex = header.sex
    d.BodyPartExamined = header.body_part
    d.KVP = "90"
    d.PatientPosition = "HFS"
    d.ConvolutionKernel = "plain"
    d.StudyInstanceUID = header.study_uid
    d.SeriesInstanceUID = header.series_uid
    d.StudyID = "1"
    d.SeriesNumber = 1
    d.AcquisitionNumber = 1


def slice_dataset(header: Header, grid: Grid, stored: NDArray[np.uint16], k: int) -> FileDataset:
    """One slice, uncompressed; `k` counts from 0 at the lowest slice."""
    meta = FileMetaDataset()
    meta.MediaStorageSOPClassUID = CTImageStorage
    meta.MediaStorageSOPInstanceUID = uid(f"{header.name}/{k}")
    meta.TransferSyntaxUID = ExplicitVRLittleEndian
    d = FileDataset("", {}, file_meta=meta, preamble=b"\0" * 128)
    x, y, z = grid.first_mm
    d.SOPClassUID = CTImageStorage
    d.SOPInstanceUID = meta.MediaStorageSOPInstanceUID
    _describe(d, header)
    d.SliceThickness = str(grid.voxel_mm)
    d.InstanceNumber = k + 1
    d.ImagePositionPatient = [f"{x:.4f}", f"{y:.4f}", f"{z + k * grid.voxel_mm:.4f}"]
    d.ImageOrientationPatient = [1, 0, 0, 0, 1, 0]
    d.FrameOfReferenceUID = header.frame_uid
    d.PositionReferenceIndicator = ""
    d.SamplesPerPixel = 1
    d.PhotometricInterpretation = "MONOCHROME2"
    d.Rows, d.Columns = stored.shape
    d.PixelSpacing = [grid.voxel_mm, grid.voxel_mm]
    d.BitsAllocated = 16
    d.BitsStored = 12
    d.HighBit = 11
    d.PixelRepresentation = 0
    d.WindowCenter, d.WindowWidth = "750", "3500"
    d.RescaleIntercept = str(INTERCEPT)
    d.RescaleSlope = "1"
    d.PixelData = np.ascontiguousarray(stored, dtype="<u2").tobytes()
    return d


def stored_values(grey: NDArray[np.int16]) -> NDArray[np.uint16]:
    """Grey values as stored in 12 bits: grey = stored + INTERCEPT."""
    return np.asarray(np.clip(grey.astype(np.int32) - INTERCEPT, 0, 4095), dtype=np.uint16)


def write_series(
    folder: Path, header: Header, grid: Grid, grey: NDArray[np.int16]
) -> NDArray[np.uint16]:
    """Write one JPEG-LS file a slice and return the stored values."""
    stored = stored_values(grey)
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.glob("*.dcm"):
        old.unlink()
    for k, values in enumerate(stored):
        d: Dataset = slice_dataset(header, grid, values, k)
        d.compress(JPEGLSLossless, generate_instance_uid=False)
        d.save_as(folder / f"slice{k + 1:03d}.dcm", enforce_file_format=True)
    return stored


def read_series(folder: Path, header: Header) -> NDArray[np.uint16]:
    """Stored values of the slices that `write_series` or a disc put there, lowest first."""
    found = {}
    for file in folder.rglob("*"):
        if file.is_file() and is_dicom(file):
            d = dcmread(file)
            if d.get("SeriesInstanceUID") == header.series_uid:
                found[int(d.InstanceNumber)] = d.pixel_array
    return np.stack([found[k] for k in sorted(found)])
