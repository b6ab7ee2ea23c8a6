"""Gum under air that is no thicker than the blur: edges of bone, and not the middle of the gum."""

import numpy as np
import pytest

from core.bone.level_learning import bone_levels
from core.bone.plate_fit import PlateFit
from core.bone.ridge import ridge_at_site
from tests.core.level_phantoms import Greys, Ridge, scan

STATION = 22.0


@pytest.fixture(scope="module", params=[1.0, 1.4], ids=["gum of 1.0", "gum of 1.4"])
def measured(request):
    """A ridge with air beside thin gum down to 9 mm below its crest."""
    ridge = Ridge(width=9.0, gum=request.param, fold=9.0, buccal=0.7, lingual=0.6, top=0.7)
    volume, arch = scan(ridge, Greys(noise=40.0), voxel=0.3, fwhm=1.0, station=STATION)
    levels = bone_levels(volume, arch)
    finder = PlateFit.of(volume, arch, "lower", levels)
    return ridge_at_site(volume, arch, STATION, levels, "lower", (), finder)


@pytest.mark.parametrize("depth", [5.0, 7.0])
def test_a_width_ends_at_the_bone_and_not_in_its_gum(measured, depth):
    """Once 10.25 to 10.64 ± 0.5 to 1.2."""
    (width,) = [w for w in measured.widths if w.depth_mm == depth]
    assert width.reading.value == pytest.approx(9.0, abs=0.2)


def test_a_crest_is_that_of_the_bone_and_not_of_the_gum_over_it(measured):
    """Once 0.6 and 0.9 mm above it."""
    assert measured.crest.point_mm[2] == pytest.approx(-5.0, abs=0.2)


def test_where_there_is_no_gum_its_search_moves_nothing():
    ridge = Ridge(width=9.0, gum=0.0, fold=9.0, buccal=0.7, lingual=0.6, top=0.7)
    volume, arch = scan(ridge, Greys(noise=40.0), voxel=0.3, fwhm=1.0, station=STATION)
    levels = bone_levels(volume, arch)
    finder = PlateFit.of(volume, arch, "lower", levels)
    found = ridge_at_site(volume, arch, STATION, levels, "lower", (), finder)
    for width in found.widths:
        if width.depth_mm >= 5.0:
            assert width.reading.value == pytest.approx(9.0, abs=0.15)
            assert np.isfinite(width.reading.edge_sd_mm).all()
