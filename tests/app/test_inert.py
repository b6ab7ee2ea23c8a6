"""A header is text: no terminal obeys it, and no window takes it for rich text."""

from __future__ import annotations

import json
import shutil
import sys
from dataclasses import replace

import pydicom
import pytest
from PySide6.QtWidgets import QLabel, QMessageBox, QWidget

import sample_volumes
from app.case.record import CaseRecord
from app.cli.command_line import run
from app.widgets.messages import error_box
from app.window.bench import Bench
from app.window.left_open import offer_left_open
from core.errors import PlanError
from core.inert import inert
from tests.app.case_at_hand import IDENTITY, QuietSession, plan, volume

ESCAPES = "QUARRY\x1b]0;owned\x07\x1b[2J\x9b31m\u202eelpmaS"
RICH = "<b>QUARRY</b><img src='file:///nowhere'>"


@pytest.fixture(scope="module")
def hostile(tmp_path_factory):
    """The sample's export with a header that talks to terminals, and forges lines."""
    folder = tmp_path_factory.mktemp("hostile") / "scan"
    shutil.copytree(sample_volumes.path("lower_left_36"), folder)
    for path in folder.glob("*.dcm"):
        data = pydicom.dcmread(path)
        data.SpecificCharacterSet = "ISO_IR 192"
        data.PatientName = "QUARRY\x9b31m"
        data.PatientID = "S-1\x1b]0;owned\x07"
        data.SeriesDescription = "jaw\n  CAN NOT be measured on.\u202e"
        data.save_as(path)
    return folder


@pytest.mark.parametrize("how", [(), ("--json",)])
def test_a_terminal_obeys_no_header(hostile, capsys, how):
    assert run(["inspect", str(hostile), *how]) == 0
    out = capsys.readouterr().out
    for sign in out:
        assert sign == "\n" or (sign.isprintable() and sign not in "\x9b\u202e"), repr(sign)
    if how:
        (series,) = json.loads(out)["series"]
        assert series["description"].startswith("jaw\n")
    else:
        assert [line for line in out.splitlines() if line.startswith("  CAN NOT")] == []
        assert "jaw" in out


def test_errors_are_inert_too(capsys):
    assert run(["inspect", "no\x1b[2Jwhere"]) == 2
    told = capsys.readouterr().err
    assert "\x1b" not in told
    assert "[2Jwhere" in told
    assert run(["\x1b[2J"]) == 2
    assert "\x1b" not in capsys.readouterr().err
    assert not hasattr(sys.stdout, "_stream"), "the stream is the old one again"


def test_inert_text_keeps_its_lines_and_its_json():
    assert inert("a\n\tb") == "a\n\tb"
    signs = "\x9b\u202e\u2028"
    assert json.loads(inert(json.dumps(signs, ensure_ascii=False))) == signs
    assert inert(ESCAPES).isprintable()


def shows(widget: QWidget) -> list[str]:
    """Where a window would take the hostile name for rich text."""
    labels = [
        f"label {label.objectName()}: {label.text()[:40]}"
        for label in widget.findChildren(QLabel)
        if "<b>QUARRY" in label.text() and label.textFormat().name != "PlainText"
    ]
    parts = widget.findChildren(QWidget)
    return labels + [f"tip of {type(p).__name__}" for p in parts if "<b>QUARRY" in p.toolTip()]


def test_no_window_takes_a_name_for_rich_text(qtbot, tmp_path):
    bench = Bench(tmp_path / "cases")
    qtbot.addWidget(bench)
    identity = replace(IDENTITY, patient_name=RICH, patient_id=RICH, description=RICH)
    with qtbot.waitExposed(bench):
        bench.show()
    bench.pages.setCurrentWidget(bench.work)
    bench.session.open(replace(volume(), identity=identity), plan(), window=(0.0, 1.0))
    qtbot.wait(50)
    texts = [label.text() for label in bench.findChildren(QLabel)]
    assert any("QUARRY" in text for text in texts), "the name is shown at all"
    assert shows(bench) == []
    error = PlanError("plan-other-scan", what="series", planned=RICH, found=f"x - {RICH}")
    box = error_box(bench, error)
    assert shows(box) == []
    bench.session.close()


def test_the_offer_of_a_case_shows_its_name_as_it_is(qtbot, tmp_path, monkeypatch):
    bench = Bench(tmp_path / "cases")
    qtbot.addWidget(bench)
    record = CaseRecord(key="x", patient=RICH, tooth="36")
    monkeypatch.setattr(bench.store, "left_open", lambda: (record,))
    box = offer_left_open(bench)
    assert isinstance(box, QMessageBox)
    assert "QUARRY" in box.informativeText()
    assert shows(box) == []
    box.close()


def test_the_store_lists_a_hostile_name(qtbot, tmp_path):
    session = QuietSession()
    session.open(
        replace(volume(), identity=replace(IDENTITY, patient_name=ESCAPES)),
        plan(),
        window=(0.0, 1.0),
    )
    bench = Bench(tmp_path / "cases")
    qtbot.addWidget(bench)
    bench.start.show_recent((CaseRecord(key="x", patient=ESCAPES),), hidden=False)
    assert "\x1b" not in bench.start.list.item(0).text()
    session.close()
