"""`sounding sheet`: the sheet and the record beside it, or one of both, in one folder."""

from __future__ import annotations

import pytest

import sample_volumes
from app.command_line import run

SHEET = {"sheet.pdf", "sheet.csv", "sheet.ledger.json", "section-36.png", "panorama.png"}
RECORD = {
    "drill-card.pdf", "check-film.pdf", "checklist.pdf", "patient.pdf", "measurements.dcm",
    "sheet.dcm", "laboratory.pdf",
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("only", ["", "sheet", "record"])
def test_what_is_written(only, tmp_path, capsys):
    plan = sample_volumes.path("lower_left_36.plan.json")
    scan = sample_volumes.path("lower_left_36")
    wanted = ["--only", only] if only else []
    arguments = ["sheet", str(plan), "--scan", str(scan), "--out", str(tmp_path), *wanted]
    assert run(arguments) == 0
    names = {p.name for p in tmp_path.iterdir()}
    meshes = {n for n in names if n.endswith(".stl")}
    assert names - meshes == (SHEET if only != "record" else set()) | (
        RECORD if only != "sheet" else set()
    )
    assert bool(meshes) is (only != "sheet")
    told = capsys.readouterr().out
    assert "This is no clearance for surgery." in told
    assert all(name in told for name in names)


def test_an_unknown_part_is_told_in_one_line(capsys):
    assert run(["sheet", "p", "--scan", "s", "--out", "o", "--only", "film"]) == 2
    assert "--only" in capsys.readouterr().err
