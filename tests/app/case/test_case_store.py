"""Autosave, recovery after a kill, recent cases, full disk: the work is never lost silently."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from app.case.record import ABOUT, PLAN
from app.case.store import CaseStore
from core.errors import OutputError
from core.plans.plan import ScanTie
from core.plans.plan_file import load_plan
from tests.app.case_at_hand import QuietSession, all_saved, plan, volume


def opened(tmp_path):
    session = QuietSession()
    session.open(volume(), plan(), source="the export", window=(0.0, 1.0))
    store = CaseStore(session, tmp_path / "cases")
    store.begin()
    return session, store


def test_every_change_is_on_the_disk(qtbot, tmp_path):
    session, store = opened(tmp_path)
    with qtbot.waitSignal(store.saved):
        session.apply("interpreted", plan(interpreted_by="A reader"))
    kept = load_plan(store.plan_path(store.record))
    assert kept.interpreted_by == "A reader"
    assert all_saved(store)
    (record,) = store.recent()
    assert (record.patient, record.tooth, record.source) == ("QUARRY^Sample", "36", "the export")
    session.close()


def test_no_name_of_a_patient_is_in_a_path(qtbot, tmp_path):
    session, store = opened(tmp_path)
    store.wait()
    paths = " ".join(str(p) for p in store.folder.rglob("*"))
    assert "QUARRY" not in paths
    assert "S-0107" not in paths
    session.close()


def test_the_first_save_holds_the_fingerprint_of_the_voxels(qtbot, tmp_path):
    session, store = opened(tmp_path)
    store.wait()
    tie = load_plan(store.plan_path(store.record)).scan
    assert tie.series_uid == "1.2.3"
    assert tie.fingerprint == session.volume.fingerprint()
    session.close()


def test_work_on_a_scan_that_changed_is_kept_all_the_same(qtbot, tmp_path):
    session = QuietSession()
    made = plan(scan=ScanTie(series_uid="1.2.3", fingerprint="sha256:other"))
    session.open(volume(), made, source="the export", window=(0.0, 1.0))
    store = CaseStore(session, tmp_path / "cases")
    store.begin()
    store.wait()
    assert load_plan(store.plan_path(store.record)).scan.fingerprint == "sha256:other"
    session.close()


def test_undo_is_saved_too(qtbot, tmp_path):
    session, store = opened(tmp_path)
    session.apply("interpreted", plan(interpreted_by="A reader"))
    session.undo_stack.undo()
    qtbot.waitUntil(lambda: all_saved(store))
    assert load_plan(store.plan_path(store.record)).interpreted_by == ""
    session.close()


def test_a_case_closed_in_order_is_not_offered_back(qtbot, tmp_path):
    session, store = opened(tmp_path)
    assert store.finish()
    assert store.left_open() == ()
    (record,) = store.recent()
    assert record.closed
    assert store.plan_of(record).fixtures[0].id == "36"
    session.close()


def test_an_open_case_is_not_offered_to_another_window(qtbot, tmp_path):
    session, store = opened(tmp_path)
    store.wait()
    other = CaseStore(QuietSession(), tmp_path / "cases")
    assert len(other.recent()) == 1
    assert other.left_open() == ()
    session.close()


ROOT = Path(__file__).parents[3]

KILLED = """
import os, sys
os.environ["QT_QPA_PLATFORM"] = "offscreen"
from pathlib import Path
from PySide6.QtWidgets import QApplication
app = QApplication([])
sys.path[:0] = sys.argv[2:]
from app.case.store import CaseStore
from tests.app.case_at_hand import QuietSession, plan, volume
session = QuietSession()
session.open(volume(), plan(), source="the export", window=(0.0, 1.0))
store = CaseStore(session, Path(sys.argv[1]))
store.begin()
session.apply("interpreted", plan(interpreted_by="A reader"))
store.wait()
print("ready", flush=True)
sys.stdin.read()
"""


@pytest.mark.skipif(os.name != "posix", reason="kills as a crash does")
def test_after_a_kill_the_case_is_offered_back_whole(qtbot, tmp_path):
    child = subprocess.Popen(
        [sys.executable, "-c", KILLED, str(tmp_path / "cases"), str(ROOT)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert child.stdout.readline().strip() == "ready"
    other = CaseStore(QuietSession(), tmp_path / "cases")
    assert other.left_open() == (), "it is still open there"
    child.send_signal(signal.SIGKILL)
    child.wait()
    (record,) = other.left_open()
    assert other.plan_of(record).interpreted_by == "A reader"
    other.let_be(record)
    assert other.left_open() == ()


def test_a_full_disk_is_told_with_the_place_and_tried_again(qtbot, tmp_path, monkeypatch):
    session, store = opened(tmp_path)
    qtbot.waitUntil(lambda: all_saved(store))

    def full(path, data, **_how):
        raise OutputError("output-disk-full", path=path)

    monkeypatch.setattr("core.plans.plan_file.write_whole", full)
    with qtbot.waitSignal(store.failed) as told:
        session.apply("interpreted", plan(interpreted_by="A reader"))
    (words,) = told.args
    assert "still in this window" in words
    assert str(store.plan_path(store.record)) in words
    assert session.plan.interpreted_by == "A reader"
    assert not all_saved(store)
    monkeypatch.undo()
    with qtbot.waitSignal(store.saved):
        store.save()
    assert load_plan(store.plan_path(store.record)).interpreted_by == "A reader"
    session.close()


def test_a_folder_that_cannot_be_made_is_told(qtbot, tmp_path):
    (tmp_path / "cases").write_text("in the way", encoding="utf-8")
    session = QuietSession()
    session.open(volume(), plan(), window=(0.0, 1.0))
    store = CaseStore(session, tmp_path / "cases")
    told = []
    store.failed.connect(told.append)
    store.begin()
    qtbot.waitUntil(lambda: len(told) > 1)
    assert "not saved" in told[0]
    assert store.recent() == ()
    session.close()


def test_a_broken_record_is_passed_over(qtbot, tmp_path):
    session, store = opened(tmp_path)
    store.finish()
    broken = store.folder / "broken"
    broken.mkdir()
    (broken / ABOUT).write_text("{", encoding="utf-8")
    (record,) = store.recent()
    store.remove(record)
    assert store.recent() == ()
    assert not (store.folder / record.key / PLAN).exists()
    session.close()


def test_the_record_is_json_that_says_what_it_is(qtbot, tmp_path):
    session, store = opened(tmp_path)
    store.wait()
    about = json.loads((store.folder / store.record.key / ABOUT).read_text(encoding="utf-8"))
    assert about["format"] == "sounding-case"
    assert about["closed"] is False
    session.close()
