"""What the directions of a jaw are called; the keys stand in plans and files."""

from __future__ import annotations

from collections.abc import Mapping

from core.words.catalogue import Message, message

DIRECTIONS: Mapping[str, Message] = {
    "buccal": message("directions.buccal"),
    "lingual": message("directions.lingual"),
    "palatal": message("directions.palatal"),
    "mesial": message("directions.mesial"),
    "distal": message("directions.distal"),
}
"""Key of a direction → its word, small."""
