"""What an archive object takes over from its scan: patient, study, and the UIDs.

A type 2 attribute (PS3.5 section 7.4.3: must be there, may be empty) that the scan lacks is
added empty; a missing or malformed type 1 attribute is refused by name before any library is
asked, since an archive would file such an object with the wrong patient or not at all.
"""

from __future__ import annotations

import io
import re
from datetime import datetime
from uuid import NAMESPACE_OID, uuid5

from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.uid import UID, ExplicitVRLittleEndian

from core.errors import OutputError
from core.image.volume import ScanIdentity
from core.measuring.ledger import Ledger
from core.version import PROGRAM

MANUFACTURER = "Sounding"
"""Type 1 in the equipment modules: the program that made the object."""

_LONGEST = 64
"""Characters of a component group of PN, and of LO (PS3.5 table 6.2-1)."""

_UID = re.compile(r"(0|[1-9]\d*)(\.(0|[1-9]\d*))+")
_DATE = re.compile(r"\d{8}")
_TIME = re.compile(r"\d{2}(\d{2}(\d{2}(\.\d{1,6})?)?)?")


def study_instances(identity: ScanIdentity, *, with_space: bool) -> list[Dataset]:
    """One dataset a picture of the scan, with what an object in the same study needs of it.

    Parameters
    ----------
    identity : ScanIdentity
    with_space : bool
        True where points in the scan's frame of reference are written.

    Raises
    ------
    OutputError
        ``archive-field-missing`` with the name of a missing or malformed type 1 attribute;
        ``archive-field-long`` where the patient's name or ID is longer than it may be.
    """
    check_study(identity, with_space=with_space)
    return [_instance(identity, pair) for pair in identity.sop_instances]


def check_study(identity: ScanIdentity, *, with_space: bool) -> None:
    """Refuse a scan that no archive object can belong to; see `study_instances`."""
    needed = {"StudyInstanceUID": identity.study_uid, "SeriesInstanceUID": identity.series_uid}
    if with_space:
        needed["FrameOfReferenceUID"] = identity.frame_of_reference_uid
    for field, value in needed.items():
        _check_uid(field, value)
    # Never cut and never left empty: an archive would file the object with somebody else.
    groups = identity.patient_name.split("=")
    if max(len(group) for group in groups) > _LONGEST:
        raise OutputError("archive-field-long", field="PatientName", most=_LONGEST)
    if _short(identity.patient_id, _LONGEST) != identity.patient_id:
        raise OutputError("archive-field-long", field="PatientID", most=_LONGEST)
    if not identity.sop_instances:
        raise OutputError("archive-field-missing", field="SOPInstanceUID")
    for pair in identity.sop_instances:
        for field, value in zip(("SOPClassUID", "SOPInstanceUID"), pair, strict=True):
            _check_uid(field, value)


def _instance(identity: ScanIdentity, pair: tuple[str, str]) -> Dataset:
    d = Dataset()
    d.SOPClassUID, d.SOPInstanceUID = pair
    d.StudyInstanceUID = identity.study_uid
    d.SeriesInstanceUID = identity.series_uid
    if identity.frame_of_reference_uid:
        d.FrameOfReferenceUID = identity.frame_of_reference_uid
    # UTF-8 whatever the scan used: the text was decoded when the scan was read.
    d.SpecificCharacterSet = "ISO_IR 192"
    d.PatientName = identity.patient_name
    d.PatientID = identity.patient_id
    d.PatientBirthDate = _date(identity, "PatientBirthDate", identity.birth_date)
    sex = identity.header.get("PatientSex", identity.sex)
    d.PatientSex = sex if sex in ("M", "F", "O") else ""
    d.StudyDate = _date(identity, "StudyDate", identity.study_date)
    time = identity.header.get("StudyTime", identity.study_time)
    d.StudyTime = time if _TIME.fullmatch(time) else ""
    describe_study(d, identity)
    d.StudyID = _short(identity.header.get("StudyID", ""), 16)
    d.AccessionNumber = _short(identity.header.get("AccessionNumber", ""), 16)
    d.ReferringPhysicianName = identity.header.get("ReferringPhysicianName", "")
    if identity.header.get("IssuerOfPatientID"):
        d.IssuerOfPatientID = _short(identity.header["IssuerOfPatientID"], 64)
    return d


def _check_uid(field: str, value: str) -> None:
    if len(value) > 64 or not _UID.fullmatch(value):
        raise OutputError("archive-field-missing", field=field)


def _short(text: str, most: int) -> str:
    """A value that its attribute can hold; one that is too long is not cut to another value."""
    return text if len(text) <= most and "\\" not in text else ""


def _date(identity: ScanIdentity, keyword: str, read: str) -> str:
    for text in (identity.header.get(keyword, ""), read.replace("-", "")):
        if _DATE.fullmatch(text):
            return text
    return ""


def describe_study(dataset: Dataset, identity: ScanIdentity) -> None:
    """Study description as the scan has it: archives take the study's from its newest object."""
    description = _short(identity.study_description, _LONGEST)
    if description:
        dataset.StudyDescription = description


def own_uid(ledger: Ledger, what: str) -> UID:
    """A UID of the form 2.25 (PS3.5 annex B.2) that follows from what is written.

    The same plan, scan and moment give the same object; anything else another one.
    """
    parts = (ledger.plan_fingerprint, ledger.scan.series_uid, ledger.made_at, what)
    return UID(f"2.25.{uuid5(NAMESPACE_OID, '/'.join(parts)).int}")


def plan_uid(ledger: Ledger, what: str) -> UID:
    """A UID that stays while a plan goes on: that of a series, or of what is followed up.

    A plan is known by the first entry of its history, which no later change touches; one without
    history by its content.
    """
    history = ledger.plan.history
    first = str(history[0].get("chain", "")) if history else ledger.plan_fingerprint
    parts = (ledger.scan.series_uid, first, what)
    return UID(f"2.25.{uuid5(NAMESPACE_OID, '/'.join(parts)).int}")


def stamp(dataset: Dataset, ledger: Ledger) -> None:
    """Content date and time of an object: those of the ledger, not of the moment of writing."""
    made = made_at(ledger)
    dataset.ContentDate = made.strftime("%Y%m%d")
    dataset.ContentTime = made.strftime("%H%M%S")
    dataset.InstanceCreationDate = dataset.ContentDate
    dataset.InstanceCreationTime = dataset.ContentTime
    for item in dataset.get("ContributingEquipmentSequence", ()):
        item.ContributionDateTime = made.strftime("%Y%m%d%H%M%S")


def say_pseudonymous(dataset: Dataset, identity: ScanIdentity) -> None:
    """Say so in the object where names and dates are not the patient's (PS3.15 annex E)."""
    if identity.header.get("PatientIdentityRemoved") == "YES":
        dataset.PatientIdentityRemoved = "YES"
        dataset.DeidentificationMethod = "Pseudonym: names, dates and UIDs replaced"


def equipment(dataset: Dataset) -> None:
    """General and enhanced equipment: the program, and no institution."""
    name, _, version = PROGRAM.partition(" ")
    dataset.Manufacturer = MANUFACTURER
    dataset.ManufacturerModelName = name
    dataset.SoftwareVersions = version or PROGRAM
    dataset.DeviceSerialNumber = "none"


def made_at(ledger: Ledger) -> datetime:
    """The moment of the ledger."""
    return datetime.fromisoformat(ledger.made_at)


def as_file(dataset: Dataset) -> bytes:
    """The dataset as a DICOM file (PS3.10), explicit little endian."""
    meta = FileMetaDataset()
    meta.MediaStorageSOPClassUID = dataset.SOPClassUID
    meta.MediaStorageSOPInstanceUID = dataset.SOPInstanceUID
    meta.TransferSyntaxUID = ExplicitVRLittleEndian
    dataset.file_meta = meta
    out = io.BytesIO()
    dataset.save_as(out, enforce_file_format=True, little_endian=True, implicit_vr=False)
    return out.getvalue()
