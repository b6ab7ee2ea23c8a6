"""The check radiograph: projection, magnification, tilt, and depth read off a film.

Magnification: M = SID / (SID - OID), worked out for the distances below.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.arch import fixture_frame
from core.errors import OutputError
from core.geometry import PictureGrid
from core.image.radiograph import Film, Tube, depth_from_film, film_at, radiograph
from core.image.volume import Volume
from tests.sheet_material import arch_of, fixture_at, plan_with

PLAN = plan_with(fixture_at(20.0, "36", length_mm=10.0))
FIXTURE = PLAN.fixtures[0]
FRAME = fixture_frame(FIXTURE, arch_of(PLAN))


@pytest.mark.parametrize(
    ("sid", "oid", "factor"),
    [(400, 10, 1.026), (400, 20, 1.053), (400, 25, 1.067), (300, 20, 1.071), (200, 20, 1.111)],
)
def test_magnification_table(sid, oid, factor):
    tube = Tube(source_to_film_mm=sid, object_to_film_mm=oid)
    assert tube.magnification == pytest.approx(factor, abs=5e-4)
    film = film_at(FIXTURE, FRAME, tube)
    ends = film.project(np.stack([FIXTURE.platform, FIXTURE.apex]))
    assert np.linalg.norm(ends[1] - ends[0]) == pytest.approx(10.0 * tube.magnification, rel=1e-9)


def test_seen_from_the_cheek_the_patients_left_molar_has_mesial_on_the_left():
    """Who looks from buccal at the patient's left side sees the front of the mouth on the left."""
    film = film_at(FIXTURE, FRAME, Tube())
    mesial = film.project((FIXTURE.platform + 3 * FRAME.m)[None])[0]
    up = film.project((FIXTURE.platform + 3 * FRAME.a)[None])[0]
    middle = film.project(FIXTURE.platform[None])[0]
    assert mesial[0] < middle[0]
    assert up[1] > middle[1]
    assert film.grid.toward_viewer @ FRAME.b == pytest.approx(1.0)


def test_a_tube_that_looks_from_above_moves_what_is_nearer_to_it_down():
    film = film_at(FIXTURE, FRAME, Tube(up_deg=10.0))
    nearer = FIXTURE.platform + 5 * FRAME.b
    low = film.project(nearer[None])[0][1] - film.project(FIXTURE.platform[None])[0][1]
    assert low < -0.5


def test_integral_through_a_block_is_its_thickness_times_its_excess():
    """A block of 600 over soft 100, 8 mm thick along the ray: 500 * 8 grey mm in the middle."""
    voxel = 0.5
    grey = np.full((60, 60, 60), 100, dtype=np.int16)
    grey[15:45, 15:45, 22:38] = 600
    affine = np.diag([voxel, voxel, voxel, 1.0])
    volume = Volume(voxels=grey, mm_from_ijk=affine, made_up=np.zeros(60, dtype=bool))
    centre = np.array([14.75, 14.75, 14.75])
    grid = PictureGrid(
        origin=centre - (20, 0, 0), right=(0, 1, 0), up=(0, 0, 1), rows=5, cols=5, pixel_mm=0.5
    )
    film = Film(grid=grid, source_mm=centre + np.array([400.0, 0, 0]))
    picture, whole = radiograph(volume, film, soft=100.0)
    assert whole.all()
    assert picture[2, 2] == pytest.approx(500 * 8, rel=0.01)


def test_rays_that_miss_the_scan_say_so():
    volume = Volume(
        voxels=np.zeros((4, 4, 4), dtype=np.int16), mm_from_ijk=np.eye(4),
        made_up=np.zeros(4, dtype=bool),
    )  # fmt: skip
    picture, whole = radiograph(volume, film_at(FIXTURE, FRAME, Tube(), pixel_mm=2.0), soft=0.0)
    assert not whole.any()
    assert (picture == 0).all()


@given(st.floats(1, 40), st.floats(5, 15), st.floats(0.8, 1.4))
def test_the_reverse_takes_the_magnification_out(true, pin, factor):
    reading, _ = depth_from_film(true * factor, pin_true_mm=pin, pin_on_film_mm=pin * factor)
    assert reading.value == pytest.approx(true)


def test_the_depths_uncertainty_against_monte_carlo():
    """JCGM 101:2008: the spread of 200 000 draws."""
    reading, budget = depth_from_film(
        11.0, pin_true_mm=10.0, pin_on_film_mm=10.5, read_off_u_mm=0.3, pin_u_mm=0.05
    )
    rng = np.random.default_rng(3)
    n = 200_000
    lengths = 11.0 + rng.normal(0, 0.3, n)
    drawn = lengths * (10 + rng.normal(0, 0.05, n)) / (10.5 + rng.normal(0, 0.3, n))
    assert reading.value == pytest.approx(11.0 / 1.05)
    assert budget.u == pytest.approx(drawn.std(), rel=0.02)


@pytest.mark.parametrize("length", [0.0, -3.0, float("nan"), float("inf")])
def test_nonsense_lengths_are_refused(length):
    for given_ in ((length, 10.0, 10.5), (11.0, length, 10.5), (11.0, 10.0, length)):
        with pytest.raises(OutputError) as refusal:
            depth_from_film(given_[0], pin_true_mm=given_[1], pin_on_film_mm=given_[2])
        assert refusal.value.code == "film-number"
        assert str(refusal.value).count(". ") >= 2  # what, why it matters, what to do


def test_a_tube_behind_the_film_is_refused():
    with pytest.raises(OutputError):
        Tube(source_to_film_mm=10.0, object_to_film_mm=20.0)
    with pytest.raises(OutputError):
        Tube(up_deg=float("nan"))
