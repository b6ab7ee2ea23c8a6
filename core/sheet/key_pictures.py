"""Key pictures for the archive: Secondary Capture images, and the selection that names them.

PS3.3 A.8.1 Secondary Capture, A.35.4 Key Object Selection (PS3.16 TID 2010). The pictures are
those of the folder, name and limits drawn in, so that any viewer shows them as they were made.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Sequence
from typing import Any

import numpy as np
from PIL import Image
from pydicom.dataset import Dataset
from pydicom.sr.codedict import codes
from pydicom.uid import SecondaryCaptureImageStorage

from core.errors import OutputError
from core.measuring.ledger import Ledger
from core.sheet.archive_object import archive_object, is_signed, titled
from core.sheet.attribute_tables import read_tables_in_steps
from core.sheet.study import (
    MANUFACTURER,
    as_file,
    describe_study,
    equipment,
    own_uid,
    plan_uid,
    say_pseudonymous,
    stamp,
)

MOST_PIXELS = 1024
"""Longer side of a picture in the archive: a page to look at, not to measure on."""

_PICTURE_SERIES, _SELECTION_SERIES = 9903, 9905


def key_picture_files(
    ledger: Ledger, pictures: Sequence[tuple[str, bytes]]
) -> list[tuple[str, bytes]]:
    """A file for each picture, and one for the selection.

    Parameters
    ----------
    ledger : Ledger
        Of the pictures; says whose they are and whether it is signed.
    pictures : sequence of (name, PNG)
        Names end in ``.png``.

    Raises
    ------
    OutputError
        ``archive-field-missing``; ``archive-no-picture``.
    """
    if not pictures:
        raise OutputError("archive-no-picture")
    made = [
        (name.removesuffix(".png"), _capture(ledger, name.removesuffix(".png"), data, number))
        for number, (name, data) in enumerate(pictures, start=1)
    ]
    files = [(f"key-{name}.dcm", as_file(d)) for name, d in made]
    return [*files, ("key-selection.dcm", _selection(ledger, [d for _, d in made]))]


def _capture(ledger: Ledger, name: str, png: bytes, number: int) -> Dataset:
    picture = Image.open(io.BytesIO(png)).convert("RGB")
    picture.thumbnail((MOST_PIXELS, MOST_PIXELS))
    pixels = np.asarray(picture)
    d = archive_object(
        ledger, SecondaryCaptureImageStorage, series="key pictures", modality="OT",
        series_number=_PICTURE_SERIES, name=f"picture {name}", number=number,
    )  # fmt: skip
    d.ConversionType = "WSD"
    d.ImageType = ["DERIVED", "SECONDARY"]
    d.PatientOrientation = ""
    d.Laterality = ""
    d.BurnedInAnnotation = "YES"
    d.ImageComments = titled(ledger, name)
    d.SamplesPerPixel, d.PhotometricInterpretation, d.PlanarConfiguration = 3, "RGB", 0
    d.Rows, d.Columns = pixels.shape[:2]
    d.BitsAllocated, d.BitsStored, d.HighBit, d.PixelRepresentation = 8, 8, 7, 0
    data = pixels.tobytes()
    d.PixelData = data + b"\0" * (len(data) % 2)
    return d


def _selection(ledger: Ledger, pictures: list[Dataset]) -> bytes:
    with warnings.catch_warnings():
        # A name of one part is kept as the scan has it; the library only grumbles.
        warnings.filterwarnings("ignore", message="The string .* is unlikely")
        document = _document(ledger, pictures)
    equipment(document)
    stamp(document, ledger)
    describe_study(document, ledger.scan)
    say_pseudonymous(document, ledger.scan)
    document.SeriesDescription = titled(ledger, "selection of key pictures")
    return as_file(document)


def _document(ledger: Ledger, pictures: list[Dataset]) -> Any:
    # Takes a second to import: only where it is asked for.
    from highdicom import ko

    read_tables_in_steps()
    content: Any = ko.KeyObjectSelection(
        document_title=codes.DCM.OfInterest,
        referenced_objects=pictures,
        description=titled(ledger, "Key pictures of the measurement sheet."),
    )
    return ko.KeyObjectSelectionDocument(
        evidence=pictures,
        content=content,
        series_instance_uid=plan_uid(ledger, "selection series"),
        series_number=_SELECTION_SERIES,
        sop_instance_uid=own_uid(ledger, f"selection {is_signed(ledger)}"),
        instance_number=ledger.plan.revision + 1,
        manufacturer=MANUFACTURER,
    )
