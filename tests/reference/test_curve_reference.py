"""The curve against closed forms, scipy's adaptive quadrature and another spline code."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.interpolate import make_interp_spline

from core.curve import Curve


def centripetal(marks):
    return np.concatenate([[0], np.cumsum(np.sqrt(np.linalg.norm(np.diff(marks, axis=0), axis=1)))])


def jaws(seed):
    """Marks as on a jaw: a bow of 90 to 140 mm with a shaking hand."""
    rng = np.random.default_rng(seed)
    turn = np.radians(np.sort(rng.uniform(-80, 80, rng.integers(4, 12))))
    marks = np.stack([24 * np.sin(turn), -30 * np.cos(turn), np.zeros_like(turn)], axis=1)
    return marks + rng.normal(0, 0.4, marks.shape)


@pytest.mark.parametrize("seed", range(12))
def test_length_against_scipy_quadrature(seed):
    # scipy.integrate.quad (QUADPACK) over scipy's B-spline with its default not-a-knot ends
    # (de Boor 1978), piece by piece: another construction of the same curve.
    marks = jaws(seed)
    u = centripetal(marks)
    velocity = make_interp_spline(u, marks, k=3).derivative()
    pieces = [
        quad(lambda v: np.linalg.norm(velocity(v)), a, b, epsabs=1e-10, epsrel=1e-12)[0]
        for a, b in pairwise(u)
    ]
    curve = Curve.through(marks)
    assert curve.length_mm == pytest.approx(sum(pieces), abs=1e-6)
    assert np.diff(curve.mark_stations) == pytest.approx(pieces, abs=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_places_against_another_spline_code(seed):
    marks = jaws(seed)
    u = centripetal(marks)
    spline = make_interp_spline(u, marks, k=3)
    fine = np.linspace(0, u[-1], 300)
    curve = Curve.through(marks)
    gaps = [np.linalg.norm(curve.at(curve.nearest(p))[0] - p) for p in spline(fine)]
    assert max(gaps) < 1e-8


def test_length_of_a_circle():
    # Closed form: radius times angle.
    turn = np.radians(np.linspace(-80, 80, 60))
    marks = 26 * np.stack([np.sin(turn), -np.cos(turn), 0 * turn], axis=1)
    assert Curve.through(marks).length_mm == pytest.approx(26 * np.radians(160), abs=1e-5)


@pytest.mark.parametrize(("half_width", "depth"), [(25.0, 32.0), (10.0, 5.0), (20.0, 0.5)])
def test_length_of_a_parabola(half_width, depth):
    # Closed form for y = k x² from -a to a: a √(1 + 4k²a²) + asinh(2ka) / (2k).
    marks = [(-half_width, depth, 0), (0, 0, 0), (half_width, depth, 0)]
    k = depth / half_width**2
    length = half_width * np.sqrt(1 + (2 * k * half_width) ** 2)
    length += np.arcsinh(2 * k * half_width) / (2 * k)
    assert Curve.through(marks).length_mm == pytest.approx(length, abs=1e-6)
