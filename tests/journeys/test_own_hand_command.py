"""A repeat study on the command line: the marks of a plan counted by it, and whose hand it is."""

from __future__ import annotations

import json
from dataclasses import replace

import sample_volumes
from app.cli.command_line import run
from tests.core.trust.test_repeatability import study

PLAN = str(sample_volumes.path("lower_left_36.plan.json"))
SCAN = str(sample_volumes.path("lower_left_36"))


def written(folder, **how):
    file = folder / "study.json"
    file.write_text(json.dumps(replace(study(**how), at="2026-09-14T09:00:00").to_json()), "utf-8")
    return str(file)


def terms_of(path, row="36/clearance/canal-left"):
    rows = json.loads(path.read_text("utf-8"))["measurements"]
    return {t["term"]: t for t in next(r for r in rows if r["id"] == row)["budget"]}


def test_marks_count_by_the_study_and_the_budget_names_it(tmp_path, capsys):
    out = tmp_path / "ledger.json"
    file = written(tmp_path, sd=0.6)
    assert run(["measure", PLAN, "--scan", SCAN, "--hand", file, "--json", str(out)]) == 0
    printed = " ".join(capsys.readouterr().out.split())
    assert "LM's own repeat study of 2026-09-14" in printed
    own = terms_of(out)
    assert run(["measure", PLAN, "--scan", SCAN, "--json", str(out)]) == 0
    usual = terms_of(out)
    assert "own repeat study of LM, 2026-09-14" in own["placement"]["source"]
    assert "n = " in own["placement"]["source"]
    assert "Tomasi" in usual["placement"]["source"]
    assert own["placement"]["u"] > 1.2 * usual["placement"]["u"]
    assert "voxel" not in own


def test_of_two_people_one_is_named(tmp_path, capsys):
    file = written(tmp_path, people=("LM", "AK"))
    assert run(["measure", PLAN, "--scan", SCAN, "--hand", file]) == 2
    told = capsys.readouterr().err
    assert "LM, AK" in told
    assert "--person" in told
    assert run(["measure", PLAN, "--scan", SCAN, "--hand", file, "--person", "XX"]) == 2


def test_what_is_no_study_is_refused_in_a_sentence(tmp_path, capsys):
    file = tmp_path / "study.json"
    file.write_text("{}", "utf-8")
    assert run(["measure", PLAN, "--scan", SCAN, "--hand", str(file)]) == 2
    assert "no repeat study that can be read" in capsys.readouterr().err
    assert run(["measure", PLAN, "--scan", SCAN, "--hand", written(tmp_path, rounds=1)]) == 2
    assert "only one reading" in capsys.readouterr().err
