"""Random jaws with an exact truth: shape, image, hand-like plan and what each row should say.

``case(seed)`` gives a `core` volume, a `core` plan and the truth by row of the ledger. Shapes are
the project's own: a cross-section with two plates, swept along an arc with an uneven crest.
"""

from tests.reference.random_jaws.case import Case, case, case_of
from tests.reference.random_jaws.draw import Choices, choices

__all__ = ["Case", "Choices", "case", "case_of", "choices"]
