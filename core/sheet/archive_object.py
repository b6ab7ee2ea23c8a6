"""What archive objects that no library makes have in common: patient, study, series, program."""

from __future__ import annotations

from pydicom.dataset import Dataset
from pydicom.sequence import Sequence

from core.measuring.ledger import Ledger
from core.plans.history import sign_off_state
from core.sheet.study import equipment, own_uid, plan_uid, say_pseudonymous, stamp, study_instances

DRAFT = "DRAFT - not signed off"
"""Before the title of an object whose plan is not signed; objects are never translated."""

_OF_THE_PICTURE = ("SOPClassUID", "SOPInstanceUID", "SeriesInstanceUID", "FrameOfReferenceUID")


def is_signed(ledger: Ledger) -> bool:
    """True where the plan's signature belongs to this very state."""
    return sign_off_state(ledger.plan) == "signed"


def titled(ledger: Ledger, words: str) -> str:
    """What an object is called: that of an unsigned plan says so first."""
    return words if is_signed(ledger) else f"{DRAFT} - {words}"


def archive_object(
    ledger: Ledger,
    sop_class: str,
    *,
    series: str,
    modality: str,
    series_number: int,
    name: str,
    number: int = 1,
    with_space: bool = False,
) -> Dataset:
    """An object in the scan's study, without what its own kind holds.

    Parameters
    ----------
    ledger : Ledger
        Says whose it is and whether it is signed.
    sop_class : str
        UID.
    series : str
        What the series is of, for its UID: one plan has one series of a kind.
    modality, series_number
    name : str
        Of this object among those of the same ledger, and of its series for people.
    number : int
        Instance number.
    with_space : bool
        True where it lies in the scan's frame of reference.

    Raises
    ------
    OutputError
        ``archive-field-missing``, ``archive-field-long``.
    """
    first = study_instances(ledger.scan, with_space=with_space)[0]
    d = Dataset()
    d.SOPClassUID = sop_class
    d.SOPInstanceUID = own_uid(ledger, f"{name} {is_signed(ledger)}")
    for element in first:
        if element.keyword not in _OF_THE_PICTURE:
            d[element.tag] = element
    if with_space:
        d.FrameOfReferenceUID = first.FrameOfReferenceUID
        d.PositionReferenceIndicator = ""
    d.Modality = modality
    d.SeriesInstanceUID = plan_uid(ledger, series)
    d.SeriesNumber = series_number
    d.SeriesDescription = titled(ledger, series)
    d.InstanceNumber = number
    equipment(d)
    stamp(d, ledger)
    say_pseudonymous(d, ledger.scan)
    return d


def encapsulate(d: Dataset, ledger: Ledger, data: bytes, *, title: str, mime_type: str) -> None:
    """Put a document into an object (PS3.3 C.24.2), with the pictures that it was made from.

    Parameters
    ----------
    d : Dataset
    ledger : Ledger
    data : bytes
    title : str
    mime_type : str
    """
    d.AcquisitionDateTime = ""
    d.VerificationFlag = "VERIFIED" if is_signed(ledger) else "UNVERIFIED"
    d.DocumentTitle = titled(ledger, title)
    d.ConceptNameCodeSequence = Sequence([])
    d.MIMETypeOfEncapsulatedDocument = mime_type
    d.EncapsulatedDocumentLength = len(data)
    d.EncapsulatedDocument = data + b"\0" * (len(data) % 2)
    d.SourceInstanceSequence = Sequence(
        [_reference(kind, uid) for kind, uid in ledger.scan.sop_instances]
    )


def refer_to_scan(d: Dataset, ledger: Ledger) -> None:
    """Name the scan's pictures as those of the same study (PS3.3 C.12.2)."""
    series = Dataset()
    series.SeriesInstanceUID = ledger.scan.series_uid
    series.ReferencedInstanceSequence = Sequence(
        [_reference(kind, uid) for kind, uid in ledger.scan.sop_instances]
    )
    d.ReferencedSeriesSequence = Sequence([series])


def _reference(kind: str, uid: str) -> Dataset:
    item = Dataset()
    item.ReferencedSOPClassUID, item.ReferencedSOPInstanceUID = kind, uid
    return item
