"""Sentences about: the record - archive objects, drill card, check film, patient's page."""

from __future__ import annotations

PARTS: dict[str, str] = {
    "sheet": "Measurement sheet",
    "basis": "Basis of the sheet",
    "card": "Drill card (A5)",
    "film": "Expected check radiograph",
    "checklist": "Checklist for the day",
    "patient": "Page for the patient",
    "report": "Measurements for the archive",
    "pdf object": "Sheet for the archive",
    "key pictures": "Key pictures for the archive",
    "bodies": "Fixtures and canals for the archive",
    "laboratory": "Page for the laboratory",
    "meshes": "Meshes for the laboratory",
}
"""What people call the parts of sheet and record."""

PART_KINDS: dict[str, str] = {
    "sheet": "PDF, table, ledger, pictures",
    "basis": "PDF: definitions, scan, uncertainty, log",
    "card": "PDF",
    "film": "PDF",
    "checklist": "PDF",
    "patient": "PDF",
    "report": "DICOM structured report",
    "pdf object": "DICOM encapsulated PDF",
    "key pictures": "DICOM secondary capture, key objects",
    "bodies": "DICOM encapsulated STL",
    "laboratory": "PDF",
    "meshes": "3MF and STL, mm, LPS",
}
"""What kind of files each of them is."""

SENTENCES: dict[str, str] = {
    "archive-field-missing": (
        "The scan holds no usable {field} - an archive could not tell which study or patient the "
        "object belongs to, so no archive object was made - export the scan again with its "
        "complete header, or leave the archive objects out."
    ),
    "archive-field-long": (
        "The scan's {field} is longer than the {most} characters that DICOM allows - cut, an "
        "archive could take it for another patient, so no archive object was made - correct it "
        "where the scan comes from and export again, or leave the archive objects out."
    ),
    "archive-no-picture": (
        "Jaw plane, arch or side are not settled - no picture of a section can be made for the "
        "archive - settle them, or leave the key pictures out."
    ),
    "surface-unproven": (
        "The scan does not prove its own grey levels of bone - a surface of bone and teeth could "
        "lie wrong, so none was made - register by the teeth as the laboratory scanned them."
    ),
    "surface-nothing-there": (
        "No bone was found around the fixtures - there is no surface to register to - check where "
        "the fixtures stand."
    ),
    "archive-nothing-to-report": (
        "The ledger holds no fixture and no site - a report without a measurement would look like "
        "a result - place a fixture or a site, or leave the structured report out."
    ),
    "side-contradiction": (
        "{contradiction} Until that is settled this part is not made, because it would carry "
        "the wrong side to the chair or into the archive. Leave this part out, or settle the "
        "side first."
    ),
    "record-needs-fixture": (
        "The plan holds no fixture - there is nothing to drill, to explain or to build on - place "
        "a fixture, or leave this part out."
    ),
    "record-needs-arch": (
        "Jaw plane, arch or side are not settled - cheek and tongue could be mixed up on it - "
        "settle them, or leave this part out."
    ),
    "folder-of-other-scan": (
        "The folder {path} holds the sheet of another scan - papers of two patients would lie "
        "side by side - choose another folder."
    ),
    "folder-not-told": (
        "The folder {path} holds {name} already, and nothing in it tells which scan that is of - "
        "it would be replaced or mixed up - choose an empty folder."
    ),
    "record-part-unknown": (
        "{found} is no part of the record - nothing was written - choose from {known}."
    ),
    "tip-longer": (
        "The drill's tip of {tip} mm is longer than the {counted} mm that the bone was searched "
        "with; counted from that, it is at least this much."
    ),
    "secret-unusable": (
        "The secret for pseudonyms, {path}, can be neither read nor made - without it a pseudonym "
        "could be guessed, so nothing was written - mend the file's rights, or remove it to have "
        "a new one made (earlier pseudonyms are then not given again)."
    ),
    "drills-file": (
        "The drill table {path} cannot be read as UTF-8 text - no depth can be given for a drill - "
        "save it as CSV in UTF-8, or name another file."
    ),
    "drills-column": (
        "The first row of the drill table must name the columns {needed} - depths would be read "
        "from the wrong column, so the table was not used - mend the first row."
    ),
    "drills-row": (
        "Row {row} of the drill table: {reason} - a wrong drill gives a wrong depth, so the table "
        "was not used - mend that row and read the file again."
    ),
    "drills-empty": (
        "The drill table holds no drill - no depth could be given for one - fill in a row for "
        "each drill."
    ),
    "drills-too-many": (
        "The drill table holds more than {most} drills - the card would not be readable, so the "
        "table was not used - shorten it."
    ),
    "film-number": (
        "{what} is {found} - the true depth would be nonsense, so none is given - enter {wanted}."
    ),
    "film-source-inside": (
        "The tube stands at {distance} mm, not further away than the film - no ray reaches it - "
        "move the tube back."
    ),
    "film-partly-scanned": (
        "Part of the rays leaves the scanned region - what lies there is missing from the "
        "simulated picture - compare only the middle of it."
    ),
    "risk-text": (
        "The practice's own text {path} cannot be used: {reason} - the patient's page would miss "
        "the risks, so it was not made - mend the file, or name another."
    ),
    "page-too-long": (
        "The text of {page} does not fit on its page - what is cut off would not be read - "
        "shorten {what}."
    ),
    "page-word-missing": (
        "The translation of the patient's page lacks {missing} - a half translated page is not "
        "understood - complete the table."
    ),
}
