"""Sentences about: the sheet. Findings, definitions and headings for people."""

from __future__ import annotations

UNCERTAINTY = (
    "± covers marks, edges, voxels and scale. It does not cover movement during the scan, a canal "
    "that was misread, or the drilling."
)
"""Stands under every ledger and on every sheet, word for word."""

EACH_BY_ITSELF = (
    "Each limit is judged by itself: one that is only just met is truly missed one time in twenty. "
    "The more limits there are, the less likely it is that all of them hold together: of ten "
    "independent limits that are each only just met, all ten hold in about six plans of ten."
)
"""Beside the verdicts on the sheet and in the help; 0.95 to the power of ten is 0.60."""

BY_OWN = "own_figures_at_least_mm"

BY_HAND = {
    "free_hand_at_least_mm": "free-hand",
    "pilot_guide_at_least_mm": "with a pilot guide",
    "full_guide_at_least_mm": "with a full guide",
    BY_OWN: "as one’s own control films show",
}
"""Keys of a row's details for what placement would make of it, and their words."""

BY_HAND_MEANS = (
    "If placed as in published series: least clearance over their mean deviations, not a worst "
    "case; the row's own ± U comes on top."
)

HOW_TO_READ = (
    "Values, walls, widths and heights are rounded down, ± up; verdicts use unrounded values. "
    "at least: value less 1.645 u (one-sided 95 %); ± U: k = 2. "
    "≥ meets limit · ≈ borderline · < below limit · ? not assessed"
)

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
EACH_PLACE = "Fixtures and sites, worst first"
NO_DEPTH_SHORT = "no depth"
NO_FIXTURE_SHORT = "no fixture"
DEPTH_SHORT = "drill to {depth} mm from {origin}"
COUNTS = {
    "below limit": "{n} below",
    "not assessed": "{n} open",
    "too near to tell": "{n} borderline",
    "meets limit": "{n} met",
}
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

DEFINITIONS: dict[str, str] = {
    "clearance": (
        "Clearance: shortest true distance in space from the fixture, apex included, to the "
        "outside of the structure (or to the outer bone surface); negative where they overlap."
    ),
    "ridge_width": (
        "Ridge width: distance between the outer bone edges first met from outside, on the line "
        "perpendicular to the direction used, at the stated depth below the crest."
    ),
    "ridge_height": (
        "Ridge height: from the crest, the bone point furthest towards the crowns, to the limiting "
        "structure's nearest border, along the direction used."
    ),
    "plate_thickness": (
        "Cortex: thickness between outer and inner edge, along the normal of the outer surface."
    ),
    "wall": (
        "Remaining bone: from the fixture's surface, perpendicular to its axis, to the first outer "
        "edge; bone only."
    ),
    "undercut_depth": (
        "Undercut depth: by level, how far the lingual surface stands back on the level 2 mm above "
        "the canal from its most lingual place above (Chan et al. 2011); by bridge, the deepest "
        "place below the line that touches it above and below the hollow (Parnia et al. 2010)."
    ),
    "undercut_angle": (
        "Undercut angle: between that level and the line from the bone on it to the most lingual "
        "place above; 90° is a flat wall (Chan et al. 2011)."
    ),
    "angle": "Angle between two axes, or between two arms of three hand-placed marks.",
    "ruler": "Ruler: straight distance between two hand-placed marks.",
    "offset": "Offset of two axes at the stated height.",
    "room": "Room between neighbours or to the opponent at the stated height.",
    "entry": "Entry point, from the neighbours' facing surfaces.",
    "depth": (
        "Platform depth: from the bone's edge at that place of the rim, along the axis; + into "
        "bone, - above it. Drilling depth: from a rim of the bone, the gum or the stent's top, "
        "along the axis to the apex."
    ),
}
"""What a kind of measurement means, shortened from the functions' own definitions."""

GROUPS: dict[str, str] = {
    "danger": "Vital structures",
    "roots": "Roots",
    "bone": "Bone",
    "information": "Information",
}
