"""Sheet and bodies as encapsulated documents in the scan's study (PS3.3 A.45.1 PDF, A.85.1 STL)."""

from __future__ import annotations

from pydicom.dataset import Dataset
from pydicom.sequence import Sequence
from pydicom.uid import EncapsulatedPDFStorage, EncapsulatedSTLStorage

from core.measuring.ledger import Ledger
from core.sheet.archive_object import archive_object, encapsulate, refer_to_scan
from core.sheet.study import as_file

_PDF_SERIES, _STL_SERIES, _BASIS_SERIES = 9902, 9904, 9906


def encapsulated_pdf(ledger: Ledger, pdf: bytes, *, basis: bool = False) -> bytes:
    """A DICOM file that holds the PDF and belongs to the scan's patient and study.

    Parameters
    ----------
    ledger : Ledger
        Of the sheet; says whose it is and whether it is signed.
    pdf : bytes
    basis : bool, optional
        True: it is what the sheet rests on, a series of its own.

    Raises
    ------
    OutputError
        ``archive-field-missing`` with the attribute's name.
    """
    name, title, number = "sheet", "Measurement sheet", _PDF_SERIES
    if basis:
        name, title, number = "basis", "Basis of the measurement sheet", _BASIS_SERIES
    d = archive_object(
        ledger, EncapsulatedPDFStorage, series=f"{title[:1].lower()}{title[1:]}", modality="DOC",
        series_number=number, name=name, number=ledger.plan.revision + 1,
    )  # fmt: skip
    d.ConversionType = "WSD"
    # Name, ID and birth date are printed on every page.
    d.BurnedInAnnotation = "YES"
    encapsulate(d, ledger, pdf, title=title, mime_type="application/pdf")
    return as_file(d)


def encapsulated_stl(ledger: Ledger, name: str, stl: bytes, *, number: int) -> bytes:
    """A body in the scan's frame of reference, mm, as a DICOM file.

    Parameters
    ----------
    ledger : Ledger
    name : str
        Of the body: ``fixture-36``, ``canal-left``.
    stl : bytes
        Binary STL, patient space.
    number : int
        Instance number in the series.

    Raises
    ------
    OutputError
        ``archive-field-missing`` with the attribute's name.
    """
    d = archive_object(
        ledger, EncapsulatedSTLStorage, series="planned bodies", modality="M3D",
        series_number=_STL_SERIES, name=f"body {name}", number=number, with_space=True,
    )  # fmt: skip
    d.BurnedInAnnotation = "NO"
    encapsulate(d, ledger, stl, title=f"Planned: {name}", mime_type="model/stl")
    refer_to_scan(d, ledger)
    d.MeasurementUnitsCodeSequence = Sequence([_millimetre()])
    # As it was made by the program; nothing cut, mended or turned over afterwards.
    d.ModelModification = "NO"
    d.ModelMirroring = "NO"
    return as_file(d)


def _millimetre() -> Dataset:
    item = Dataset()
    item.CodeValue, item.CodingSchemeDesignator, item.CodeMeaning = "mm", "UCUM", "millimeter"
    return item
