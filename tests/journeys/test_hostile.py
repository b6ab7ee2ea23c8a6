"""Input that is damaged or hostile, and places that cannot be written: a refusal or a finding.

No run may end in a traceback, a dead program, a stall over 10 s, twice the memory, or a file
outside the output folder. `tests/hostile` holds the damage and the process that meets it.
"""

from __future__ import annotations

import ctypes
import json
import os
import resource
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.cli.command_line import run
from core import load_plan, measure, open_scan
from core.errors import PlanError, ScanError
from core.image.volume import Volume
from tests.hostile import runs, samples
from tests.watchdog import PATIENCE

ROOT = Path(__file__).parents[2]


def test_three_thousand_runs_are_asked_for():
    assert sum(runs.RUNS.values()) >= 3000
    forms = {"raw", "zip", "DICOMDIR", "plan", *samples.COMPRESSED}
    assert forms <= set(runs.RUNS)


@pytest.mark.slow
@pytest.mark.timeout(2000)
@pytest.mark.parametrize("form", runs.RUNS)
def test_damage_ends_in_a_refusal_or_a_finding(form, tmp_path):
    met = runs.meet(form, tmp_path, runs=runs.RUNS[form])
    assert met.faults(patience=PATIENCE) == []
    # Damage that is never noticed, or always fatal, would test nothing.
    assert len(met.ends) > 1
    assert any(end.startswith("refused") for end in met.ends)
    assert "opened" in met.ends


def test_the_judge_sees_every_kind_of_fault():
    line = {"run": 0, "end": "opened", "damaged": 1, "seconds": 0.1, "mb": 100.0, "strays": []}
    bad = ({"end": "FAULT: KeyError"}, {"seconds": 11.0}, {"mb": 201.0}, {"strays": ["evil"]})
    for change in bad:
        met = runs.Met(
            form="x", wanted=1, lines=(line | change,), undamaged_mb=100.0, status=0, stderr=""
        )
        assert len(met.faults()) == 1
    for died in ({"lines": ()}, {"status": -11}, {"status": None}):
        fine = {"form": "x", "wanted": 1, "lines": (line,), "undamaged_mb": 100.0, "status": 0}
        assert len(runs.Met(**(fine | died), stderr="").faults()) == 1


@pytest.fixture(scope="module")
def scan(tmp_path_factory) -> Path:
    return samples.write_scan("raw", tmp_path_factory.mktemp("scan") / "raw")


@pytest.fixture(scope="module")
def volume(scan) -> Volume:
    return open_scan(scan)


@pytest.fixture(scope="module")
def plan_file(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("plan") / "a.plan.json"
    path.write_text(json.dumps(samples.plain_plan()))
    return path


@settings(max_examples=150)
@given(changes=st.lists(st.tuples(st.integers(0, 1400), st.integers(0, 255)), max_size=12),
       cut=st.integers(0, 1500))  # fmt: skip
def test_any_bytes_in_a_slice(scan, tmp_path_factory, changes, cut):
    folder = tmp_path_factory.mktemp("any")
    for number, file in enumerate(sorted(scan.iterdir())):
        data = bytearray(file.read_bytes())
        if number == 2:
            for place, value in changes:
                data[place] = value
            data = data[: max(cut, 1)] if cut < 1460 else data
        (folder / file.name).write_bytes(data)
    try:
        assert open_scan(folder).voxels.nbytes < 100_000
    except ScanError as refusal:
        assert len(str(refusal)) > 40  # noqa: PT017  (either end is right; neither may be mute)
    finally:
        shutil.rmtree(folder)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=12,
)


@settings(max_examples=120)
@given(key=st.sampled_from(sorted(samples.plan())), value=JSON)
def test_any_value_in_a_plan(volume, tmp_path_factory, key, value):
    path = tmp_path_factory.getbasetemp() / "any.plan.json"
    path.write_text(json.dumps(samples.plan() | {key: value}))
    try:
        ledger = measure(load_plan(path), volume, fine=False)
    except PlanError as refusal:
        assert len(str(refusal)) > 40  # noqa: PT017
    else:
        assert "does not mean it is safe" in ledger.summary


def sounding(*arguments, before=None, folder=ROOT, **environment):
    """One command line as a whole process."""
    return subprocess.run(
        [sys.executable, "-m", "app", *map(str, arguments)],
        capture_output=True, text=True, check=False, timeout=100 * PATIENCE, preexec_fn=before,
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
    )  # fmt: skip


def refused(done) -> str:
    """The one sentence of a refusal."""
    assert done.returncode == 2, done.stderr
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    assert done.stderr.count("\n") == 1
    assert len(done.stderr) > 40
    return done.stderr


def within(capsys, *arguments):
    """One command line in this process, as `sounding` gives it: quicker, and nothing is lost."""
    status = run([*map(str, arguments)])
    said = capsys.readouterr()
    return subprocess.CompletedProcess(arguments, status, stdout=said.out, stderr=said.err)


def test_damaged_input_by_command_line(scan, plan_file, tmp_path, capsys):
    broken = {
        "not.zip": b"PK\x03\x04" + b"\0" * 40,
        "empty": b"",
        "noise": bytes(range(256)) * 20,
        "cut": next(scan.iterdir()).read_bytes()[:600],
        "DICOMDIR": b"\0" * 128 + b"DICM" + b"\xff" * 60,
    }
    for name, data in broken.items():
        lone = tmp_path / f"{name}-alone"
        lone.mkdir()
        (lone / name).write_bytes(data)
        refused(within(capsys, "inspect", lone / name))
    deep = tmp_path / "deep.plan.json"
    deep.write_text("[" * 100_000)
    for bad in (deep, tmp_path / "no-such", scan, next(scan.iterdir())):
        refused(within(capsys, "measure", bad, "--scan", scan, "--json", tmp_path / "ledger.json"))
    # Once as a whole process: a fault on its way out would show there alone.
    refused(sounding("measure", deep, "--scan", scan))
    assert not (tmp_path / "ledger.json").exists()


@pytest.mark.parametrize("form", ["raw", "JPEG-LS", "zip"])
@pytest.mark.parametrize("step", [1, 5, 8, 11])
def test_a_scan_that_vanishes_half_way(form, step, tmp_path):
    """A disc taken out: the folder goes while headers (1 to 6) or pictures (7 to 12) are read."""
    named = samples.write_scan(form, tmp_path / "scan")
    calls = []

    def gone(done, total):
        calls.append(done)
        if len(calls) == step:
            shutil.rmtree(tmp_path / "scan")

    try:
        volume = open_scan(named, progress=gone)
    except ScanError as refusal:
        assert len(str(refusal)) > 40  # noqa: PT017
    else:
        # What was already open can still be read to its end; what could not be read is told.
        whole = open_scan(samples.write_scan(form, tmp_path / "again"))
        lost = volume.made_up
        assert (volume.voxels[~lost] == whole.voxels[~lost]).all()
        assert lost.sum() == 0 or any(f.code == "scan_slices_lost" for f in volume.findings)
    assert len(calls) >= min(step, 7) or form == "zip"


LEDGER = "sheet.ledger.json"
NAMES = {
    "sheet.pdf", "sheet.csv", "sheet.csv.schema.json", "sheet.ledger.schema.json", LEDGER,
    "panorama.png", "section-site-46.png",
}  # fmt: skip


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.is_file()}


@pytest.fixture
def older(tmp_path, volume) -> Path:
    """An output folder with an older sheet of this scan and something of the user's."""
    out = tmp_path / "out"
    out.mkdir()
    for name in (*NAMES, "letter.txt"):
        (out / name).write_text(f"older {name}")
    tie = {"scan": {"series_uid": volume.identity.series_uid}, "plan": {"fingerprint": "older"}}
    (out / LEDGER).write_text(json.dumps(tie))
    return out


def is_older(name: str, data: bytes) -> bool:
    if name == LEDGER:
        return json.loads(data).get("plan") == {"fingerprint": "older"}
    return data == f"older {name}".encode()


def as_before(out: Path) -> bool:
    """Whether the older sheet is whole, and nothing else came."""
    found = contents(out)
    whole = {p.name for p in out.iterdir()} == {*NAMES, "letter.txt"}
    return whole and all(is_older(name, data) for name, data in found.items())


def test_a_full_disk_leaves_the_older_sheet(scan, plan_file, older):
    """Files may grow to 100 kB: the table still fits, the pages do not."""
    done = sounding(
        "sheet", plan_file, "--scan", scan, "--out", older,
        before=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000)),
    )  # fmt: skip
    assert "disk is full" in refused(done)
    assert as_before(older)


@pytest.mark.skipif(sys.platform != "linux" or os.geteuid() != 0, reason="mounting needs root")
def test_a_really_full_disk(scan, plan_file, tmp_path):
    small = tmp_path / "small"
    small.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=300k", "tmpfs", str(small)],
        check=False, capture_output=True,
    )  # fmt: skip
    if mounted.returncode:
        pytest.skip("no file system of one's own can be mounted here")
    try:
        done = sounding("sheet", plan_file, "--scan", scan, "--out", small / "out")
        assert "disk is full" in refused(done)
        assert list(small.iterdir()) == []
    finally:
        subprocess.run(["umount", str(small)], check=True)


def bound_by_permissions() -> None:
    """Let root be bound by file modes: it may no longer override them after the next exec."""
    if os.geteuid() == 0:
        drop_from_bounding_set = 24
        for capability in (1, 2):  # CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH
            ctypes.CDLL(None).prctl(drop_from_bounding_set, capability, 0, 0, 0)


@pytest.mark.skipif(sys.platform != "linux", reason="capabilities are Linux's")
def test_a_read_only_folder(scan, plan_file, older):
    probe = [sys.executable, "-c", "import sys, pathlib; pathlib.Path(sys.argv[1]).write_text('')"]
    older.chmod(0o500)
    try:
        tried = subprocess.run(
            [*probe, str(older / "probe")], check=False, preexec_fn=bound_by_permissions,
            capture_output=True,
        )  # fmt: skip
        if tried.returncode == 0:
            (older / "probe").unlink()
            pytest.skip("file modes bind nobody here")
        for more in (
            ("sheet", "--out", older),
            ("section", "--station", 40, "--out", older / "one.png"),
        ):
            done = sounding(
                more[0], plan_file, "--scan", scan, *more[1:], before=bound_by_permissions
            )
            told = refused(done)
            assert str(older) in told
            assert "write to" in told or "cannot be written" in told
    finally:
        older.chmod(0o700)
    assert as_before(older)


def test_links_in_the_output_folder_are_not_written_through(scan, plan_file, older, tmp_path):
    theirs = tmp_path / "theirs.csv"
    theirs.write_text("theirs")
    (older / "sheet.csv").unlink()
    (older / "sheet.csv").symlink_to(theirs)
    told = refused(sounding("sheet", plan_file, "--scan", scan, "--out", older))
    assert "link" in told
    assert theirs.read_text() == "theirs"
    assert (older / "sheet.csv").is_symlink()
    (older / "sheet.csv").unlink()
    (older / "sheet.csv").write_text("older sheet.csv")
    assert as_before(older)


@pytest.mark.skipif(sys.platform == "win32", reason="no such signal")
@pytest.mark.parametrize("fresh", [True, False], ids=["new folder", "over an older sheet"])
def test_killed_while_the_sheet_is_written(scan, plan_file, older, tmp_path, fresh):
    out = tmp_path / "fresh" if fresh else older
    process = subprocess.Popen(
        [sys.executable, "-m", "app", "sheet", str(plan_file), "--scan", str(scan),
         "--out", str(out)],
        cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    watched = out.parent if fresh else out
    # It ends by itself or writes; the limit of every test ends this one if it does neither.
    while process.poll() is None and not any(watched.glob(".*.part")):
        time.sleep(0.0005)
    process.send_signal(signal.SIGKILL)
    process.wait()
    if fresh:
        if out.exists():
            assert set(contents(out)) >= NAMES
        return
    found = contents(out)
    assert set(found) >= {*NAMES, "letter.txt"}
    new = {name for name in NAMES if not is_older(name, found[name])}
    ends = {".pdf": b"%%EOF", ".png": b"IEND", ".json": b"}", ".csv": b"\n"}
    assert all(ends[Path(name).suffix] in found[name][-12:] for name in new)
    if new not in (set(), NAMES):
        # Between two renames: then no older file is lost.
        assert new <= {p.name.removesuffix(".old") for p in out.glob(".*.part/*.old")}


def test_a_refusal_is_a_sentence_even_where_no_log_can_be_written(scan, tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("")
    done = sounding("inspect", tmp_path / "gone", XDG_STATE_HOME=str(blocked))
    assert str(tmp_path / "gone") in refused(done)
