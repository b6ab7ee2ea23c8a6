"""Two windows, one case: nobody's work is lost, and nobody works beside somebody unknowingly."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from app.case.home import HOLDER, CaseHome, holder_of, this_holder
from app.case.saving import Saving
from app.case.settings import SettingsStore
from app.case.store import CaseStore
from app.window.bench import Bench
from app.window.crash_recovery import READ, TAKE_OVER
from core.errors import OutputError
from core.measuring.control_film import CANAL, FilmResult
from core.plans.plan_file import load_plan, save_plan
from tests.app.case_at_hand import QuietSession, all_saved, plan, volume


def window(folder, *, record=None, loaded=None, over=False, name="A"):
    """A session and its store on a folder of cases, as one program holds them."""
    session = QuietSession()
    session.operator = name
    session.open(volume(), loaded or plan(), source="the export", window=(0.0, 1.0))
    store = CaseStore(session, folder)
    store.said = []
    store.apart.connect(store.said.append)
    store.begin(record, over=over)
    store.wait()
    return session, store


def edit(session, reader):
    session.apply("interpreted", plan(interpreted_by=reader))


def everything_kept(folder):
    """Who interpreted, in every kept plan."""
    return sorted(load_plan(p).interpreted_by for p in folder.glob("*/case.plan.json"))


def test_a_lock_names_the_holder_and_since_when(qtbot, tmp_path):
    session, store = window(tmp_path, name="LM")
    other = CaseStore(QuietSession(), tmp_path)
    holder = other.holder(other.recent()[0])
    assert holder.name == "LM"
    assert holder.since.startswith("20")
    assert store.holder(store.record) is None, "one's own"
    store.finish()
    assert other.holder(other.recent()[0]) is None
    session.close()


def test_nobody_waits_for_the_disk_to_become_the_holder(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "fsync", lambda _handle: pytest.fail("waited for the disk"))
    home = CaseHome(tmp_path, "abc", this_holder("LM"))
    assert home.take()
    assert holder_of(tmp_path / "abc").name == "LM"
    home.release()


def test_whoever_is_taken_over_keeps_their_own_state_as_a_case_of_its_own(qtbot, tmp_path):
    first, kept = window(tmp_path, name="First")
    edit(first, "seen by the first")
    qtbot.waitUntil(lambda: all_saved(kept))
    record = kept.record
    second, taker = window(
        tmp_path, record=record, loaded=kept.plan_of(record), over=True, name="Second"
    )
    edit(second, "seen by the second")
    qtbot.waitUntil(lambda: all_saved(taker))
    edit(first, "first again")
    qtbot.waitUntil(lambda: bool(kept.said))
    qtbot.waitUntil(lambda: all_saved(kept))
    assert "Second took this case over" in kept.said[0]
    assert everything_kept(tmp_path) == ["first again", "seen by the second"]
    assert kept.record.apart_from == record.key
    edit(first, "and again")
    qtbot.waitUntil(lambda: all_saved(kept))
    assert everything_kept(tmp_path) == ["and again", "seen by the second"], "no third case"
    for store in (kept, taker):
        store.finish()
    for session in (first, second):
        session.close()


def test_a_state_on_the_disk_that_is_no_earlier_one_is_never_replaced(qtbot, tmp_path):
    """Even where no lock tells of the other window, as on a disk shared between computers."""
    session, store = window(tmp_path)
    edit(session, "mine")
    qtbot.waitUntil(lambda: all_saved(store))
    stranger = QuietSession()
    stranger.open(volume(), plan(), window=(0.0, 1.0))
    edit(stranger, "theirs")
    place = store.plan_path(store.record)
    save_plan(stranger.plan, place)
    edit(session, "mine again")
    qtbot.waitUntil(lambda: bool(store.said))
    qtbot.waitUntil(lambda: all_saved(store))
    assert load_plan(place).interpreted_by == "theirs"
    assert everything_kept(tmp_path) == ["mine again", "theirs"]
    store.finish()
    session.close()
    stranger.close()


def test_a_case_opened_meanwhile_is_not_shared_unasked(qtbot, tmp_path):
    first, kept = window(tmp_path)
    second, other = window(tmp_path, record=kept.record, loaded=first.plan)
    assert other.record.key != kept.record.key
    assert other.record.apart_from == kept.record.key
    for store, session in ((kept, first), (other, second)):
        store.finish()
        session.close()


def test_a_dead_holder_holds_nothing_whatever_the_clock_says(qtbot, tmp_path, monkeypatch):
    home = CaseHome(tmp_path, "case", this_holder("LM"))
    assert home.take()
    assert holder_of(tmp_path / "case").name == "LM"
    home.release()
    os.utime(tmp_path / "case" / HOLDER, (4e9, 4e9))
    assert holder_of(tmp_path / "case") is None


# -- the window --------------------------------------------------------------------------------


@pytest.fixture
def benches(qtbot, tmp_path):
    made = []

    def make():
        bench = Bench(tmp_path / "cases")
        with qtbot.waitExposed(bench):
            bench.show()
        made.append(bench)
        return bench

    yield make
    for bench in made:
        bench.store.abandon()
        bench.close()
        qtbot.waitUntil(lambda b=bench: not b.pictures.busy, timeout=20000)
        bench.deleteLater()


def at_work(bench, qtbot):
    qtbot.waitUntil(lambda: bench.pages.currentWidget() is bench.work, timeout=60000)


def test_the_second_window_reads_or_takes_over(benches, qtbot, monkeypatch):
    first, second = benches(), benches()
    first.opening.sample()
    at_work(first, qtbot)
    first.session.confirm_proposal("lower")
    qtbot.waitUntil(lambda: all_saved(first.store))
    (record,) = second.store.recent()
    asked = []

    def answer(words):
        def choose(title, question, answers):
            asked.append((question, answers))
            return words

        monkeypatch.setattr(second, "choose", choose)

    answer(None)
    second.opening.take_up(record)
    assert second.session.volume is None
    assert "has had this case open since" in asked[0][0]
    assert asked[0][1] == (str(READ), str(TAKE_OVER))

    answer(str(READ))
    second.opening.take_up(record)
    at_work(second, qtbot)
    assert "Opened read-only" in second.notice.text()
    assert second.notice.isVisible()
    before = second.session.plan
    second.session.apply("changed", plan())
    second.session.preview(plan())
    assert second.session.plan is before
    assert not second.session.dragging
    assert "Opened read-only" in second.said.text()
    assert second.store.record is None
    second.close_case()
    assert not second.notice.isVisible()
    assert len(second.store.recent()) == 1

    answer(str(TAKE_OVER))
    second.opening.take_up(record)
    at_work(second, qtbot)
    assert second.store.record.key == record.key
    second.session.apply("one more", plan(scan=second.session.plan.scan))
    qtbot.waitUntil(lambda: all_saved(second.store))
    first.session.undo_stack.undo()
    qtbot.waitUntil(lambda: "took this case over" in first.notice.text())
    assert len(second.store.recent()) == 2


# -- files of one's own, and settings ----------------------------------------------------------


def test_a_plan_of_ones_own_that_somebody_went_on_with_is_not_replaced(qtbot, tmp_path):
    path = tmp_path / "own.plan.json"
    session = QuietSession()
    session.open(volume(), plan(), window=(0.0, 1.0))
    edit(session, "mine")
    saving, failed = Saving(session), []
    saving.failed.connect(failed.append)
    with qtbot.waitSignal(saving.saved):
        saving.save(str(path))
    with qtbot.waitSignal(saving.saved):
        saving.save(str(path))
    other = QuietSession()
    other.operator = "AB"
    other.open(volume(), load_plan(path), window=(0.0, 1.0))
    edit(other, "theirs")
    save_plan(other.plan, path)
    edit(session, "mine again")
    saving.save(str(path))
    qtbot.waitUntil(lambda: bool(failed))
    assert isinstance(failed[0], OutputError)
    assert "last by AB" in str(failed[0])
    assert load_plan(path).interpreted_by == "theirs"
    session.close()
    other.close()


def film(case):
    return FilmResult(by="LM", at="2026-11-24", case=case, what=CANAL, difference_mm=0.1)


def test_settings_of_two_windows_are_merged_key_by_key(qtbot, tmp_path):
    path = Path(tmp_path / "settings.json")
    one, two = SettingsStore(path=path), SettingsStore(path=path)
    one.change(initials="LM", limits={"canal": 2.5}, control_films=(film("a"),))
    # As a dialog does that was filled before: every key, most of them as they were.
    two.change(initials="", name="L Moor", limits={"root": 2.0}, control_films=(film("b"),))
    now = SettingsStore(path=path).value
    assert (now.initials, now.name) == ("LM", "L Moor")
    assert now.limits == {"canal": 2.5, "root": 2.0}
    assert set(now.control_films) == {film("a"), film("b")}
    assert two.value == now
    two.change(limits={"canal": 2.5}, control_films=(film("a"),))
    now = SettingsStore(path=path).value
    assert now.limits == {"canal": 2.5}
    assert now.control_films == (film("a"),)


def test_settings_of_a_later_version_are_kept(qtbot, tmp_path):
    path = tmp_path / "settings.json"
    path.write_text('{"format": "sounding-settings", "new thing": [1, 2], "initials": "LM"}')
    SettingsStore(path=path).change(name="L Moor")
    text = path.read_text()
    assert '"new thing"' in text
    assert SettingsStore(path=path).value.initials == "LM"
