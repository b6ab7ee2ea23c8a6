"""Sentences about: the record - archive objects, drill card, check film, patient's page."""

from __future__ import annotations

SENTENCES: dict[str, str] = {
    "archive-field-missing": (
        "The scan holds no usable {field} - an archive could not tell which study or patient the "
        "object belongs to, so no archive object was made - export the scan again with its "
        "complete header, or leave the archive objects out."
    ),
    "archive-nothing-to-report": (
        "The ledger holds no fixture and no site - a report without a measurement would look like "
        "a result - place a fixture or a site, or leave the structured report out."
    ),
    "record-part-unknown": (
        "{found} is no part of the record - nothing was written - choose from {known}."
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
