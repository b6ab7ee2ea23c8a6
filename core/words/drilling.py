"""Sentences about: how deep to drill - the card, the drills, and why no depth is given."""

from __future__ import annotations

from collections.abc import Mapping

from core.words.catalogue import Message, message

ORIGINS: Mapping[str, Message] = {
    "buccal rim": message("sheet.origin.buccal-rim"),
    "highest rim": message("sheet.origin.highest-rim"),
    "gum": message("sheet.origin.gum"),
    "stent top": message("sheet.origin.stent-top"),
}
"""Places that a drilling depth is counted from, as people call them."""

MAXIMUM = "Maximum drilling depth, mm"
MAXIMUM_BORDERLINE = "Depth to the planned apex, mm. BORDERLINE: {what}"
NOT_GIVEN = "No depth is given while these limits are not met: {what}."
NOT_GIVEN_SIDE = "No depth is given while left and right may be swapped."
CHOOSE = "Nobody has chosen yet where the depth is counted from. Tick the place that is used."
CHOSEN = "Counted from the {origin}. The other depths are for comparison only."
NO_MARK_THERE = "not marked"
NOT_FOUND = "not found"
NONE_FOR_THIS_DRILL = "No depth for this drill"
TIP_BARS = (
    "The tip of this drill comes too close: {what} {value}{limit}, {verdict}. The fixture itself "
    "meets this limit. Use a drill with a shorter tip, or a shorter fixture."
)
TIP_BORDERLINE = (
    "The tip of this drill is borderline: {what} {value}{limit}, {verdict}. Drill less deep."
)
DRILLS_LAID_OUT = "Drill card and drills are laid out; tips beyond the marks are known"
NO_CARD = "There is no drill card: limits are not met, so no drilling depth is given."
NO_DEPTH_LARGE = "NO DRILLING DEPTH"
TIP_INCLUDED = "The marks include the tip."
TIP_BEYOND = "The tip reaches {mm} mm beyond the mark."
TIP_UNKNOWN = "Drill tip length unknown; {mm} mm assumed."
TIP_NEAREST = "{tip} Closest there: {what}, {value} mm{limit}, {verdict}."
CARD_RULES = (
    "Depths in mm along the axis to the apex: the last mark that is not deeper, and the exact "
    "depth in brackets. Take a radiograph with the direction indicator before enlarging."
)
CARD_RULER = "1 : 1? {each} ruler must measure 50 mm. Then lay each drill beside it and compare."
ENTRY = "Entry point and angles"
NO_CONTACTS = "The contacts of the neighbours are not marked, so no distance from them is given."
NOT_COMPARED = "The side has NOT YET been compared with the patient or chart."
