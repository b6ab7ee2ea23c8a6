"""`sounding inspect` on the sample scan, on nothing, and on what is no scan."""

from __future__ import annotations

import json

import sample_volumes
from app.cli.command_line import run

# The row of the command in the agreed interface: these keys, these orders.
KEYS = {"uid", "stack", "modality", "description", "shape", "voxel_mm", "usable", "findings"}


def test_the_sample_can_be_measured_on(capsys):
    truth = json.loads(sample_volumes.path("lower_left_36.truth.json").read_text("utf-8"))
    assert run(["inspect", str(sample_volumes.path("lower_left_36")), "--json"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    (entry,) = json.loads(out)["series"]
    assert set(entry) >= KEYS
    assert entry["usable"] is True
    assert entry["stack"] == 0
    assert entry["uid"] == truth["scan"]["series_uid"]
    assert entry["shape"] == truth["scan"]["shape"]
    assert entry["voxel_mm"] == [truth["scan"]["voxel_mm"]] * 3


def test_the_same_in_words(capsys):
    assert run(["inspect", str(sample_volumes.path("lower_left_36"))]) == 0
    text = capsys.readouterr().out
    assert "Can be measured on." in text
    assert "0.25 × 0.25 × 0.25 mm" in text


def test_no_scan_is_a_sentence_and_status_2(capsys, tmp_path):
    (tmp_path / "letter.txt").write_text("Dear colleague")
    for path in (tmp_path / "gone", tmp_path, tmp_path / "letter.txt"):
        assert run(["inspect", str(path)]) == 2
        out, err = capsys.readouterr()
        assert out == ""
        assert err.count("\n") == 1
        assert "Traceback" not in err
