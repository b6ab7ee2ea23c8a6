"""The scans made of real jaw surfaces are what they claim to be."""

from __future__ import annotations

import numpy as np
import pytest

from tests.reference import real_jaws


@pytest.mark.parametrize("name", real_jaws.NAMES)
@pytest.mark.parametrize("upper", [False, True])
def test_the_crest_lies_on_the_surface_and_turns_with_the_head(name, upper):
    """In the picture, not in the shape: bone just under the crest, none just over it."""
    real_jaws.require()
    jaw = real_jaws.upper_like(name) if upper else real_jaws.shape(name)
    scan = real_jaws.scan(
        jaw, tilt_deg=17.0, about=(1.0, -1.0, 0.5), field_mm=40.0, at=0.3, noise_sd=0.0
    )
    assert np.degrees(np.arccos(scan.up[2])) == pytest.approx(15.5, abs=1.0)  # turned about x, y
    crown = scan.up if jaw.jaw == "lower" else -scan.up
    crest = scan.crest_inside
    assert 20.0 < np.linalg.norm(np.diff(crest, axis=0), axis=1).sum() < 70.0
    under = scan.volume.grey_at(crest[8:-8] - 3.0 * crown)
    over = scan.volume.grey_at(crest[8:-8] + 2.5 * crown)
    assert np.mean(under > 200.0) > 0.95
    assert np.mean(over < 200.0) > 0.95


def test_the_options_of_a_scan_show():
    real_jaws.require()
    jaw = real_jaws.shape("toothless")
    plain = real_jaws.scan(jaw, field_mm=40.0, noise_sd=0.0)
    scanned = plain.volume.field[None] == 1
    air = real_jaws.scan(
        jaw, field_mm=40.0, noise_sd=0.0, tissue=real_jaws.Tissue(air_over_crest=True)
    )
    metal = real_jaws.scan(
        jaw, field_mm=40.0, noise_sd=0.0, tissue=real_jaws.Tissue(metal_at=(0.5,))
    )
    above = plain.crest_inside + 3.0 * plain.up
    assert np.median(plain.volume.grey_at(above)) == pytest.approx(50.0, abs=5.0)
    assert np.median(air.volume.grey_at(above)) == pytest.approx(-1000.0, abs=5.0)
    assert (np.where(scanned, plain.volume.voxels, 0) > 3000).sum() == 0
    assert (np.where(scanned, metal.volume.voxels, 0) > 3000).sum() > 1000
