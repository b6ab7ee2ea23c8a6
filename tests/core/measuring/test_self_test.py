"""The self-test: what it compares, what makes it fail, and what its page says."""

from __future__ import annotations

import json
from dataclasses import replace

import pypdf
import pytest

from core.measuring.self_test import NOT_THE_SCANNER, SelfTest, this_machine
from core.measuring.self_test_check import Check
from core.measuring.self_test_rules import rule_checks
from core.sheet.self_test_page import self_test_pdf

GOOD = Check(what="clearance to canal-left", found=5.301, true=5.3, bound=0.02)
RUN = SelfTest(
    seed=7, at="2026-11-25T10:30:00+01:00", seconds=12.3, checks=(GOOD,), machine=this_machine()
)


@pytest.mark.parametrize(
    ("found", "passed"), [(5.31, True), (5.29, True), (5.33, False), (5.27, False), (None, False)]
)
def test_a_check_is_passed_only_within_its_bound_and_never_without_a_figure(found, passed):
    check = replace(GOOD, found=found)
    assert check.passed is passed
    run = replace(RUN, checks=(GOOD, check))
    assert run.passed is passed
    assert ("OUT OF THEIR BOUNDS" in run.sentence) is not passed


def test_a_run_without_checks_is_not_passed():
    assert not replace(RUN, checks=()).passed


def test_the_json_holds_every_figure_bound_seed_version_and_machine():
    told = json.loads(RUN.to_json())
    assert told["caution"] == str(NOT_THE_SCANNER)
    assert told["seed"] == 7
    assert told["checks"] == [{
        "what": "clearance to canal-left", "found": 5.301, "true": 5.3, "bound": 0.02,
        "unit": "mm", "passed": True,
    }]  # fmt: skip
    assert {"system", "processor", "python", "numpy", "numba"} <= set(told["machine"])


def test_the_page_says_that_it_does_not_test_the_scanner(tmp_path):
    many = replace(RUN, checks=(GOOD,) * 70 + (replace(GOOD, found=None),))
    file = tmp_path / "page.pdf"
    file.write_bytes(self_test_pdf(many))
    reader = pypdf.PdfReader(file)
    assert len(reader.pages) == 2
    for page in reader.pages:
        text = " ".join(page.extract_text().split())
        assert "This does not test your scanner." in text
        assert "2026-11-25T10:30:00" in text
        assert "seed 7" in text
    assert "OUT OF BOUND" in reader.pages[1].extract_text()
    assert "nothing" in reader.pages[1].extract_text()


def test_every_rule_holds_in_the_program_as_it_stands():
    checks = tuple(rule_checks())
    assert [c.what for c in checks if not c.passed] == []
    assert len(checks) >= 35


def test_a_rule_that_is_broken_is_noticed(monkeypatch):
    monkeypatch.setattr("core.trust.verdict.GUARD", 1.0)
    missed = [str(c.what) for c in rule_checks() if not c.passed]
    assert "verdict: just under the guard band" in missed


def test_a_program_that_breaks_off_is_a_failed_self_test_and_says_nothing_of_another_scan():
    from app.background.self_test_run import _to_the_end
    from core.errors import PlanError

    def broken():
        yield GOOD
        raise PlanError("plan-scan-changed")

    checks = tuple(_to_the_end("the lower jaw", broken()))
    run = replace(RUN, checks=checks)
    assert not run.passed
    assert "broke off" in run.sentence
    assert "Do not measure with this installation" in run.sentence
    assert "open the scan" not in run.sentence.lower()
