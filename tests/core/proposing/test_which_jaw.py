"""Teeth are told from a crest by what is under the top, a palate by what spans beside it."""

from __future__ import annotations

import numpy as np
import pytest

from core.proposing.coarse import Coarse
from core.proposing.propose import CLEAR_PALATE, PALATE
from core.proposing.which_jaw import bears_teeth, palate
from tests.core.proposing.wall import ORIGIN, SHAPE, wall

THRESHOLD = 500.0
DEPTH = -(ORIGIN[2] + np.arange(SHAPE[0]))
"""How deep each plane of the grid lies under the wall's top, mm."""


def layers(cap, core, below):
    """A scan whose grey value depends on the depth alone, beside common bone of 1 200."""
    grey = np.full(SHAPE, below, dtype=np.float32)
    grey[(DEPTH >= 0) & (DEPTH < 3)] = cap
    grey[(DEPTH >= 3) & (DEPTH < 7)] = core
    grey[DEPTH < 0] = 0.0
    grey[DEPTH > 12] = 1200.0
    return Coarse(grey=grey, seen=np.ones(SHAPE, dtype=bool), origin=ORIGIN)


@pytest.mark.parametrize(
    ("cap", "core", "teeth"),
    [
        (2600.0, 1500.0, True),  # enamel on dentine
        (1300.0, 450.0, False),  # a cortical crest on spongy bone
        (1300.0, 1250.0, False),  # dense bone all through has no enamel
        (2600.0, 600.0, False),  # a bright cap on spongy bone is no tooth
    ],
)
def test_teeth_have_enamel_on_top_and_dentine_under_it(cap, core, teeth):
    assert bears_teeth(layers(cap, core, 1200.0), wall(), THRESHOLD) is teeth


def test_where_nothing_is_hard_there_are_no_teeth():
    assert not bears_teeth(layers(0.0, 0.0, 0.0), wall(), 3000.0)


def vault(rise=lambda x, y: 0.0 * x):
    """Upper surface to one side of the wall, 10 mm under its top, lifted by `rise`."""
    x, y = np.meshgrid(np.arange(41.0), np.arange(5.0, 25.0))
    return np.stack([x.ravel(), y.ravel(), (rise(x, y) - 10.0).ravel()], axis=1)


def test_a_level_vault_beside_the_ridge_is_a_palate():
    found = palate(wall(beside=(vault(),)))
    assert found.looked
    assert found.share >= CLEAR_PALATE


def test_a_steep_flank_is_none():
    found = palate(wall(beside=(vault(lambda x, y: 2.0 * (14.0 - y)),)))
    assert found.looked
    assert found.share < PALATE


def test_without_a_vault_there_is_none_and_it_was_looked_for():
    found = palate(wall())
    assert (found.share, found.looked) == (0.0, True)


def test_what_was_scanned_on_one_side_only_tells_nothing():
    seen = np.ones(SHAPE, dtype=bool)
    seen[:, : int(-ORIGIN[1]) - 6] = False
    for beside in ((), (vault(),)):
        assert not palate(wall(beside=beside, seen=seen)).looked
