"""The terms of screens, sheet and help in plain words; measures are defined beside the sheet."""

from __future__ import annotations

from collections.abc import Mapping

from core.words.catalogue import table

_TERM, _MEANING = ".term", ".meaning"


def glossary(language: str) -> Mapping[str, str]:
    """Term → meaning, in the order of the file.

    Parameters
    ----------
    language : str
    """
    found = table("glossary", language)
    names = (key.removesuffix(_TERM) for key in found if key.endswith(_TERM))
    return {found[name + _TERM]: found[name + _MEANING] for name in names}
