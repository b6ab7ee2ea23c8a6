"""What the languages are called where one is chosen."""

from __future__ import annotations

from core.words.catalogue import message

LANGUAGES = {
    "en": message("dialogs.settings.language-en"),
    "de": message("dialogs.settings.language-de"),
}
