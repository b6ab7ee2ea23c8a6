"""A scan that ends beside the fixture: its cut never passes for the outside of the bone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import sample_volumes
from core import load_plan, measure, open_scan


@pytest.fixture(scope="module")
def case():
    volume = open_scan(sample_volumes.path("lower_left_36"))
    plan = load_plan(sample_volumes.path("lower_left_36.plan.json"))
    # What is cut off changes the scan that the plan is tied to.
    return replace(plan, scan=None), volume


@pytest.fixture(scope="module")
def whole(case):
    """The ledger of the whole scan."""
    plan, volume = case
    return measure(plan, volume, made_at="2026-11-01T10:00:00+00:00")


def cropped(volume, *, first_column=0, last_column=None, first_slice=0):
    """The same scan with less of it: the fixture stands at x 24, z 12 to 20, mm."""
    affine = volume.mm_from_ijk.copy()
    affine[:3, 3] += first_column * affine[:3, 0] + first_slice * affine[:3, 2]
    columns = slice(first_column, last_column)
    return replace(
        volume,
        voxels=np.array(volume.voxels[first_slice:, :, columns]),
        mm_from_ijk=affine,
        made_up=volume.made_up[first_slice:],
        field=volume.field[:, columns],
        identity=volume.identity,
    )


def column(volume, x_mm):
    return round((x_mm - volume.mm_from_ijk[0, 3]) / volume.mm_from_ijk[0, 0])


@pytest.mark.parametrize(
    ("side", "cut"),
    [
        ("lingual", {"first": 19.0}),
        ("buccal", {"last": 30.0}),
    ],
)
def test_a_cut_beside_the_bone_gives_no_number_on_its_side(case, whole, side, cut):
    plan, volume = case
    crop = (
        {"first_column": column(volume, cut["first"])}
        if "first" in cut
        else {"last_column": column(volume, cut["last"])}
    )
    ledger = measure(plan, cropped(volume, **crop), made_at="2026-11-01T10:00:00+00:00")
    for row in (f"36/wall/{side}", f"36/clearance/bone surface/{side}"):
        assert ledger.get(row).value is None, row
        assert ledger.get(row).reading.notes, row
    assert ledger.get(f"36/wall/{side}").verdict == "not assessed"
    other = {"lingual": "buccal", "buccal": "lingual"}[side]
    exact = whole.get(f"36/wall/{other}").value
    assert ledger.get(f"36/wall/{other}").value == pytest.approx(exact, abs=0.05)


def test_a_cut_below_the_apex_gives_no_apical_number(case):
    plan, volume = case
    affine = volume.mm_from_ijk
    first = int(np.ceil((5.0 - affine[2, 3]) / affine[2, 2]))
    ledger = measure(plan, cropped(volume, first_slice=first), made_at="2026-11-01T10:00:00+00:00")
    for row in ("36/clearance/bone surface/apical", "36/clearance/bone surface/apical/tip"):
        assert ledger.get(row).value is None
        assert ledger.get(row).verdict == "not assessed"
