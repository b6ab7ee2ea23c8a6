"""What the help says of many limits at once, and that its figure is right."""

from __future__ import annotations

from app.dialogs.help import topics
from core.words.sheet import EACH_BY_ITSELF
from tests.core.bone_phantoms import true_levels


def test_the_help_says_that_each_limit_is_judged_by_itself():
    assert str(EACH_BY_ITSELF) in topics._uncertainty().paragraphs
    assert "six plans of ten" in str(EACH_BY_ITSELF)
    assert round(10 * 0.95**10) == 6


def test_what_a_scan_may_hide_is_told_with_the_programs_own_least_thickness():
    told = " ".join(topics.topics()["hidden"].paragraphs)
    levels = true_levels(voxel=0.2)
    assert f"a plate under {levels.thin_mm:g} mm" in told
    assert "Thin gum under air" in told
    assert "upper bounds, and no limit is met" in told
