"""Windows that ask for files begin where the last one ended, never in the program's own folder."""

from pathlib import Path

import pytest
from PySide6.QtWidgets import QFileDialog, QWidget

from app.widgets import file_windows
from app.widgets.file_windows import ask_folder, ask_new_folder, ask_save


@pytest.fixture
def windows(monkeypatch, qtbot):
    """A window, where each dialog began, and what it answers."""
    monkeypatch.setattr(file_windows, "_last", {})
    begun, answers = [], []

    def folder(_parent, _title, at):
        begun.append(Path(at))
        return answers.pop(0)

    def save(_parent, _title, at, _filters, **_how):
        begun.append(Path(at))
        return answers.pop(0), ""

    monkeypatch.setattr(QFileDialog, "getExistingDirectory", folder)
    monkeypatch.setattr(QFileDialog, "getSaveFileName", save)
    window = QWidget()
    qtbot.addWidget(window)
    return window, begun, answers


def test_the_next_scan_is_looked_for_beside_the_last_and_no_window_in_the_program(
    windows, tmp_path, monkeypatch
):
    window, begun, answers = windows
    monkeypatch.chdir(tmp_path)
    export = tmp_path / "exports" / "one"
    export.mkdir(parents=True)
    answers += [str(export), "", ""]
    assert ask_folder(window, "Scan", "scan") == str(export)
    assert begun[-1] not in {tmp_path, Path()}
    assert begun[-1].is_dir()
    assert ask_folder(window, "Scan", "scan") == ""
    assert begun[-1] == export.parent
    ask_folder(window, "Record", "record")
    assert begun[-1] not in {tmp_path, export.parent}


def test_a_record_is_written_where_the_last_one_was(windows, tmp_path):
    window, begun, answers = windows
    answers += [str(tmp_path), str(tmp_path / "profile.csv")]
    ask_folder(window, "Record", "record")
    ask_save(window, "Profile", "record", "profile.csv", "CSV (*.csv)")
    assert begun[-1] == tmp_path / "profile.csv"


def test_a_folder_that_is_gone_is_not_begun_in(windows, tmp_path):
    window, begun, answers = windows
    gone = tmp_path / "stick"
    answers += [str(gone), ""]
    ask_folder(window, "Record", "record")
    ask_folder(window, "Record", "record")
    assert begun[-1] != gone
    assert begun[-1].is_dir()


def test_a_new_folder_is_offered_where_the_last_one_was(windows, tmp_path):
    window, begun, answers = windows
    answers += [str(tmp_path / "sets" / "one"), str(tmp_path / "sheet.pdf"), ""]
    (tmp_path / "sets").mkdir()
    (tmp_path / "sheet.pdf").write_bytes(b"")

    def propose(within):
        return within / "sounding-36"

    made = ask_new_folder(window, "Save to", "record", propose)
    assert made == str(tmp_path / "sets" / "one")
    assert begun[-1].name == "sounding-36"
    # A file of a folder that is there stands for its folder.
    assert ask_new_folder(window, "Save to", "record", propose) == str(tmp_path)
    assert begun[-1] == tmp_path / "sets" / "sounding-36"
    assert ask_new_folder(window, "Save to", "record", propose) == ""
