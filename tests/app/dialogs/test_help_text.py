"""What the help says of many limits at once, and that its figure is right."""

from __future__ import annotations

from app.dialogs.help import topics
from core.words.sheet import EACH_BY_ITSELF


def test_the_help_says_that_each_limit_is_judged_by_itself():
    assert str(EACH_BY_ITSELF) in topics._uncertainty().paragraphs
    assert "six plans of ten" in str(EACH_BY_ITSELF)
    assert round(10 * 0.95**10) == 6
