"""A scan whose voxels changed under the same identifiers gives no number, whoever asks."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pydicom
import pytest

import sample_volumes
from app.cli.command_line import run
from core import PlanError, load_plan, measure, open_scan, run_case, save_plan
from core.measuring.basis import Basis

NAME = "lower_left_36"
PLAIN = "The image of this scan is not the one that the plan was made on"


@pytest.fixture(scope="module")
def changed(tmp_path_factory) -> Path:
    """The sample's export, one voxel of it another grey value; every identifier as it was."""
    folder = tmp_path_factory.mktemp("changed") / "scan"
    shutil.copytree(sample_volumes.path(NAME), folder)
    slices = sorted(folder.glob("*.dcm"))
    middle = slices[len(slices) // 2]
    data = pydicom.dcmread(middle)
    pixels = data.pixel_array.copy()
    pixels[tuple(n // 2 for n in pixels.shape)] += 1
    data.decompress()
    data.PixelData = pixels.tobytes()
    data.save_as(middle)
    return folder


@pytest.fixture
def plan_file(tmp_path) -> Path:
    """The sample's plan, tied to the voxels as they were exported."""
    path = tmp_path / "case.plan.json"
    save_plan(load_plan(sample_volumes.path(f"{NAME}.plan.json")), path)
    return path


def test_the_samples_plan_holds_the_fingerprint_and_the_voxels_differ(changed, plan_file):
    plan = load_plan(plan_file)
    assert plan.scan.fingerprint == open_scan(sample_volumes.path(NAME)).fingerprint()
    volume = open_scan(changed)
    assert volume.identity.series_uid == plan.scan.series_uid
    assert volume.fingerprint() != plan.scan.fingerprint


def test_python_is_refused(changed, plan_file):
    plan, volume = load_plan(plan_file), open_scan(changed)
    for ask in (lambda: measure(plan, volume), lambda: Basis.of(plan, volume)):
        with pytest.raises(PlanError, match=PLAIN):
            ask()
    with pytest.raises(PlanError, match=PLAIN):
        run_case(str(plan_file), str(changed))


@pytest.mark.parametrize(
    "words",
    [
        ("measure",),
        ("section", "--station", "50", "--out", "section.png"),
        ("sheet", "--out", "set"),
    ],
)
def test_the_command_line_is_refused(changed, plan_file, tmp_path, monkeypatch, capsys, words):
    monkeypatch.chdir(tmp_path)
    assert run([words[0], str(plan_file), "--scan", str(changed), *words[1:]]) == 2
    assert PLAIN in capsys.readouterr().err
    assert not (tmp_path / "section.png").exists()
    assert not (tmp_path / "set").exists()


def test_a_plan_without_a_fingerprint_is_tied_by_its_voxels(changed, plan_file):
    plan = load_plan(plan_file)
    loose = replace(plan, scan=replace(plan.scan, fingerprint=""))
    assert measure(loose, open_scan(changed)).scan_fingerprint.startswith("sha256:")
