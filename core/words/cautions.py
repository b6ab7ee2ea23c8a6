"""What start screen, README and every sheet say, word for word."""

from __future__ import annotations

from core.words.catalogue import SOURCE, message, table

SPOKEN = message("cautions.text")
"""The cautions in the language of the screen."""

CAUTIONS = table("cautions", SOURCE)["text"]
