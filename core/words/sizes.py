"""Sentences about: the user's lists of sizes."""

from __future__ import annotations

SENTENCES: dict[str, str] = {
    "sizes-empty": (
        "This file holds no size - the list would be empty, so it was left as it is - write one "
        "size a row below a first row that names the columns."
    ),
    "sizes-unreadable": (
        "{name} is no readable UTF-8 text - it gives no list of sizes, so the list was left as it "
        "is - save it as CSV in UTF-8 and read it again."
    ),
    "sizes-no-column": (
        "The first row names no column {name} - without it no size is complete, so the list was "
        "left as it is - name the columns {known}; the last four and the label may be missing."
    ),
    "sizes-unknown-column": (
        "The first row names a column {name} that is not known - its numbers might change the "
        "shape, so the list was left as it is - name the columns {known}."
    ),
    "sizes-row": (
        "Row {row}: {reason} - a wrong size would be measured with a wrong shape, so the list was "
        "left as it is - mend that row and read the file again."
    ),
    "sizes-twice": (
        "Row {row} is the same size as row {first} - the list was left as it is - take one of "
        "them out."
    ),
    "sizes-too-many": (
        "The file holds more than {most} sizes - that is hardly a shelf, so the list was left as "
        "it is - shorten it."
    ),
}

SHIPPED = "Shipped list of sizes in this position"
OWN_LIST = "My sizes in this position"
SIZE, LIMITS, LACKS, TO = "size", "limits", "mm short", "of the limit to"
ALL_MET = "all met"
NOT_MET = "{count} not met"
NO_LIMIT = "no limit"
MEANS = (
    "Each size has its platform in the same place and along the same axis, and is held against the "
    "same limits by the same measurements. The order is that of the list; no size is recommended. "
    "The size named is stopped by the limit in the last column, which it misses by the mm given, "
    "rounded up. After ≈ stands what would settle a borderline value."
)
