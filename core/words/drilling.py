"""Places that a drilling depth is counted from; the keys stand in plans and files."""

from __future__ import annotations

from collections.abc import Mapping

from core.words.catalogue import Message, message

ORIGINS: Mapping[str, Message] = {
    "buccal rim": message("sheet.origin.buccal-rim"),
    "highest rim": message("sheet.origin.highest-rim"),
    "gum": message("sheet.origin.gum"),
    "stent top": message("sheet.origin.stent-top"),
}
"""Key of a place → what people call it."""
