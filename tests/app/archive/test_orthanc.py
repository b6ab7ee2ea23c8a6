"""Against Orthanc: kept and confirmed there, found again, fetched whole, and opened as a scan."""

from __future__ import annotations

from dataclasses import replace

import pytest

from app.archive import fetching, node, searching
from app.archive.fetching import fetch_series
from app.archive.node import Connection, Node, Secured
from app.archive.searching import Search, find_series
from app.archive.sending import send_folder
from app.cli.command_line import run
from core.errors import SoundingError
from core.scan import open_scan
from tests.app.archive.conftest import SUE, SUE_DAY
from tests.app.archive.servers import HOST, free_port, orthanc, storescp
from tests.app.archive.test_sending import NAMES, write_set
from tests.core.scan.make_dicom import SERIES, SHAPE, STUDY, series, write_series


def test_a_set_is_kept_and_the_archive_confirms_it(archive, tmp_path):
    connection, _ = archive
    folder = write_set(tmp_path / "set", signed=True)
    sent = send_folder(folder, connection)
    assert set(sent.stored) == NAMES
    assert sent.commitment == "confirmed"
    modalities = {one.modality for one in find_series(connection, Search(patient="S-0107"))}
    assert modalities == {"DOC", "M3D"}


@pytest.mark.parametrize(
    "asked",
    [
        {"patient": "P1"},
        {"study": STUDY},
        {"name": "Sample, Sam"},
        {"name": "sample^sam"},
        {"day": "2024-03-05"},
        {"name": "Sam", "day": "2024-03-05"},
    ],
    ids=str,
)
def test_series_are_found_by_patient_name_day_and_study(archive, asked):
    connection, _ = archive
    (one,) = find_series(connection, Search(**asked))
    assert (one.series_uid, one.modality, one.count) == (SERIES, "CT", SHAPE[0])
    assert (one.patient_name, one.patient_id) == ("Sample^Sam", "P1")
    assert (one.birth_date, one.study_date) == ("19700102", "20240305")


def test_two_people_of_nearly_one_name_stand_in_the_list_the_newer_scan_first(archive):
    told = []
    found = find_series(archive[0], Search(name="Sa"), progress=lambda *step: told.append(step))
    assert [one.patient_id for one in found] == ["P2", "P1"]
    assert found[0].study_uid == SUE["StudyInstanceUID"]
    assert told == [(1, 2), (2, 2)]
    (sue,) = find_series(archive[0], Search(name="Sa", day=SUE_DAY.isoformat()))
    assert sue.series_uid == SUE["SeriesInstanceUID"]
    for nobody in (Search(patient="nobody"), Search(name="Müller"), Search(day="2024-03-07")):
        assert find_series(archive[0], nobody) == []


def test_more_studies_than_anybody_reads_are_not_listed(archive, monkeypatch):
    monkeypatch.setattr(searching, "MOST_STUDIES", 1)
    with pytest.raises(SoundingError) as refusal:
        find_series(archive[0], Search(name="Sa"))
    assert refusal.value.code == "archive-search-many"


def test_a_day_that_is_none_is_refused_before_anything_is_asked(archive):
    with pytest.raises(SoundingError) as refusal:
        find_series(archive[0], Search(day="5.3.2024"))
    assert refusal.value.code == "archive-search-day"


def test_what_an_archive_does_not_offer_is_told(tmp_path):
    with storescp(tmp_path) as port:
        connection = Connection(node=Node("STORE", HOST, port))
        with pytest.raises(SoundingError) as refusal:
            find_series(connection, Search(patient="P1"))
    assert refusal.value.code == "archive-not-offered"
    assert "C-FIND" in str(refusal.value)


@pytest.mark.parametrize("asked", ["", "*", "**", " ? "])
def test_nobody_lists_a_whole_archive(archive, asked):
    with pytest.raises(SoundingError) as refusal:
        find_series(archive[0], Search(patient=asked, name=asked, day=asked.strip("*?")))
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


@pytest.mark.parametrize("move", [False, True])
def test_a_series_is_found_and_comes_encrypted_and_only_from_the_archive_that_is_meant(
    tmp_path, certificates, cache, monkeypatch, move
):
    monkeypatch.setattr(node, "PATIENCE_S", 10.0)
    own = free_port()
    with orthanc(tmp_path, own, tls=certificates) as port:
        meant = Connection(
            node=Node("ORTHANC", HOST, port),
            listen=own,
            tls=Secured(
                ca=certificates / "archive.pem",
                cert=certificates / "ours.pem",
                key=certificates / "ours.key",
            ),
        )
        scan = write_series(tmp_path / "scan", series())
        for path in tuple(scan.iterdir()):
            path.rename(path.with_suffix(".dcm"))
        send_folder(scan, meant, unsigned=True, commitment=False)
        for wrong in (
            replace(meant, tls=None),
            replace(meant, tls=Secured(ca=certificates / "stranger.pem")),
        ):
            with pytest.raises(SoundingError) as refusal:
                find_series(wrong, Search(patient="P1"))
            assert refusal.value.code == "archive-no-answer"
        (listed,) = find_series(meant, Search(patient="P1"))
        assert listed.series_uid == SERIES
        without_own = replace(meant, tls=Secured(ca=certificates / "archive.pem"))
        with pytest.raises(SoundingError) as refusal:
            fetch_series(without_own, STUDY, SERIES, move=True)
        assert refusal.value.code == "archive-no-own-certificate"
        fetched = open_scan(fetch_series(meant, STUDY, SERIES, move=move))
    assert (fetched.voxels == open_scan(scan).voxels).all()


def test_a_fetch_that_is_stopped_leaves_nothing_that_looks_like_a_scan(archive, cache):
    with pytest.raises(SoundingError) as refusal:
        fetch_series(archive[0], STUDY, SERIES, cancelled=lambda: True)
    assert refusal.value.code == "measuring-cancelled"
    assert list(cache.iterdir()) == []


def test_fewer_slices_than_the_archive_counts_are_no_scan(archive, cache, monkeypatch):
    (listed,) = find_series(archive[0], Search(patient="P1"))
    more = replace(listed, count=SHAPE[0] + 1)
    monkeypatch.setattr(fetching, "_listed", lambda *_: more)
    with pytest.raises(SoundingError) as refusal:
        fetch_series(archive[0], STUDY, SERIES)
    assert refusal.value.code == "archive-series-incomplete"
    assert list(cache.iterdir()) == []


@pytest.mark.parametrize("move", [False, True])
def test_slices_of_somebody_else_than_was_listed_are_not_kept(archive, cache, monkeypatch, move):
    (listed,) = find_series(archive[0], Search(patient="P1"))
    other = replace(listed, patient_id="P9")
    monkeypatch.setattr(fetching, "_listed", lambda *_: other)
    with pytest.raises(SoundingError) as refusal:
        fetch_series(archive[0], STUDY, SERIES, move=move)
    assert refusal.value.code == "archive-other-patient"
    assert "P9" in str(refusal.value)
    assert "P1" in str(refusal.value)
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
    assert run(["fetch", *source, "--name", "Sample", "--day", "2024-03-06"]) == 0
    told = capsys.readouterr().out
    assert "Sample^Sue" in told
    assert "Sample^Sam" not in told
    out = tmp_path / "fetched"
    more = ["--study", STUDY, "--series", SERIES, "--out", str(out)]
    assert run(["fetch", *source, *more]) == 0
    assert capsys.readouterr().out == f"{out}\n"
    assert len(list(out.iterdir())) == SHAPE[0]
    assert run(["fetch", *source, "--study", STUDY, "--series", SERIES, "--move"]) == 2
    assert "--listen PORT" in capsys.readouterr().err
