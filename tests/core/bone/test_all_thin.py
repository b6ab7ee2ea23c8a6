"""Where every plate is thin: one level for all, blur from steps alone, which stand closely."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from core.bone import plate_learning
from core.bone.bone_levels import Blur, BoneLevels
from core.bone.plate_learning import _of_all_plates, learn_plates
from core.bone.tissue_classes import Profiles
from tests.core.bone.test_plate_levels import levels as plates

LEVELS = BoneLevels(
    soft=0.0, spongy=300.0, cortical=1000.0, cortical_sd=90.0, noise_sd=20.0, voxel_mm=0.3,
    together=True, blur=Blur(variance_mm2=0.05, sd_mm=0.01, seen=True),
)  # fmt: skip


def shown(level):
    return replace(plates([(0, 0, k) for k in range(3)], [level] * 3), level_all=level, misfit=0.03)


class TestOfAllPlates:
    KNOWN = replace(plates([], []), level_all=1000.0, spread_all=108.0, misfit=0.02)

    def test_both_levels_by_the_inverse_of_their_variances(self):
        """0.09 of the contrast for all together and 0.12 for one by one: 0.64 and 0.36."""
        found = _of_all_plates(shown(850.0), LEVELS, self.KNOWN)
        assert found.level_all == pytest.approx(0.64 * 1000.0 + 0.36 * 850.0)
        assert found.spread_all == pytest.approx(np.hypot(60.0, 90.0 * 120.0 / 150.0))
        assert found.misfit == 0.03
        assert not len(found.level), "no plate tells its own level"

    @pytest.mark.parametrize("side", [-1.0, 1.0])
    def test_what_is_at_odds_with_all_plates_does_not_count(self, side):
        limit = 1.5 * 150.0
        assert _of_all_plates(shown(1000.0 + side * (limit - 1.0)), LEVELS, self.KNOWN) is not (
            self.KNOWN
        )
        assert _of_all_plates(shown(1000.0 + side * (limit + 1.0)), LEVELS, self.KNOWN) is (
            self.KNOWN
        )

    def test_where_none_seems_to_show_its_level_all_is_as_known(self):
        assert _of_all_plates(plates([], []), LEVELS, self.KNOWN) is self.KNOWN


@pytest.mark.parametrize(
    ("together", "seen", "asked"),
    [(True, True, False), (False, True, True), (True, False, True), (False, False, True)],
)
def test_plates_are_asked_for_their_blur_unless_steps_show_it_and_all_are_thin(
    monkeypatch, together, seen, asked
):
    levels = replace(LEVELS, together=together, blur=replace(LEVELS.blur, seen=seen))
    one = np.zeros((1, 3))
    asked_for = []
    fakes = {
        "_unknown": lambda *_: TestOfAllPlates.KNOWN,
        "_places": lambda *_: (one, one),
        "_with_blur": lambda _v, _b, _l, known: asked_for.append(1) or known,
        "through_gum": lambda *_, **__: SimpleNamespace(fits=None),
        "_with_levels": lambda *_: shown(850.0),
    }
    for name, fake in fakes.items():
        monkeypatch.setattr(plate_learning, name, fake)
    monkeypatch.setattr(plate_learning.BonePaths, "of", lambda *_: None)
    bundles = SimpleNamespace(fitted=lambda *_: None)
    monkeypatch.setattr(plate_learning.Bundles, "at", lambda *_, **__: bundles)
    found = learn_plates(None, None, "lower", levels)
    assert bool(asked_for) is asked
    assert bool(len(found.level)) is asked, "a level of its own where not all are thin"


def test_lines_for_the_steps_stand_a_millimetre_apart(monkeypatch):
    """Six to thirteen millimetres aside, so that each sees voxels of its own."""
    got = {}

    def along(volume, starts, ways, count):
        got[len(starts)] = starts
        return len(starts)

    monkeypatch.setattr(Profiles, "_along", along)
    frame = SimpleNamespace(buccal=np.array([0.0, 1.0, 0.0]), up=np.array([0.0, 0.0, 1.0]))
    arch = SimpleNamespace(
        length_mm=11.0,
        frame=lambda s: SimpleNamespace(origin=np.array([s, 0.0, 0.0]), **vars(frame)),
    )
    starts = got[Profiles.upright_closely(None, arch)]
    assert np.unique(starts[:, 0]) == pytest.approx(np.arange(1.0, 11.0))
    aside = np.arange(6.0, 13.5)
    assert np.unique(starts[:, 1]) == pytest.approx(np.concatenate([-aside[::-1], aside]))
    assert starts[:, 2] == pytest.approx(-40.0)
    few = got[Profiles.upright(None, arch)]
    assert np.unique(few[:, 0]) == pytest.approx([1.0, 5.0, 9.0])
    assert np.unique(few[:, 1]) == pytest.approx([-13.0, -10.0, -7.0, 7.0, 10.0, 13.0])
