"""Against Orthanc: kept and confirmed there, found again, fetched whole, and opened as a scan."""

from __future__ import annotations

import shutil

import pytest

from app.archive import fetching
from app.archive.fetching import fetch_series, find_series
from app.archive.node import Connection, Node
from app.archive.sending import send_folder
from app.cli.command_line import run
from core.errors import SoundingError
from core.scan import open_scan
from tests.app.archive.servers import HOST, free_port, orthanc
from tests.app.archive.test_sending import NAMES, write_set
from tests.core.scan.make_dicom import SERIES, SHAPE, STUDY, series, write_series


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    """Orthanc that holds an invented scan of six slices."""
    folder = tmp_path_factory.mktemp("orthanc")
    own = free_port()
    with orthanc(folder, own) as port:
        connection = Connection(node=Node("ORTHANC", HOST, port), listen=own)
        scan = write_series(folder / "scan", series())
        sent = folder / "sent"
        sent.mkdir()
        for number, path in enumerate(sorted(scan.iterdir())):
            shutil.copy(path, sent / f"{number}.dcm")
        send_folder(sent, connection, unsigned=True, commitment=False)
        yield connection, scan


@pytest.fixture
def cache(tmp_path, monkeypatch):
    monkeypatch.setattr(fetching, "user_cache_path", lambda *_, **__: tmp_path / "cache")
    return tmp_path / "cache" / "scans"


def test_a_set_is_kept_and_the_archive_confirms_it(archive, tmp_path):
    connection, _ = archive
    folder = write_set(tmp_path / "set", signed=True)
    sent = send_folder(folder, connection)
    assert set(sent.stored) == NAMES
    assert sent.commitment == "confirmed"
    modalities = {one.modality for one in find_series(connection, patient="S-0107")}
    assert modalities == {"DOC", "M3D"}


def test_series_are_found_by_patient_and_by_study(archive):
    connection, _ = archive
    for asked in ({"patient": "P1"}, {"study": STUDY}):
        (one,) = find_series(connection, **asked)
        assert (one.series_uid, one.modality, one.count) == (SERIES, "CT", SHAPE[0])
        assert one.patient_name == "Sample^Sam"
    assert find_series(connection, patient="nobody") == []


@pytest.mark.parametrize("asked", ["", "*", "**", " ? "])
def test_nobody_lists_a_whole_archive(archive, asked):
    with pytest.raises(SoundingError) as refusal:
        find_series(archive[0], patient=asked)
    assert refusal.value.code == "archive-search-wide"


@pytest.mark.parametrize("move", [False, True])
def test_a_series_comes_into_the_cache_and_is_the_same_scan(archive, cache, move):
    connection, scan = archive
    told = []
    folder = fetch_series(
        connection, STUDY, SERIES, move=move, progress=lambda *step: told.append(step)
    )
    assert folder.parent == cache
    assert told[-1] == (SHAPE[0], SHAPE[0])
    assert [p.name for p in cache.iterdir()] == [folder.name]
    fetched, original = open_scan(folder), open_scan(scan)
    assert (fetched.voxels == original.voxels).all()
    assert fetched.identity == original.identity
    # A second time it takes the place of the first.
    assert fetch_series(connection, STUDY, SERIES, move=move) == folder


def test_a_fetch_that_is_stopped_leaves_nothing_that_looks_like_a_scan(archive, cache):
    with pytest.raises(SoundingError) as refusal:
        fetch_series(archive[0], STUDY, SERIES, cancelled=lambda: True)
    assert refusal.value.code == "measuring-cancelled"
    assert list(cache.iterdir()) == []


def test_fewer_slices_than_the_archive_counts_are_no_scan(archive, cache, monkeypatch):
    monkeypatch.setattr(fetching, "_expected", lambda *_: SHAPE[0] + 1)
    with pytest.raises(SoundingError) as refusal:
        fetch_series(archive[0], STUDY, SERIES)
    assert refusal.value.code == "archive-series-incomplete"
    assert list(cache.iterdir()) == []


def test_a_series_that_is_not_there_is_told(archive, cache):
    with pytest.raises(SoundingError) as refusal:
        fetch_series(archive[0], STUDY, "1.2.3.4")
    assert refusal.value.code in ("archive-series-incomplete", "archive-fetch-failed")


def test_by_command_line(archive, cache, tmp_path, capsys):
    connection, _ = archive
    source = ["--from", str(connection.node)]
    assert run(["fetch", *source, "--patient", "P1"]) == 0
    assert f"{STUDY} {SERIES} CT" in capsys.readouterr().out
    out = tmp_path / "fetched"
    more = ["--study", STUDY, "--series", SERIES, "--out", str(out)]
    assert run(["fetch", *source, *more]) == 0
    assert capsys.readouterr().out == f"{out}\n"
    assert len(list(out.iterdir())) == SHAPE[0]
    assert run(["fetch", *source, "--study", STUDY, "--series", SERIES, "--move"]) == 2
    assert "--listen PORT" in capsys.readouterr().err
