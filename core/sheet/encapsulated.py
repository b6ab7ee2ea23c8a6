"""The sheet's PDF as an Encapsulated PDF object (PS3.3 A.45.1) in the scan's study."""

from __future__ import annotations

from pydicom.dataset import Dataset
from pydicom.sequence import Sequence
from pydicom.uid import EncapsulatedPDFStorage

from core.measuring.ledger import Ledger
from core.plans.history import sign_off_state
from core.sheet.study import as_file, equipment, own_uid, say_pseudonymous, stamp, study_instances
from core.words.sheet import DRAFT

_SERIES_NUMBER = 9902


def encapsulated_pdf(ledger: Ledger, pdf: bytes) -> bytes:
    """A DICOM file that holds the PDF and belongs to the scan's patient and study.

    Parameters
    ----------
    ledger : Ledger
        Of the sheet; says whose it is and whether it is signed.
    pdf : bytes

    Raises
    ------
    OutputError
        ``archive-field-missing`` with the attribute's name.
    """
    instances = study_instances(ledger.scan, with_space=False)
    signed = sign_off_state(ledger.plan) == "signed"
    title = "Measurement sheet" if signed else f"{DRAFT} - measurement sheet".replace("–", "-")
    d = Dataset()
    d.SOPClassUID = EncapsulatedPDFStorage
    d.SOPInstanceUID = own_uid(ledger, f"sheet {signed}")
    first = instances[0]
    for element in first:
        if element.keyword not in (
            "SOPClassUID", "SOPInstanceUID", "SeriesInstanceUID", "FrameOfReferenceUID",
        ):  # fmt: skip
            d[element.tag] = element
    d.Modality = "DOC"
    d.SeriesInstanceUID = own_uid(ledger, "sheet series")
    d.SeriesNumber = _SERIES_NUMBER
    d.SeriesDescription = title
    equipment(d)
    d.ConversionType = "WSD"
    d.InstanceNumber = 1
    stamp(d, ledger)
    say_pseudonymous(d, ledger.scan)
    d.AcquisitionDateTime = ""
    # Name, ID and birth date are printed on every page.
    d.BurnedInAnnotation = "YES"
    d.VerificationFlag = "VERIFIED" if signed else "UNVERIFIED"
    d.DocumentTitle = title
    d.ConceptNameCodeSequence = Sequence([])
    d.MIMETypeOfEncapsulatedDocument = "application/pdf"
    d.EncapsulatedDocumentLength = len(pdf)
    d.EncapsulatedDocument = pdf + b"\0" * (len(pdf) % 2)
    d.SourceInstanceSequence = Sequence([_reference(i) for i in instances])
    return as_file(d)


def _reference(instance: Dataset) -> Dataset:
    item = Dataset()
    item.ReferencedSOPClassUID = instance.SOPClassUID
    item.ReferencedSOPInstanceUID = instance.SOPInstanceUID
    return item
