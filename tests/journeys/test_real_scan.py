"""A series from a clinical CT scanner, where one lies beside the project: look at it, cut it.

The series is of the public data set dcm_qa_ct (BSD 2-Clause): a head phantom, 140 slices of 1 mm,
with a localizer, screen copies and a directory file that names what is not there. It holds no
lower jaw and no teeth; the arch of the plan runs through the front of the phantom's upper jaw.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.watchdog import PATIENCE

ROOT = Path(__file__).parents[2]
REAL = ROOT.parent / "shared" / "real_scan"

pytestmark = pytest.mark.skipif(
    not REAL.is_dir(), reason="the real scan is not here: ../shared/real_scan beside the project"
)

# Hand-placed on the axial slices: patient's right first, LPS mm.
ARCH = [
    [-52.3, 52.3, 700.0], [-36.5, 39.7, 700.0], [-23.5, 36.1, 700.0], [-3.6, 34.2, 700.0],
    [16.2, 36.1, 700.0], [29.3, 39.7, 700.0], [45.1, 52.3, 700.0],
]  # fmt: skip
PLAN = {
    "format": "sounding-plan", "version": 1, "jaw": "upper",
    "level": {"origin": [0, 40, 700], "up": [0, 0, 1]},
    "arch": {"points": ARCH, "teeth": "whole arch", "right_end": min(ARCH)},
}  # fmt: skip


def sounding(*arguments):
    return subprocess.run(
        [sys.executable, "-m", "app", *map(str, arguments)],
        capture_output=True, text=True, check=False, cwd=ROOT, timeout=100 * PATIENCE,
    )  # fmt: skip


@pytest.fixture(scope="module")
def entries():
    done = sounding("inspect", REAL, "--json")
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return json.loads(done.stdout)["series"]


@pytest.fixture(scope="module")
def by_simpleitk(entries):
    """The usable series read by an independent library."""
    import SimpleITK

    (usable,) = [entry for entry in entries if entry["usable"]]
    reader = SimpleITK.ImageSeriesReader()
    folders = {file.parent for file in REAL.rglob("I*") if file.is_file()}
    (names,) = [
        found for folder in folders
        if (found := reader.GetGDCMSeriesFileNames(str(folder), usable["uid"]))
    ]  # fmt: skip
    reader.SetFileNames(names)
    return reader.Execute()


def test_inspect_finds_the_one_series_and_says_what_the_rest_is(entries, by_simpleitk):
    (usable,) = [entry for entry in entries if entry["usable"]]
    assert usable["modality"] == "CT"
    assert tuple(usable["shape"][::-1]) == by_simpleitk.GetSize()
    assert usable["voxel_mm"] == pytest.approx(by_simpleitk.GetSpacing(), abs=1e-6)
    codes = {finding["code"] for finding in usable["findings"]}
    assert {"scan_directory_lists_more", "scan_voxel_large", "scan_files_ignored"} <= codes
    for entry in entries:
        refusals = [f for f in entry["findings"] if f["severity"] == "refused"]
        assert bool(refusals) != entry["usable"]


def test_inspect_in_words():
    done = sounding("inspect", REAL)
    assert done.returncode == 0
    assert done.stdout.count("Can be measured on.") == 1
    assert "overview picture" in done.stdout


def test_grey_values_agree_with_an_independent_reader(by_simpleitk):
    """SimpleITK's linear interpolation at places along the arch, within a hundredth."""
    from core import open_scan

    volume = open_scan(REAL)
    steps = np.random.default_rng(1).uniform(-4, 4, (40, len(ARCH), 3))
    points = (np.array(ARCH) + steps).reshape(-1, 3)
    theirs = [by_simpleitk.EvaluateAtPhysicalPoint(point.tolist()) for point in points]
    assert volume.grey_at(points) == pytest.approx(np.array(theirs), abs=0.01)
    assert np.ptp(theirs) > 1000


@pytest.mark.parametrize("station", [20.0, 95.0])
def test_a_section_across_the_upper_jaw(tmp_path, station):
    plan, out = tmp_path / "a.plan.json", tmp_path / "section.png"
    plan.write_text(json.dumps(PLAN))
    done = sounding("section", plan, "--scan", REAL, "--station", station, "--out", out)
    assert done.returncode == 0, done.stderr
    assert [p.name for p in sorted(tmp_path.iterdir())] == ["a.plan.json", "section.png"]
    with Image.open(out) as picture:
        grey = np.asarray(picture.convert("L"))
    assert min(grey.shape) > 200
    # Air, bone and the steps between them: neither a blank nor a uniform picture.
    assert len(np.unique(grey)) > 50
    assert 0.03 < (grey > 150).mean() < 0.9


def test_a_station_off_the_arch_is_a_sentence(tmp_path):
    plan = tmp_path / "a.plan.json"
    plan.write_text(json.dumps(PLAN))
    done = sounding("section", plan, "--scan", REAL, "--station", 900, "--out", tmp_path / "no.png")
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert not (tmp_path / "no.png").exists()
