"""Many cases: the same file whatever the number of workers, faults as rows, resumed, bounded."""

from __future__ import annotations

import csv
import json
import os
import threading
from dataclasses import fields, replace

import pandas as pd
import pytest

from app.cli.command_line import run
from app.studies import run as run_module
from app.studies import table as table_module
from app.studies.cases import read_cases
from app.studies.one_case import measured_rows
from app.studies.run import run_study
from app.studies.table import COLUMNS
from app.studies.workers import on_processes
from core.errors import SoundingError
from core.image.volume import ScanIdentity
from core.sheet.csv_table import ledger_rows
from tests.core.scan.make_dicom import series, voxels, write_series
from tests.sheet_material import fixture_at, ledger_of, plan_with

FIXTURE = {
    "id": "36", "tooth": "36", "platform": [10.0, 10.0, 12.0], "towards_apex": [0, 0, -1],
    "size": {"diameter_mm": 4.0, "length_mm": 6.0},
}  # fmt: skip
ARCH = [[-20, 40, 13], [-12, 18, 13], [10, 10, 13], [32, 18, 13], [40, 40, 13]]
CANAL = {"id": "canal-left", "kind": "canal", "diameter_mm": 2.0}


def write_plan(path, *, depth):
    points = [[0.5, 10, depth], [7, 10.1, depth], [13, 10, depth], [19, 10.1, depth]]
    document = {
        "format": "sounding-plan", "version": 1, "jaw": "lower",
        "level": {"origin": [10, 10, 13], "up": [0, 0, 1]}, "midline": [-12, 18, 13],
        "arch": {"points": ARCH, "starts": "first"},
        "structures": [CANAL | {"points": points}], "fixtures": [FIXTURE],
    }  # fmt: skip
    path.write_text(json.dumps(document))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Three plans on one small scan, a plan without a scan, a broken plan, a scan that is none."""
    made = tmp_path_factory.mktemp("cases")
    stored = voxels((30, 40, 40))
    write_series(
        made / "scan",
        series(stored, origin=(0.0, 0.0, 0.0), spacing=(0.5, 0.5), step=0.5),
    )
    for number, depth in enumerate((2.0, 2.5, 3.0), start=1):
        write_plan(made / f"c{number}.plan.json", depth=depth)
    (made / "broken.plan.json").write_text("{")
    (made / "empty").mkdir()
    lines = ["plan,scan,case", "c2.plan.json,scan,second", "c1.plan.json,scan,first",
             "c3.plan.json,scan,", "broken.plan.json,scan,", "c1.plan.json,empty,no slices",
             "c1.plan.json,nowhere,nowhere"]  # fmt: skip
    (made / "cases.csv").write_text("\n".join(lines) + "\n")
    return made


@pytest.fixture(scope="module")
def first(folder, tmp_path_factory):
    """The study with one worker."""
    out = tmp_path_factory.mktemp("one") / "study.parquet"
    told = []
    done = run_study(
        read_cases(folder / "cases.csv"), out, workers=1, memory_mb=4000,
        progress=lambda *step: told.append(step),
    )  # fmt: skip
    return out, done, told


def test_rows_are_those_of_each_case_in_the_order_of_the_list(first, folder):
    out, done, told = first
    table = pd.read_parquet(out)
    assert tuple(table.columns) == COLUMNS
    names = list(dict.fromkeys(table["case"]))
    assert names == ["second", "first", "c3", "broken", "no slices", "nowhere"]
    good = table[table["fault_code"].isna()]
    near = good[good["id"] == "36/clearance/canal-left"]
    assert len(near) == 3
    # The canal lies ever higher: the apex is at 6.0, its upper wall 1.0 above its middle.
    values = near.set_index("case")["value"]
    assert values["first"] > values["second"] > values["c3"]
    assert values["first"] == pytest.approx(6.0 - 3.0, abs=0.1)
    assert told == [(n, 6) for n in range(1, 7)]
    assert (done.measured, done.before, done.rows) == (6, 0, len(table))
    assert not out.with_name("study.parquet.parts").exists()


def test_a_fault_is_a_row_with_its_reason(first):
    out, done, _ = first
    table = pd.read_parquet(out)
    faults = table[table["fault_code"].notna()].set_index("case")
    assert set(faults.index) == {"broken", "no slices", "nowhere"}
    assert faults["value"].isna().all()
    assert faults.loc["nowhere", "fault_code"] == "input-missing"
    assert all(len(text) > 30 for text in faults["fault"])
    assert dict(done.faults) == faults["fault"].to_dict()


def test_neither_id_nor_birth_date_is_in_the_table(first):
    assert not {"patient_id", "birth_date"} & set(pd.read_parquet(first[0]).columns)
    assert b"19700102" not in first[0].read_bytes()


def test_no_column_of_a_study_tells_who_the_patient_is():
    """Every field of a scan's identity is a word of its own; only date and series may come out."""
    ledger = ledger_of(plan_with(fixture_at(15.0, "36")))
    texts = [f.name for f in fields(ScanIdentity) if isinstance(getattr(ledger.scan, f.name), str)]
    scan = replace(ledger.scan, **{name: f"whose {name}" for name in texts})
    for row in ledger_rows(replace(ledger, scan=scan), signed=False):
        told = {row[name] for name in COLUMNS if str(row.get(name)).startswith("whose")}
        assert told == {"whose study_date", "whose series_uid"}


def test_two_workers_give_the_same_file_as_one(first, folder, tmp_path):
    out = tmp_path / "study.parquet"
    run_study(read_cases(folder / "cases.csv"), out, workers=2, memory_mb=4000)
    assert out.read_bytes() == first[0].read_bytes()


def test_what_was_stopped_goes_on_and_faults_are_tried_again(first, folder, tmp_path, monkeypatch):
    out = tmp_path / "study.parquet"
    cases = read_cases(folder / "cases.csv")

    def stop(done, total):
        if done == 4:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_study(cases, out, workers=1, memory_mb=4000, progress=stop)
    assert not out.exists()
    assert len(list((tmp_path / "study.parquet.parts").iterdir())) == 4
    measured = []
    real = run_module.on_processes

    def watched(waiting, **more):
        measured.extend(case.name for case in waiting)
        return real(waiting, **more)

    monkeypatch.setattr(run_module, "on_processes", watched)
    done = run_study(cases, out, workers=1, memory_mb=4000)
    assert measured == ["broken", "no slices", "nowhere"]
    assert (done.measured, done.before) == (3, 3)
    assert out.read_bytes() == first[0].read_bytes()


def test_another_plan_is_another_case(folder, tmp_path):
    (case,) = (c for c in read_cases(folder / "cases.csv") if c.name == "first")
    before = case.key
    assert case.key == before
    old = case.plan.read_bytes()
    write_plan(case.plan, depth=2.2)
    assert case.key != before
    case.plan.write_bytes(old)
    assert case.key == before


def dies(case):
    os._exit(9)


def hungry(case):
    try:
        return [{"case": case.name, "held": len(bytearray(3_000_000_000))}]
    except MemoryError:
        return [{"case": case.name, "held": 0}]


def test_a_worker_that_dies_costs_its_case_and_nothing_else(folder):
    cases = read_cases(folder / "cases.csv")[:2]
    found = list(on_processes(cases, workers=2, memory_mb=4000, measure=dies))
    assert {case.name for case, _ in found} == {"second", "first"}
    assert {row["fault_code"] for _, (row,) in found} == {"study-worker-died"}
    assert threading.active_count() < 10


@pytest.mark.skipif(os.name != "posix", reason="the system bounds no process")
def test_a_workers_memory_is_bounded(folder):
    cases = read_cases(folder / "cases.csv")[:1]
    ((_, (row,)),) = on_processes(cases, workers=1, memory_mb=2000, measure=hungry)
    assert row["held"] == 0


def test_a_running_dask_cluster_gives_the_same_file(first, folder, tmp_path):
    distributed = pytest.importorskip("distributed")
    out = tmp_path / "study.parquet"
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None,
        host="127.0.0.1", protocol="tcp",
    ) as cluster:  # fmt: skip
        address = cluster.scheduler_address
        assert address.startswith("tcp://127.0.0.1:")
        asked = ["study", str(folder / "cases.csv"), "--out", str(out), "--quiet"]
        assert run([*asked, "--scheduler", address]) == 0
    assert out.read_bytes() == first[0].read_bytes()


def test_no_cluster_is_told(folder, tmp_path, monkeypatch, capsys):
    pytest.importorskip("distributed")
    monkeypatch.setattr("app.studies.cluster.PATIENCE_S", 1)
    asked = ["study", str(folder / "cases.csv"), "--out", str(tmp_path / "s.parquet")]
    assert run([*asked, "--scheduler", "tcp://127.0.0.1:1"]) == 2
    assert "No Dask cluster answers" in capsys.readouterr().err


def test_a_folder_pairs_a_plan_with_the_scan_of_its_name(tmp_path):
    (tmp_path / "a").mkdir()
    for name in ("a", "b", "c"):
        (tmp_path / f"{name}.plan.json").write_text("{}")
    (tmp_path / "b.zip").write_bytes(b"")
    cases = read_cases(tmp_path)
    assert [(c.name, c.scan_path) for c in cases] == [("a", "a"), ("b", "b.zip"), ("c", "")]
    (row,) = measured_rows(cases[2])
    assert row["fault_code"] == "study-no-scan"


@pytest.mark.parametrize(
    ("text", "words"),
    [("plan,scan\n,x\n", "row 2 lacks"), ("plan,scan\na,b\na,c\n", "stands twice"),
     ("a,b\nx,y\n", "row 2 lacks"), ("plan,scan\n", "names no case")],
)  # fmt: skip
def test_a_list_that_is_none_is_refused(tmp_path, text, words):
    (tmp_path / "cases.csv").write_text(text)
    with pytest.raises(SoundingError, match=words):
        read_cases(tmp_path / "cases.csv")


def test_csv_needs_no_optional_part_and_an_unknown_form_is_told_first(
    folder, tmp_path, monkeypatch, capsys
):
    monkeypatch.setattr(table_module, "find_spec", lambda _name: None)
    one = tmp_path / "one.csv"
    one.write_text(f"plan,scan\n{folder / 'c1.plan.json'},{folder / 'scan'}\n")
    asked = ["study", str(one), "--workers", "1", "--out"]
    assert run([*asked, str(tmp_path / "s.parquet")]) == 2
    assert "Parquet is not installed" in capsys.readouterr().err
    assert run([*asked, str(tmp_path / "s.xlsx")]) == 2
    assert "neither in .parquet nor in .csv" in capsys.readouterr().err
    assert run([*asked, str(tmp_path / "s.csv")]) == 0
    assert "1 cases (0 measured before, 0 not measurable)" in capsys.readouterr().out
    text = (tmp_path / "s.csv").read_text("utf-8-sig")
    assert len(list(csv.DictReader(text.splitlines()))) > 3
