"""What is said about one stack before it is opened."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from core.findings import Finding
from core.image.volume import ScanIdentity
from core.scan.header import ImageHeader
from core.scan.stacks import Picture

_HEADER = (
    "StudyID",
    "AccessionNumber",
    "ReferringPhysicianName",
    "PatientSex",
    "PatientBirthDate",
    "PatientAge",
    "IssuerOfPatientID",
    "PatientIdentityRemoved",
    "StudyDate",
    "StudyTime",
    "SeriesDate",
    "SeriesTime",
    "AcquisitionDate",
    "ContentDate",
    "Manufacturer",
    "ManufacturerModelName",
    "InstitutionName",
    "StationName",
    "DeviceSerialNumber",
    "SoftwareVersions",
    "SeriesNumber",
    "AcquisitionNumber",
    "ProtocolName",
    "BodyPartExamined",
    "PatientPosition",
    "ImageType",
    "KVP",
    "ConvolutionKernel",
    "PhotometricInterpretation",
    "BurnedInAnnotation",
    "SpecificCharacterSet",
    "SOPClassUID",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesReport:
    """One stack of an export: what it is, whether it can be measured on, and why not.

    Parameters
    ----------
    uid : str
        SeriesInstanceUID.
    stack : int
        Number of the stack among those of this series.
    modality, description, date : str
        Date of the acquisition, ``YYYY-MM-DD``.
    shape : (K, J, I)
        Slices, rows, columns.
    voxel_mm : (column step, row step, slice step), or None where unknown
    usable : bool
    findings : tuple of Finding
    identity : ScanIdentity
    middle : Picture or None
        The picture in the middle, for a preview.
    """

    uid: str
    stack: int
    modality: str
    description: str
    date: str
    shape: tuple[int, int, int]
    voxel_mm: tuple[float, float, float] | None
    usable: bool
    findings: tuple[Finding, ...]
    identity: ScanIdentity
    middle: Picture | None = field(default=None, repr=False, compare=False)

    @property
    def key(self) -> str:
        """``UID:STACK``, as `open_scan` takes it."""
        return f"{self.uid}:{self.stack}"

    @property
    def field_mm(self) -> tuple[float, float, float] | None:
        """Extent (columns, rows, slices) in mm, voxel edges included; None where unknown."""
        if self.voxel_mm is None:
            return None
        k, j, i = self.shape
        return i * self.voxel_mm[0], j * self.voxel_mm[1], k * self.voxel_mm[2]

    def to_json(self) -> dict[str, Any]:
        """The entry of ``sounding inspect --json``."""
        return {
            "uid": self.uid,
            "stack": self.stack,
            "modality": self.modality,
            "description": self.description,
            "date": self.date,
            "shape": list(self.shape),
            "voxel_mm": None if self.voxel_mm is None else [round(v, 6) for v in self.voxel_mm],
            "usable": self.usable,
            "findings": [
                {"code": f.code, "severity": f.severity, "message": f.message}
                for f in self.findings
            ],
        }


def identity_of(image: ImageHeader, slices: tuple[Picture | None, ...] = ()) -> ScanIdentity:
    """Whose scan it is, from the header of one picture.

    Parameters
    ----------
    image : ImageHeader
    slices : tuple of Picture or None
        In slice order, for the list of SOP instances; made-up slices have none.
    """
    pairs = dict.fromkeys(
        (picture.image.value("SOPClassUID"), picture.image.value("SOPInstanceUID"))
        for picture in slices
        if picture is not None
    )
    return ScanIdentity(
        patient_name=image.value("PatientName"),
        patient_id=image.value("PatientID"),
        birth_date=date_text(image.value("PatientBirthDate")),
        sex=image.value("PatientSex"),
        study_date=date_text(image.value("StudyDate")),
        study_time=image.value("StudyTime"),
        description=image.value("SeriesDescription"),
        study_description=image.value("StudyDescription"),
        modality=image.value("Modality"),
        series_uid=image.value("SeriesInstanceUID"),
        study_uid=image.value("StudyInstanceUID"),
        frame_of_reference_uid=image.value("FrameOfReferenceUID"),
        kernel=image.value("ConvolutionKernel").replace("\\", ", "),
        header={name: image.value(name) for name in _HEADER if name in image.text},
        sop_instances=tuple(pairs),
    )


def scan_date(image: ImageHeader) -> str:
    """Date of the acquisition, else of the series or study; empty where none is given."""
    for name in ("AcquisitionDate", "AcquisitionDateTime", "SeriesDate", "StudyDate"):
        value = image.value(name)[:8]
        if value:
            return date_text(value)
    return ""


def date_text(value: str) -> str:
    """``YYYYMMDD`` (or the retired ``YYYY.MM.DD``) → ``YYYY-MM-DD``; else as written."""
    digits = value.replace(".", "").strip()
    if len(digits) == 8 and digits.isdecimal():
        return f"{digits[:4]}-{digits[4:6]}-{digits[6:]}"
    return value.strip()
