"""Proposals on scans made of real jaw surfaces: what is said to be found lies where it is."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from core.curve import Curve
from core.proposing.propose import propose
from tests.reference import real_jaws

SEED = 903
SURE = ("teeth", "crest")
CASES = [
    (name, upper, field_mm)
    for field_mm in (60.0, 40.0)
    for name in real_jaws.NAMES
    for upper in (False, True)
]


def drawn(number, seed=SEED):
    """One head in one scanner: turned by up to 20°, its field anywhere along the jaw."""
    name, upper, field_mm = CASES[number]
    draw = np.random.default_rng([seed, number])
    shape = real_jaws.upper_like(name) if upper else real_jaws.shape(name)
    return real_jaws.drawn_scan(draw, shape, field_mm=field_mm, to_the_ends=0.08, seed=number)


@cache
def case(number, seed=SEED):
    """A scan and what is proposed for it."""
    scan = drawn(number, seed)
    return scan, propose(scan.volume)


def off_the_arch_mm(proposal, scan):
    """(n,) of the middle 80 % of the scanned crest, seen along the jaw's true plane."""
    up, crest = scan.up, scan.crest_inside

    def flat(places):
        return places - np.outer((places - crest[0]) @ up, up)

    arch = Curve.through(flat(proposal.arch_points))
    cut = len(crest) // 10
    middle = flat(crest[cut : len(crest) - cut])
    return np.linalg.norm(arch.at(arch.nearest_stations(middle)) - middle, axis=1)


ONCE_FALSE = (1, 1001)
"""An upper crest in 60 mm whose plane was found 22° off."""


@pytest.mark.parametrize(
    ("number", "seed"), [*((number, SEED) for number in range(len(CASES))), ONCE_FALSE]
)
def test_what_is_proposed_is_of_the_jaw_and_along_its_crest(number, seed):
    """The crest is the surface's own, see `real_jaws`; the bounds are what a person would redo."""
    real_jaws.require()
    scan, proposal = case(number, seed)
    if proposal.arch_points is None:
        assert (proposal.jaw, proposal.plane_from) == (None, "scanner")
        return
    assert proposal.jaw == scan.jaw
    off = off_the_arch_mm(proposal, scan)
    assert np.median(off) < 1.5
    assert off.max() < 4.0
    if proposal.plane_from in SURE:
        assert np.degrees(np.arccos(min(1.0, proposal.level.up @ scan.up))) < 4.0


def test_most_rows_of_teeth_are_found():
    """Else the bounds on what is found would hold for nothing."""
    real_jaws.require()
    toothed = [n for n, (name, _, _) in enumerate(CASES) if name == "toothed"]
    found = [n for n in toothed if case(n)[1].arch_points is not None]
    assert len(found) >= 3
    assert len(toothed) == 4
