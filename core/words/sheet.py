"""Sentences about: the sheet. Findings, definitions and headings for people."""

from __future__ import annotations

from collections.abc import Mapping

from core.words.catalogue import Message, message

UNCERTAINTY = message("sheet.uncertainty")
"""Stands under every ledger and on every sheet, word for word."""

EACH_BY_ITSELF = message("sheet.each-by-itself")
"""Beside the verdicts on the sheet and in the help; 0.95 to the power of ten is 0.60."""

BY_OWN = "own_figures_at_least_mm"

BY_HAND: Mapping[str, Message] = {
    "free_hand_at_least_mm": message("sheet.by-hand.free-hand"),
    "pilot_guide_at_least_mm": message("sheet.by-hand.pilot-guide"),
    "full_guide_at_least_mm": message("sheet.by-hand.full-guide"),
    BY_OWN: message("sheet.by-hand.own"),
}
"""Keys of a row's details for what placement would make of it, and their words."""

BY_HAND_MEANS = message("sheet.by-hand.means")

HOW_ROUNDED = (
    "Values, walls, widths and heights are rounded down, ± up; verdicts use unrounded values. "
    "at least: value less 1.645 u (one-sided 95 %); ± U: k = 2."
)
VERDICT_SIGNS = "≥ meets limit · ≈ borderline · < below limit · ? not assessed"

ONLY_BELOW = "Only what is below its limit is coloured."
NOT_ASSESSED = "Not assessed"
ARCH_ALT = "Teeth of the {jaw} jaw, seen from below. Planned: {teeth}."
BONE_ALT = "Remaining bone around the fixture by depth and direction, as in the rows of the table."
CLOSEST = "Closest vital structure"
CLOSEST_SURFACE = "Closest to the outside of the bone"
OPEN_VERDICTS = {
    "below limit": "Also below limit",
    "not assessed": "Not assessed: mark it, or declare it",
    "too near to tell": "Borderline",
}
"""Titles of what is open on page 1, worst first."""

LIMITS_MET = "Limits met, the smallest of each structure"
NOTHING_MEASURED = "Nothing was measured here."
NOTHING_IN_PLAN = "The plan holds no fixture, no site and no ruler: nothing was measured."
MEASURED_WITHOUT_FIXTURE = "Measured without a fixture: {what}."
SIGNED_ALTHOUGH = "Signed although these limits are not met, and why"
NO_REASON = "no reason given"
EACH_PLACE = "Fixtures and sites, worst first: < below limit, ? open, ≈ borderline, ≥ met"
NO_DEPTH_SHORT = "no depth"
NO_FIXTURE_SHORT = "no fixture"
DEPTH_SHORT = "drill to {depth} mm from {origin}"
SHEET_TITLE = "Measurement sheet"
BASIS_TITLE = "Basis of the measurement sheet"
SOURCES = "Sources of the limits"
MORE_CHECKS = "Further scan checks"
CLOSING = (
    "Definitions, published series of placement, scan and plan identification, marks, uncertainty "
    "budget and log are in a file of their own, the basis of this sheet (basis.pdf)."
)
DRAFT = "DRAFT – not signed off"
SIDE_CONTRADICTED = "LEFT AND RIGHT MAY BE SWAPPED. CHECK."
WITHOUT_VIEWING = "made without viewing the pictures"

DEFINITIONS: Mapping[str, Message] = {
    "clearance": message("sheet.definition.clearance"),
    "ridge_width": message("sheet.definition.ridge-width"),
    "ridge_height": message("sheet.definition.ridge-height"),
    "plate_thickness": message("sheet.definition.plate-thickness"),
    "wall": message("sheet.definition.wall"),
    "undercut_depth": message("sheet.definition.undercut-depth"),
    "undercut_angle": message("sheet.definition.undercut-angle"),
    "angle": message("sheet.definition.angle"),
    "ruler": message("sheet.definition.ruler"),
    "offset": message("sheet.definition.offset"),
    "room": message("sheet.definition.room"),
    "entry": message("sheet.definition.entry"),
    "depth": message("sheet.definition.depth"),
}
"""What a kind of measurement means, shortened from the functions' own definitions."""

GROUPS: Mapping[str, Message] = {
    "danger": message("sheet.group.danger"),
    "roots": message("sheet.group.roots"),
    "bone": message("sheet.group.bone"),
    "information": message("sheet.group.information"),
}
