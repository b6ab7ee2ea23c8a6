"""The ridge over stations: the same numbers as at single sites, and their CSV."""

import csv
import io

import numpy as np
import pytest

from core.bone.level_learning import bone_levels
from core.bone.plate_fit import PlateFit
from core.bone.ridge import ridge_at_site
from core.measuring.basis import Basis
from core.measuring.ridge_profile import PROFILE_DEPTHS_MM, profile_csv, ridge_profile
from core.plans.plan import Plan, Site
from tests.core.bone_phantoms import Jaw, rounded, scan_of, width_at

TOP = -4.0
BODY = rounded(10.0, 26.0, TOP, radius=4.0)


@pytest.fixture(scope="module")
def scene():
    volume, arch = scan_of(Jaw(outline=BODY), station=58.0, voxel=0.35, reach=14.0)
    levels = bone_levels(volume, arch)
    finder = PlateFit.of(volume, arch, "lower", levels)
    basis = Basis(volume=volume, arch=arch, jaw="lower", levels=levels, finder=finder)
    return Plan(midline=arch.frame(30.0).origin, sites=(Site(id="s", station_mm=58.0),)), basis


def test_stations_cover_the_stretch_and_widths_are_those_of_the_outline(scene):
    plan, basis = scene
    rows = ridge_profile(plan, basis, 60.0, 56.5)
    assert [r.station_mm for r in rows] == [56.5, 57.5, 58.5, 59.5, 60.0]
    assert rows[0].from_midline_mm == pytest.approx(26.5, abs=0.05)
    for row in rows:
        for depth, reading in zip(PROFILE_DEPTHS_MM, row.widths, strict=True):
            true = width_at(BODY, TOP - depth)[0]
            assert reading.value == pytest.approx(true, abs=0.3 if depth < 2 else 0.1)
        assert row.height.notes[0].code == "height_nothing_marked"


def test_a_row_is_the_site_measured_there(scene):
    plan, basis = scene
    (row,) = ridge_profile(plan, basis, 58.0, 58.0)
    site = ridge_at_site(basis.volume, basis.arch, 58.0, basis.levels, "lower", (), basis.finder)
    for depth, reading in zip(PROFILE_DEPTHS_MM, row.widths, strict=True):
        (same,) = (w.reading for w in site.widths if w.depth_mm == depth)
        assert reading.value == same.value


def test_csv_has_every_station_and_says_what_was_not_assessed(scene):
    plan, basis = scene
    table = list(csv.DictReader(io.StringIO(profile_csv(ridge_profile(plan, basis, 57, 59)))))
    assert len(table) == 3
    assert float(table[1]["station_mm"]) == 58.0
    assert float(table[0]["width_at_5_mm"]) == pytest.approx(10.0, abs=0.1)
    assert {row["height_mm"] for row in table} == {"not assessed"}
    assert "nothing that limits it is marked" in table[0]["notes"]


def test_outside_the_scan_rows_have_reasons_not_numbers(scene):
    plan, basis = scene
    (row,) = ridge_profile(plan, basis, 10.0, 10.0)
    assert row.crest_mm is None
    assert all(r.value is None and r.notes for r in (*row.widths, row.height))


def test_a_step_that_is_not_positive_is_refused(scene):
    plan, basis = scene
    with pytest.raises(ValueError, match="positive"):
        ridge_profile(plan, basis, 0.0, 5.0, step_mm=np.nan)
