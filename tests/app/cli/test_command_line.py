"""Every end of a command: status, one plain sentence, no traceback."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from app.background import log_setup
from app.cli import command_line
from app.cli.command_line import guarded, run
from core.errors import ScanError
from tests.watchdog import PATIENCE

ROOT = Path(__file__).parents[3]
HELP_AND_A_SIGN = "from app.cli.command_line import run; run(['--help']); print('≥ 2')"


def raising(error):
    def work():
        raise error

    return work


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["bogus"],
        ["inspect"],
        ["measure", "plan.json"],
        ["section", "p", "--scan", "s", "--station", "wide", "--out", "o.png"],
        ["inspect", "a", "b"],
    ],
)
def test_a_wrong_command_is_told_in_one_line(arguments, capsys):
    assert run(arguments) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.endswith("--help'.\n")
    assert err.count("\n") == 1


def test_help_and_version_end_well(capsys):
    assert run(["--help"]) == 0
    text = capsys.readouterr().out
    for name in ("inspect", "measure", "sheet", "section", "open", "demo"):
        assert f"    {name} " in text
    assert "no treatment decision" in " ".join(text.split())
    assert run(["--version"]) == 0
    assert capsys.readouterr().out.startswith("Sounding ")


def test_every_command_of_the_parser_is_carried_out_somewhere():
    from app.cli import commands

    choices = command_line.parser()._subparsers._group_actions[0].choices
    assert {n for n in choices if not callable(getattr(commands, n, None))} == set()


def test_a_refusal_is_a_sentence_and_status_2(capsys, monkeypatch):
    monkeypatch.setattr(ScanError, "__str__", lambda self: "The folder is empty. Choose another.")
    assert guarded(raising(ScanError("empty"))) == 2
    out, err = capsys.readouterr()
    assert (out, err) == ("", "The folder is empty. Choose another.\n")


def test_too_little_memory_is_a_sentence_and_status_2(capsys):
    assert guarded(raising(MemoryError())) == 2
    assert "too little free memory" in capsys.readouterr().err


def test_a_fault_is_short_and_its_details_are_logged(capsys, monkeypatch, tmp_path):
    log = tmp_path / "logs" / "faults.log"
    monkeypatch.setattr(command_line, "log_file", lambda: log)
    assert guarded(raising(ZeroDivisionError("deep inside"))) == 1
    err = capsys.readouterr().err
    assert "Traceback" not in err
    assert err.count("\n") == 1
    assert str(log) in err
    details = log.read_text("utf-8")
    assert "Traceback" in details
    assert "deep inside" in details


def test_details_of_a_fault_are_whole_beside_the_log_without_names(monkeypatch, tmp_path):
    log = tmp_path / "faults.log"
    monkeypatch.setattr(command_line, "log_file", lambda: log)
    kept = log_setup.start_logging(tmp_path / "bench.log")
    try:
        assert guarded(raising(ZeroDivisionError("deep inside"))) == 1
    finally:
        handler = log_setup.log.handlers[-1]
        log_setup.log.removeHandler(handler)
        handler.close()
    assert "deep inside" in log.read_text("utf-8")
    assert kept is not None
    assert "deep inside" not in kept.read_text("utf-8")


def test_a_fault_is_told_where_no_log_can_be_written(capsys, monkeypatch, tmp_path):
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setattr(command_line, "log_file", lambda: tmp_path / "file" / "faults.log")
    assert guarded(raising(ZeroDivisionError("deep inside"))) == 1
    assert "deep inside" in capsys.readouterr().err


def test_an_interrupt_is_no_fault(capsys):
    assert guarded(raising(KeyboardInterrupt())) == 130
    assert capsys.readouterr().err.count("\n") == 1


def test_a_reader_that_has_enough_is_no_fault():
    program = (
        "import sys; from app.cli.command_line import guarded\n"
        "sys.exit(guarded(lambda: [print('x' * 9999) for _ in range(999)]))"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as child:
        child.stdout.readline()
        child.stdout.close()
        assert child.stderr.read() == b""
        assert child.wait(timeout=30 * PATIENCE) == 0


def test_a_narrow_console_never_shows_a_question_mark_for_another_sign():
    """'?' is the sign of *not assessed*."""
    done = subprocess.run(
        [sys.executable, "-c", HELP_AND_A_SIGN],
        cwd=ROOT, capture_output=True, check=True, env={"PYTHONIOENCODING": "ascii"},
    )  # fmt: skip
    assert done.stdout.splitlines()[-1] == b"\\u2265 2"


def test_the_bench_without_its_parts_is_a_sentence():
    """Where Qt is not installed; hidden here as in the runs without Qt."""
    program = (
        "import sys; sys.modules['PySide6'] = None; from app.cli.command_line import run\n"
        "sys.exit(run(['open']))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert done.stderr.startswith("The bench's window parts are not installed")
    assert done.stderr.count("\n") == 1
