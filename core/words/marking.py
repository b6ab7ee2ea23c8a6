"""Sentences about help with marking: why nothing is proposed after one or two clicks."""

from __future__ import annotations

SENTENCES = {
    "follow-too-short": (
        "The marks are less than {least} mm apart. So short a piece does not show whether it is a"
        " canal. Click further apart along the canal, or mark it point by point."
    ),
    "follow-too-far": (
        "Two marks are more than {most} mm apart. What lies between them could be anything."
        " Click once more between them."
    ),
    "follow-not-scanned": (
        "The scan does not cover the bone between the marks, so nothing can be followed there."
        " Click where the scan shows bone."
    ),
    "follow-cancelled": "Following the canal was cancelled. Nothing was proposed.",
    "follow-too-wide": (
        "What lies between the marks is wider than a canal, probably marrow between two plates."
        " A proposal there could be wrong, so none is made. Mark the canal point by point where"
        " it can be seen."
    ),
    "follow-no-canal": (
        "No canal wall was found along at least half of the way between the marks. A proposal"
        " there would be a guess, so none is made. Check the marks, or mark the canal point by"
        " point and record how well each point is seen."
    ),
}
