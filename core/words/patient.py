"""The patient's page in plain words: one table, replaced as a whole by a translation.

Reading age about 12. Fields in braces are filled in from the case; a translation keeps them.
"""

from __future__ import annotations

from collections.abc import Mapping

from core.words.catalogue import SOURCE, table


def patient_words(language: str = SOURCE) -> Mapping[str, str]:
    """The page's sentences by their names.

    Parameters
    ----------
    language : str
        The page has a language of its own, apart from screen and sheet.
    """
    return table("patient", language)


PATIENT: Mapping[str, str] = patient_words()
