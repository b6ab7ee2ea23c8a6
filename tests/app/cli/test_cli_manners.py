"""Manners of the command line: progress, quiet, JSON to a pipe, help, completion, missing files."""

from __future__ import annotations

import io
import json
import shutil
import subprocess
import sys
from dataclasses import replace

import pytest

from app.archive.sending import Sent
from app.cli import commands
from app.cli.command_line import InertStream, run
from app.cli.completion import SHELLS, commands_of, script
from app.cli.parser import DEPTHS_FROM, parser
from app.cli.progress import Progress
from app.studies.run import Done
from core.distances.drilling import ORIGINS
from core.errors import SoundingError
from core.measuring.basis import Basis
from core.sheet.folder import Written
from tests.sheet_material import fixture_at, ledger_of, plan_with

LEDGER = ledger_of(plan_with(fixture_at(20.0, "36")))
COMMANDS = commands_of(parser())


class Terminal(io.StringIO):
    def isatty(self):
        return True


def shown(text):
    """What a terminal shows of a text with carriage returns."""
    line = ""
    for part in text.split("\r"):
        line = part + line[len(part) :]
    return line.rstrip()


def test_progress_is_written_over_on_a_terminal_and_wiped_away():
    stream = Terminal()
    with Progress(stream) as tell:
        tell.stage("Reading slices")
        tell.count(12, 300)
        assert shown(stream.getvalue()) == "Reading slices 12 of 300"
        tell.stage("Writing")
        tell.share(0.126)
        assert shown(stream.getvalue()) == "Writing 13 %"
    assert shown(stream.getvalue()) == ""
    assert "\n" not in stream.getvalue()


def test_no_progress_in_a_pipe_or_when_it_is_to_be_quiet():
    for stream, quiet in ((io.StringIO(), False), (Terminal(), True)):
        with Progress(stream, quiet=quiet) as tell:
            tell.stage("Reading")
            tell.count(1, 2)
        assert stream.getvalue() == ""


def test_a_name_in_the_line_moves_no_cursor_and_the_line_itself_does():
    stream = Terminal()
    with Progress(InertStream(stream)) as tell:
        tell.stage("evil\x1b[2J\r\n")
    assert "\x1b" not in stream.getvalue()
    assert "\n" not in stream.getvalue()
    assert stream.getvalue().startswith("\r")


@pytest.fixture
def measured(monkeypatch):
    monkeypatch.setattr(commands, "_measured", lambda *_: (None, LEDGER, None))


@pytest.fixture
def case(tmp_path):
    (tmp_path / "a.plan.json").write_text("{}")
    return ["measure", str(tmp_path / "a.plan.json"), "--scan", str(tmp_path)]


def test_json_to_standard_output_is_the_ledger_and_nothing_else(measured, case, capsys):
    assert run([*case, "--json", "-"]) == 0
    out, err = capsys.readouterr()
    assert json.loads(out) == json.loads(LEDGER.to_json())
    assert err == ""


def test_quiet_prints_nothing_beside_what_was_asked_for(measured, case, capsys, tmp_path):
    file = tmp_path / "a.json"
    assert run([*case, "--json", str(file), "--quiet"]) == 0
    assert capsys.readouterr() == ("", "")
    assert json.loads(file.read_text("utf-8"))["format"] == "sounding-ledger"
    assert run([*case, "--quiet"]) == 0
    assert "Vital structures" in capsys.readouterr().out


QUIET = pytest.mark.parametrize("quiet", [[], ["--quiet"]])


@QUIET
def test_what_a_case_cannot_have_is_told_with_quiet_too(
    measured, case, capsys, tmp_path, monkeypatch, quiet
):
    refusal = SoundingError("bench-not-installed")
    written = Written(files=(tmp_path / "sheet.pdf",), removed=(), left_out={"report": refusal})
    monkeypatch.setattr("core.sheet.folder.write_folder", lambda *_, **__: written)
    asked = ["sheet", *case[1:], "--out", str(tmp_path / "out"), *quiet]
    assert run(asked) == 0
    out, err = capsys.readouterr()
    assert err == f"left out: report: {refusal}\n"
    assert (out == "") is bool(quiet)


@QUIET
def test_cases_that_were_not_measured_are_told_with_quiet_too(capsys, tmp_path, monkeypatch, quiet):
    done = Done(measured=1, before=0, rows=0, faults=(("case 7", "no such scan"),))
    monkeypatch.setattr("app.studies.cases.read_cases", lambda _: ["case 7"])
    monkeypatch.setattr("app.studies.run.run_study", lambda *_, **__: done)
    (tmp_path / "cases.csv").write_text("")
    asked = ["study", str(tmp_path / "cases.csv"), "--out", str(tmp_path / "o.csv"), *quiet]
    assert run(asked) == 0
    out, err = capsys.readouterr()
    assert err == "not measured: case 7: no such scan\n"
    assert (out == "") is bool(quiet)


@QUIET
@pytest.mark.parametrize(
    ("commitment", "told"),
    [("confirmed", False), ("not asked", False), ("refused", True), ("not confirmed", True)],
)
def test_what_an_archive_did_not_promise_to_keep_is_told_with_quiet_too(
    capsys, tmp_path, monkeypatch, quiet, commitment, told
):
    sent = Sent(stored=("a.dcm",), before=(), commitment=commitment)
    monkeypatch.setattr("app.archive.sending.send_folder", lambda *_, **__: sent)
    assert run(["send", str(tmp_path), "--to", "A@127.0.0.1:1", *quiet]) == 0
    out, err = capsys.readouterr()
    assert bool(err) is told
    assert (out == "") is bool(quiet)


@pytest.mark.parametrize("environment", [{}, {"NO_COLOR": "1"}])
def test_no_colour_is_ever_printed(measured, case, monkeypatch, environment):
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    out, err = Terminal(), Terminal()
    monkeypatch.setattr(sys, "stdout", out)
    monkeypatch.setattr(sys, "stderr", err)
    assert run(case) == 0
    assert "Vital structures" in out.getvalue()
    assert "\x1b" not in out.getvalue() + err.getvalue()


def test_every_origin_of_depths_can_be_typed_and_reaches_the_plan(case, monkeypatch, tmp_path):
    import core

    assert tuple(name.replace(" ", "-") for name in ORIGINS) == DEPTHS_FROM
    asked = parser().parse_args(
        ["sheet", *case[1:], "--out", str(tmp_path / "out"), "--depth-from", "stent-top"]
    )
    monkeypatch.setattr(core, "load_plan", lambda _: LEDGER.plan)
    monkeypatch.setattr(core, "open_scan", lambda *_, **__: None)
    monkeypatch.setattr(Basis, "of", lambda *_: "basis")
    monkeypatch.setattr(core, "measure", lambda plan, _, *, basis: plan if basis else None)
    _, plan, basis = commands._measured(asked, Progress(io.StringIO(), quiet=True))
    assert plan.depth_from == "stent top"
    assert basis == "basis", "the sheet is written on what was measured on"


def test_a_name_that_no_font_can_print_is_told_on_the_console(capsys):
    """Tagalog's letters (U+1703, U+1707) are in no font that a machine of a practice has."""
    odd = replace(LEDGER.scan, patient_name="Santos^Ana=\u1703\u1707")
    commands._tell_name(replace(LEDGER, scan=odd))
    told = capsys.readouterr()
    assert told.out == ""
    assert "[U+1703] [U+1707]" in told.err
    commands._tell_name(LEDGER)
    assert capsys.readouterr() == ("", "")


@pytest.mark.parametrize("short", ["--sc", "--js", "--quie"])
def test_no_option_may_be_shortened(case, capsys, short):
    asked = [short if word == "--scan" and short == "--sc" else word for word in case]
    if short != "--sc":
        asked += [short] if short == "--quie" else [short, "-"]
    assert run(asked) == 2
    assert capsys.readouterr().err.count("\n") == 1


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_an_example_that_is_a_command_and_its_exit_codes(name, capsys):
    assert run([name, "--help"]) == 0
    text = capsys.readouterr().out
    assert "0 done" in text
    assert "2 the input cannot be used" in text
    examples = [line.strip() for line in text.splitlines() if line.startswith("  sounding ")]
    assert examples
    for example in examples:
        words = example.partition(" | ")[0].partition(" >")[0].split()[1:]
        assert parser().parse_args(words).command == name


@pytest.mark.parametrize(
    "asked",
    [
        ["measure", "gone.plan.json", "--scan", "."],
        ["measure", "pyproject.toml", "--scan", "gone"],
        ["inspect", "gone"],
        ["sheet", "pyproject.toml", "--scan", ".", "--out", "o", "--drills", "gone.csv"],
        ["send", "gone", "--to", "A@b:1"],
        ["study", "gone.csv", "--out", "o.csv"],
    ],
)
def test_a_missing_file_is_called_missing(asked, capsys):
    assert run(asked) == 2
    err = capsys.readouterr().err
    assert err.startswith("There is no file or folder gone")
    assert err.count("\n") == 1


@pytest.mark.parametrize("shell", SHELLS)
def test_completion_knows_every_command_and_option(shell, capsys):
    assert run(["completion", shell]) == 0
    text = capsys.readouterr().out
    for name, (_, options) in COMMANDS.items():
        assert name in text
        for option in options:
            if option.startswith("--"):
                assert option.lstrip("-") in text, option


def complete(words):
    program = (
        f"{script(parser(), 'bash')}\nCOMP_WORDS=({' '.join(words)})\n"
        f"COMP_CWORD={len(words) - 1}\ncompopt() {{ :; }}\n_sounding\n"
        'printf "%s\\n" "${COMPREPLY[@]}"'
    )
    done = subprocess.run(["bash", "-c", program], capture_output=True, text=True, check=True)
    return set(done.stdout.split())


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
def test_bash_completes_commands_and_options():
    assert complete(["sounding", "s"]) == {"sheet", "section", "send", "study", "schema"}
    assert complete(["sounding", "measure", "--s"]) == {"--scan", "--series"}
    assert complete(["sounding", "send", "--no"]) == {"--no-commitment"}


@pytest.mark.parametrize("what", ["table", "ledger", "plan", "settings", "codes"])
def test_schemas_are_printed(what, capsys):
    assert run(["schema", what]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document.get("$schema") or document["designator"] == "99SOUNDING"
