"""Whole files or none; every refusal in plain words and without leftovers."""

from __future__ import annotations

import errno
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from core import atomic
from core.atomic import write_together, write_whole
from core.errors import OutputError


def refused(path, data=b"new") -> OutputError:
    with pytest.raises(OutputError) as caught:
        write_whole(path, data)
    assert "Nothing was written" in str(caught.value) or "untouched" in str(caught.value)
    assert str(path) in str(caught.value)
    return caught.value


def test_writes_and_replaces(tmp_path):
    path = tmp_path / "a.json"
    write_whole(path, b"one")
    write_whole(str(path), b"two")
    assert path.read_bytes() == b"two"
    assert [p.name for p in tmp_path.iterdir()] == ["a.json"]


def test_only_what_is_to_last_waits_for_the_disk(tmp_path, monkeypatch):
    flushed = []
    monkeypatch.setattr(atomic.os, "fsync", flushed.append)
    write_whole(tmp_path / "a", b"one", lasting=False)
    assert flushed == []
    assert (tmp_path / "a").read_bytes() == b"one"
    write_whole(tmp_path / "b", b"two")
    assert len(flushed) == (2 if os.name == "posix" else 1)  # the file, and its folder


@pytest.mark.skipif(os.name != "posix", reason="file modes are POSIX")
def test_the_file_has_the_users_ordinary_rights(tmp_path):
    (tmp_path / "plain").write_bytes(b"")
    write_whole(tmp_path / "a.json", b"one")
    modes = {stat.S_IMODE((tmp_path / n).stat().st_mode) for n in ("plain", "a.json")}
    assert len(modes) == 1


def test_a_link_is_refused_and_its_target_left_alone(tmp_path):
    target = tmp_path / "theirs.json"
    target.write_bytes(b"theirs")
    link = tmp_path / "mine.json"
    link.symlink_to(target)
    assert refused(link).code == "output-link"
    assert target.read_bytes() == b"theirs"
    assert link.is_symlink()
    dangling = tmp_path / "dangling.json"
    dangling.symlink_to(tmp_path / "nowhere")
    assert refused(dangling).code == "output-link"
    assert not (tmp_path / "nowhere").exists()


def test_missing_folder_folder_and_file_as_folder(tmp_path):
    assert refused(tmp_path / "none" / "a.json").code == "output-no-folder"
    assert refused(tmp_path).code == "output-is-folder"
    (tmp_path / "file").write_bytes(b"x")
    assert refused(tmp_path / "file" / "a.json").code == "output-no-folder"


@pytest.mark.parametrize(
    ("number", "code"),
    [
        (errno.ENOSPC, "output-disk-full"),
        (errno.EDQUOT, "output-disk-full"),
        (errno.EROFS, "output-forbidden"),
        (errno.EACCES, "output-forbidden"),
        (errno.EIO, "output-failed"),
    ],
)
@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_fault_on_the_way_leaves_the_old_file_and_nothing_else(
    tmp_path, monkeypatch, number, code, step
):
    path = tmp_path / "a.json"
    path.write_bytes(b"old")

    def fail(*_):
        raise OSError(number, os.strerror(number))

    if step == "fsync":
        monkeypatch.setattr(atomic.os, "fsync", fail)
    else:
        monkeypatch.setattr(Path, "replace", fail)
    assert refused(path).code == code
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.json"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_really_full_disk(monkeypatch):
    # The device answers every write as a full disk does.
    real = os.open
    monkeypatch.setattr(
        atomic.os, "open", lambda path, flags, mode=0: real("/dev/full", os.O_WRONLY)
    )
    with pytest.raises(OutputError) as caught:
        write_whole("/nowhere-at-all/a.json", b"x" * 100)
    assert caught.value.code == "output-disk-full"


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_read_only_folder(tmp_path):
    folder = tmp_path / "locked"
    folder.mkdir()
    folder.chmod(0o500)
    try:
        assert refused(folder / "a.json").code == "output-forbidden"
    finally:
        folder.chmod(0o700)


def test_a_process_killed_while_writing_leaves_the_old_file(tmp_path):
    path = tmp_path / "a.json"
    path.write_bytes(b"old")
    script = (
        "import os\n"
        "from core import atomic\n"
        "atomic.os.fsync = lambda _: os._exit(9)\n"
        f"atomic.write_whole({str(path)!r}, b'new')\n"
    )
    root = Path(__file__).parents[2]
    done = subprocess.run([sys.executable, "-c", script], cwd=root, check=False)
    assert done.returncode == 9
    assert path.read_bytes() == b"old"


SET = [("a.pdf", b"new a"), ("b.csv", b"new b"), ("c.png", b"new c")]


def texts(folder):
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.is_file()}


def test_a_set_appears_whole_in_a_new_folder(tmp_path):
    paths = write_together(tmp_path / "deep" / "out", SET)
    assert [p.read_bytes() for p in paths] == [data for _, data in SET]
    assert [p.name for p in (tmp_path / "deep").iterdir()] == ["out"]
    assert {p.name for p in (tmp_path / "deep" / "out").iterdir()} == dict(SET).keys()


def test_a_set_replaces_an_older_one_and_leaves_the_rest(tmp_path):
    for name in ("a.pdf", "b.csv", "letter.txt"):
        (tmp_path / name).write_bytes(b"old " + name.encode())
    write_together(tmp_path, SET)
    assert texts(tmp_path) == dict(SET) | {"letter.txt": b"old letter.txt"}
    assert not list(tmp_path.glob(".*"))


@pytest.mark.parametrize("links", [True, False], ids=["hard links", "no hard links"])
@pytest.mark.parametrize("at", [0, 1, 2])
def test_a_file_that_cannot_be_replaced_brings_the_older_set_back(tmp_path, monkeypatch, at, links):
    for name in ("a.pdf", "b.csv"):
        (tmp_path / name).write_bytes(b"old " + name.encode())
    before = texts(tmp_path)
    real = Path.replace

    def held(self, target):
        # As where another program holds the file open: only the new file's rename fails.
        if Path(target).name == SET[at][0] and self.read_bytes().startswith(b"new"):
            raise PermissionError(errno.EACCES, "held open")
        return real(self, target)

    def no_links(self, target):
        raise OSError(errno.EPERM, "no hard links here")

    monkeypatch.setattr(Path, "replace", held)
    if not links:
        monkeypatch.setattr(Path, "hardlink_to", no_links)
    with pytest.raises(OutputError) as caught:
        write_together(tmp_path, SET)
    assert caught.value.code == "output-forbidden"
    assert SET[at][0] in str(caught.value)
    assert texts(tmp_path) == before
    assert not list(tmp_path.glob(".*"))


def test_a_set_is_refused_before_anything_is_written(tmp_path):
    theirs = tmp_path / "theirs"
    theirs.write_bytes(b"theirs")
    out = tmp_path / "out"
    out.mkdir()
    (out / "c.png").symlink_to(theirs)
    with pytest.raises(OutputError) as caught:
        write_together(out, SET)
    assert caught.value.code == "output-link"
    assert [p.name for p in out.iterdir()] == ["c.png"]
    for place in (theirs, theirs / "deeper"):
        with pytest.raises(OutputError) as caught:
            write_together(place, SET)
        assert caught.value.code == "output-folder"
    assert theirs.read_bytes() == b"theirs"


@pytest.mark.skipif(os.name != "posix", reason="no such signal")
@pytest.mark.parametrize("fresh", [True, False], ids=["new folder", "over an older set"])
def test_a_set_survives_a_kill_at_any_step(tmp_path, fresh):
    """Killed at each flush, link and rename in turn; between the renames both sets may be seen."""
    script = (
        "import os, signal, sys, pathlib\n"
        "from core import atomic\n"
        "left = int(sys.argv[1])\n"
        "def dying(real):\n"
        "    def step(*given):\n"
        "        global left\n"
        "        left -= 1\n"
        "        if left < 0:\n"
        "            os.kill(os.getpid(), signal.SIGKILL)\n"
        "        return real(*given)\n"
        "    return step\n"
        "atomic.os.fsync = dying(os.fsync)\n"
        "for name in ('replace', 'rename', 'hardlink_to'):\n"
        "    setattr(pathlib.Path, name, dying(getattr(pathlib.Path, name)))\n"
        f"atomic.write_together(sys.argv[2], {SET!r})\n"
    )
    root = Path(__file__).parents[2]
    seen = []
    for steps in range(40):
        out = tmp_path / str(steps)
        if not fresh:
            out.mkdir()
            for name, _ in SET:
                (out / name).write_bytes(b"old " + name.encode())
        done = subprocess.run(
            [sys.executable, "-c", script, str(steps), str(out)], cwd=root, check=False
        )
        found = texts(out) if out.exists() else {}
        new = [name for name, data in SET if found.get(name) == data]
        if fresh:
            assert new in ([], list(dict(SET)))
        else:
            rest = [name for name in found if name not in new]
            assert all(found[name] == b"old " + name.encode() for name in rest)
            assert set(found) == set(dict(SET))
            kept = {p.name.removesuffix(".old") for p in out.glob(".*.part/*.old")}
            assert done.returncode == 0 or set(new) <= kept, "an older file was lost"
        seen.append(len(new))
        if done.returncode == 0:
            break
    assert done.returncode == 0
    assert seen[0] == 0
    assert seen[-1] == len(SET)
    assert len(seen) > 4
