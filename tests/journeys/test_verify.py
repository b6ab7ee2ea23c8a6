"""`sounding verify`: the whole self-test, from a drawn scan to a dated page, and its failing."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest

from app.background import self_test_jaws
from app.cli.command_line import run
from core.image.volume import Volume


def test_the_self_test_passes_and_leaves_a_dated_page(tmp_path, capsys, monkeypatch):
    whole = []
    real = self_test_jaws.measure

    def counted(*args, fine=True, **more):
        whole.append(fine)
        return real(*args, fine=fine, **more)

    monkeypatch.setattr(self_test_jaws, "measure", counted)
    assert run(["verify", "--out", str(tmp_path)]) == 0
    # It promises less than a minute. Whole ledgers are what takes seconds, and counting them says
    # the same on a busy machine: the two jaws, and the plan that lies on the wrong scan.
    assert sum(whole) <= 3
    printed = capsys.readouterr().out
    seed = int(re.search(r"seed (\d+)", printed).group(1))
    assert "checks are within their bounds" in printed
    assert "This does not test your scanner." in printed
    (document,) = tmp_path.glob("self-test-*.json")
    told = json.loads(document.read_text("utf-8"))
    assert told["seed"] == seed
    assert told["passed"]
    assert len(told["checks"]) >= 120
    assert document.with_suffix(".pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("fault", ["mirrored", "shifted", "stretched"])
def test_a_faulty_reader_fails_it(fault, tmp_path, capsys, monkeypatch):
    """What it is for: a scan read mirrored, half a voxel off, or 3 % too large is found."""
    read = self_test_jaws.open_scan

    def wrongly(path):
        v = read(path)
        affine = v.mm_from_ijk.copy()
        voxels = v.voxels
        if fault == "mirrored":
            voxels = np.ascontiguousarray(voxels[:, :, ::-1])
        elif fault == "shifted":
            affine[:3, 3] += 0.2
        else:
            middle = affine[:3, :3] @ (np.array(voxels.shape[::-1]) / 2)
            affine[:3, 3] -= 0.03 * middle
            affine[:3, :3] *= 1.03
        return Volume(voxels=voxels, mm_from_ijk=affine, slope=v.slope, intercept=v.intercept,
                      made_up=v.made_up, identity=v.identity)  # fmt: skip

    monkeypatch.setattr(self_test_jaws, "open_scan", wrongly)
    with pytest.raises(SystemExit) as end:
        run(["verify", "--seed", "7", "--out", str(tmp_path)])
    assert end.value.code == 1
    printed = capsys.readouterr().out
    assert "OUT OF THEIR BOUNDS" in printed
    # A fault of the installation is told as one, never as a plan of another scan.
    assert "made on" not in printed
    (document,) = tmp_path.glob("self-test-*.json")
    checks = json.loads(document.read_text("utf-8"))["checks"]
    assert len([c for c in checks if not c["passed"]]) >= 2


def test_a_seed_that_is_no_number_is_refused(capsys):
    assert run(["verify", "--seed", "x"]) == 2
    assert "whole number" in capsys.readouterr().err
