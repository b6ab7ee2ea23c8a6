"""What sheet, window and help share: groups of rows, terms, titles of verdicts."""

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

OPEN_VERDICTS: Mapping[str, Message] = {
    "below limit": message("sheet.open.below"),
    "not assessed": message("sheet.open.not-assessed"),
    "too near to tell": message("sheet.open.borderline"),
}
"""Titles of what is open on page 1, worst first."""

GROUPS: Mapping[str, Message] = {
    "danger": message("sheet.group.danger"),
    "roots": message("sheet.group.roots"),
    "bone": message("sheet.group.bone"),
    "information": message("sheet.group.information"),
}

TERMS: Mapping[str, Message] = {
    "placement": message("sheet.term.placement"),
    "course": message("sheet.term.course"),
    "edge": message("sheet.term.edge"),
    "voxel": message("sheet.term.voxel"),
    "scale": message("sheet.term.scale"),
    "size": message("sheet.term.size"),
    "fit": message("sheet.term.fit"),
}
"""Terms of an uncertainty."""

SEVERITIES: Mapping[str, Message] = {
    "note": message("sheet.severity.note"),
    "caution": message("sheet.severity.caution"),
    "refused": message("sheet.severity.refused"),
}
"""How grave a scan check is."""
