"""The program starts whatever stands in its own files, and keeps them from other people's eyes."""

from __future__ import annotations

import os
import stat

import pytest

from app.case.own_files import cannot_keep, close_all, write_private
from app.case.record import ABOUT, CaseRecord, about
from app.case.repeat_studies import kept_studies
from app.case.settings import SettingsStore
from app.case.store import CaseStore
from app.window.bench import Bench
from core.errors import OutputError
from tests.app.case.hostile_documents import documents
from tests.app.case_at_hand import QuietSession, plan, volume

CASE_KEYS = ("source", "patient", "tooth", "scanned", "changed", "plan_file", "closed")
SETTINGS_KEYS = (
    "numbering", "paper", "window", "names_hidden", "initials", "limits", "sizes", "risks_file",
    "tube", "pin", "control_films", "drills",
)  # fmt: skip
STUDY_KEYS = ("version", "readings", "design", "at", "series_uid")


def shown(bench, qtbot):
    with qtbot.waitExposed(bench):
        bench.show()


@pytest.fixture
def started(qtbot, tmp_path):
    """A bench on a folder of cases, as the program starts it."""
    made = []

    def start():
        bench = Bench(tmp_path / "cases")
        bench.store.tidy()
        shown(bench, qtbot)
        made.append(bench)
        return bench

    yield start
    for bench in made:
        bench.close()
        bench.deleteLater()


def good_case(folder, key="good"):
    write_private(folder / key / ABOUT, about(CaseRecord(key=key, patient="QUARRY^Sample")))


def test_every_damaged_case_is_set_aside_and_named_and_the_good_one_stays(started, tmp_path):
    cases = tmp_path / "cases"
    good_case(cases)
    bad = documents("sounding-case", CASE_KEYS)
    for number, content in enumerate(bad.values()):
        (cases / f"bad{number:03d}").mkdir()
        (cases / f"bad{number:03d}" / ABOUT).write_bytes(content)
    bench = started()
    listed = {record.key for record in bench.store.recent()}
    assert "good" in listed
    words = bench.start.troubles.text()
    assert bench.start.troubles.isVisible()
    for number, name in enumerate(bad):
        key = f"bad{number:03d}"
        harmless = key in listed
        named = str(cases / key) in words and next(cases.glob(f"{key}.unread-*"), None) is not None
        assert harmless or named, name
    # Only what is text of the right kind may be listed.
    assert len(listed) < 15
    assert bench.store.left_open() is not None


@pytest.mark.parametrize("tooth", ["99", "19 or so", "٣٦", "-1"])
def test_a_case_of_no_tooth_does_not_stop_the_list(started, tmp_path, tooth):
    cases = tmp_path / "cases"
    good_case(cases)
    write_private(cases / "odd" / ABOUT, about(CaseRecord(key="odd", tooth=tooth)))
    bench = started()
    assert [record.key for record in bench.store.recent()] == ["good"]
    assert bench.start.list.count() == 1


def test_every_damaged_setting_costs_itself_and_is_named(qtbot, tmp_path):
    path = tmp_path / "settings.json"
    for name, content in documents("sounding-settings", SETTINGS_KEYS).items():
        path.write_bytes(content)
        store = SettingsStore(path=path)
        if not store.trouble:
            # A text where a text belongs, however odd: it is read as it stands.
            assert name.split(":")[0] in ("initials", "risks_file", "names_hidden", "sizes",
                                          "limits", "tube", "pin", "control_films",
                                          "drills"), name  # fmt: skip
            continue
        assert str(path.with_suffix(".unread.json")) in store.trouble, name
        assert path.with_suffix(".unread.json").read_bytes() == content


def test_one_damaged_setting_leaves_the_others(qtbot, tmp_path):
    path = tmp_path / "settings.json"
    path.write_text(
        '{"format": "sounding-settings", "initials": "LM", "limits": {"canal": 2.5},'
        ' "drills": "all of them", "pin": 4}'
    )
    store = SettingsStore(path=path)
    assert store.value.initials == "LM"
    assert store.value.limits == {"canal": 2.5}
    assert "drills" in store.trouble
    assert "pin" in store.trouble
    assert "limits" not in store.trouble.split("defaults now")[1]


def test_every_damaged_study_is_set_aside_and_named(tmp_path):
    bad = documents("sounding-repeat-study", STUDY_KEYS)
    for number, content in enumerate(bad.values()):
        (tmp_path / f"{number:03d}.repeat.json").write_bytes(content)
    studies, troubles = kept_studies(tmp_path)
    assert studies == ()
    assert len(troubles) == len(bad)
    assert list(tmp_path.glob("*.repeat.json")) == []
    assert len(list(tmp_path.iterdir())) == len(bad), "nothing was thrown away"


def test_where_nothing_can_be_kept_it_is_said_and_everything_works(qtbot, tmp_path, monkeypatch):
    blocked = tmp_path / "home"
    blocked.write_text("in the way of every folder")
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME"):
        monkeypatch.setenv(name, str(blocked / name))
    bench = Bench()
    bench.store.tidy()
    shown(bench, qtbot)
    assert "Nothing will be saved on this computer" in bench.start.troubles.text()
    bench.start.hide_names.click()
    assert bench.settings.value.names_hidden
    bench.session.open(volume(), plan(), source="the export", window=(0.0, 1.0))
    bench.store.begin()
    qtbot.waitUntil(lambda: "not saved" in bench.notice.text())
    with pytest.raises(OutputError, match="nothing can be saved"):
        bench.settings.change(initials="LM")
    assert bench.settings.value.initials == "LM"
    bench.store.abandon()
    bench.close()
    bench.deleteLater()


def test_where_things_can_be_kept_nothing_is_said(started):
    assert not started().start.troubles.isVisible()


def test_cannot_keep_leaves_no_trace(tmp_path):
    assert not cannot_keep(tmp_path / "new")
    assert list((tmp_path / "new").iterdir()) == []


def modes(folder):
    return {
        p.relative_to(folder): stat.S_IMODE(p.stat().st_mode)
        for p in (folder, *folder.rglob("*"))
        if not p.name.endswith(".lock")
    }


@pytest.mark.skipif(os.name != "posix", reason="modes of POSIX")
def test_only_the_owner_may_read_what_is_kept(qtbot, tmp_path):
    before = os.umask(0)
    try:
        session = QuietSession()
        session.open(volume(), plan(), source="the export", window=(0.0, 1.0))
        store = CaseStore(session, tmp_path / "own" / "cases")
        store.begin()
        store.wait()
        SettingsStore(path=tmp_path / "own" / "settings.json").change(initials="LM")
    finally:
        os.umask(before)
    found = modes(tmp_path / "own")
    assert len(found) >= 6
    for path, mode in found.items():
        assert mode == (0o700 if (tmp_path / "own" / path).is_dir() else 0o600), path
    session.close()
    store.abandon()


@pytest.mark.skipif(os.name != "posix", reason="modes of POSIX")
def test_older_files_are_closed_and_half_written_ones_swept_up(tmp_path):
    (tmp_path / "case").mkdir(mode=0o755)
    kept, half = tmp_path / "case" / ABOUT, tmp_path / "case" / ".case.plan.json.0a1b2c.part"
    kept.write_text("{}")
    half.write_text("a name")
    kept.chmod(0o644)
    close_all(tmp_path / "case")
    assert not half.exists()
    assert modes(tmp_path / "case") == {
        kept.relative_to(tmp_path / "case").parent: 0o700,
        kept.relative_to(tmp_path / "case"): 0o600,
    }
