"""History and sign-off: appended to, noticed when changed or cut, voided by an edit."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from core.plans.history import (
    done_words,
    head_to_write,
    history_findings,
    sign,
    sign_off_state,
    with_entry,
)
from core.plans.plan import Plan
from core.plans.plan_file import load_plan, save_plan
from core.words.catalogue import message, speaking


def three() -> Plan:
    plan = Plan()
    for i, what in enumerate(("canal marked", "limit canal changed", "fixture moved")):
        plan = with_entry(
            plan, who="LM", when=f"2026-03-02T10:0{i}:00+01:00", what=what, previous={"value": i}
        )
    return plan


def saved(plan: Plan, tmp_path) -> dict:
    save_plan(plan, tmp_path / "p.plan.json")
    return json.loads((tmp_path / "p.plan.json").read_text("utf-8"))


def loaded(document: dict, tmp_path) -> Plan:
    (tmp_path / "p.plan.json").write_text(json.dumps(document), "utf-8")
    return load_plan(tmp_path / "p.plan.json")


def codes(plan: Plan) -> list[str]:
    return [f.code for f in history_findings(plan)]


def test_entries_say_who_when_what_and_what_stood_before():
    plan = three()
    assert len(plan.history) == 3
    assert plan.revision == 4
    last = plan.history[-1]
    assert (last["who"], last["what"], last["previous"]) == ("LM", "fixture moved", {"value": 2})
    assert last["revision"] == 4


def test_a_whole_history_survives_saving_and_going_on(tmp_path):
    plan = loaded(saved(three(), tmp_path), tmp_path)
    assert codes(plan) == []
    more = with_entry(plan, who="AB", when="2026-03-03", what="looked through")
    assert codes(more) == []
    again = loaded(saved(more, tmp_path), tmp_path)
    assert codes(again) == []
    assert len(again.history) == 4


@pytest.mark.parametrize("key", ["who", "when", "what", "previous", "revision", "chain"])
@pytest.mark.parametrize("entry", [0, 1, 2])
def test_a_changed_entry_is_noticed(tmp_path, key, entry):
    document = saved(three(), tmp_path)
    document["history"][entry][key] = "somebody else"
    plan = loaded(document, tmp_path)
    assert codes(plan) == ["history-changed"]
    assert f"entry {entry + 1}" in history_findings(plan)[0].message


@pytest.mark.parametrize("entry", [0, 1])
def test_an_entry_taken_out_is_noticed(tmp_path, entry):
    document = saved(three(), tmp_path)
    del document["history"][entry]
    assert codes(loaded(document, tmp_path)) == ["history-changed"]


@pytest.mark.parametrize("left", [0, 1, 2])
def test_a_cut_history_is_noticed_and_no_save_hides_it(tmp_path, left):
    document = saved(three(), tmp_path)
    document["history"] = document["history"][:left]
    plan = loaded(document, tmp_path)
    assert codes(plan) == ["history-cut"]
    for i in range(4):
        plan = with_entry(plan, who="LM", when=f"2026-03-0{i + 3}", what="went on")
        plan = loaded(saved(plan, tmp_path), tmp_path)
        assert codes(plan) == ["history-cut"]


def test_a_history_replaced_by_another_is_noticed(tmp_path):
    document = saved(three(), tmp_path)
    other = Plan()
    for i in range(3):
        other = with_entry(other, who="XX", when=f"2026-01-0{i + 1}", what="something else")
    document["history"] = [dict(e) for e in other.history]
    assert codes(loaded(document, tmp_path)) == ["history-cut"]


@pytest.mark.parametrize("head", ["x", [], {"entries": "three"}, {"entries": 0, "chain": ""}])
def test_a_head_that_makes_no_sense_is_a_cut(tmp_path, head):
    document = saved(three(), tmp_path) | {"history_head": head}
    assert codes(loaded(document, tmp_path)) == ["history-cut"]


def test_no_history_no_head():
    assert head_to_write(Plan()) is None
    assert codes(Plan()) == []


def test_signed_until_edited(tmp_path):
    assert sign_off_state(Plan()) == "not signed"
    signed = sign(three(), name="LM", role="dentist", at="2026-03-02T11:00:00+01:00")
    assert sign_off_state(signed) == "signed"
    assert signed.history[-1]["what"] == "signed off"
    assert signed.sign_off.revision == signed.revision == 5
    again = loaded(saved(signed, tmp_path), tmp_path)
    assert sign_off_state(again) == "signed"
    assert codes(again) == []
    assert sign_off_state(replace(again, jaw="upper")) == "void"
    assert sign_off_state(with_entry(again, who="AB", when="later", what="moved")) == "void"


def test_an_edit_of_the_file_by_hand_voids_the_signature(tmp_path):
    document = saved(sign(three(), name="LM", role="", at="2026-03-02"), tmp_path)
    document["midline"] = [0, 0, 1]
    assert sign_off_state(loaded(document, tmp_path)) == "void"


def test_an_entry_is_english_in_the_file_and_german_on_a_german_screen():
    done = message("plans.history.signed-off")
    with speaking("de"):
        plan = with_entry(Plan(), who="LM", when="2026-03-02T10:00+01:00", what=done)
    (entry,) = plan.history
    assert entry["what"] == "signed off"
    assert str(done_words(entry)) == "signed off"
    with speaking("de"):
        assert str(done_words(entry)) == "freigegeben"
    assert history_findings(plan) == ()


def test_a_key_that_says_something_else_is_not_believed():
    entry = {
        "what": "canal left deleted",
        "said": {"key": "plans.history.signed-off", "fields": {}},
    }
    with speaking("de"):
        assert done_words(entry) == "canal left deleted"
        assert done_words({"what": "moved", "said": {"key": "no.such", "fields": {}}}) == "moved"
        assert done_words({"what": "by hand"}) == "by hand"
