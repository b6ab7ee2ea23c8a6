"""What the day of measuring calls into question: an old scan, a mouth that changed since."""

from __future__ import annotations

import numpy as np
import pytest

from core.image.volume import ScanIdentity
from core.plans.case_checks import case_findings
from core.plans.plan import Plan, Site
from core.structures import Tapered

SITE = Plan(sites=(Site(id="site-36", station_mm=20.0),))


def codes(plan=SITE, *, scanned="2026-03-10", made_at="2026-04-01T10:00:00+02:00"):
    found = case_findings(plan, ScanIdentity(study_date=scanned), made_at=made_at)
    assert all(f.message for f in found)
    return {f.code: f.severity for f in found}


@pytest.mark.parametrize(
    ("made_at", "old"),
    [("2026-09-09T10:00:00", False), ("2026-09-10T10:00:00", True), ("2028-01-01", True)],
)
def test_a_scan_of_six_months_or_more_is_a_caution(made_at, old):
    assert (codes(made_at=made_at).get("scan-old") == "caution") is old


def test_its_age_is_told_in_months():
    (old, *_) = case_findings(SITE, ScanIdentity(study_date="2026-03-10"), made_at="2027-03-09")
    assert "is 11 months old" in old.message


def test_a_later_extraction_or_graft_is_asked_for_in_every_plan_used_after_the_scans_day():
    assert codes()["jaw-changed-since"] == "note"
    assert "jaw-changed-since" not in codes(made_at="2026-03-10T18:00:00+02:00")
    assert "jaw-changed-since" not in codes(Plan())


def test_a_root_to_be_removed_says_that_the_jaw_will_change():
    root = Tapered(id="root-36", kind="root", tooth="36", points=np.array([[0, 0, 0], [0, 0, -9]]),
                   diameters_mm=(5.0, 2.0), to_be_removed=True)  # fmt: skip
    assert codes(Plan(structures=(root,)))["jaw-changes-by-removal"] == "note"


def test_a_scan_from_the_future_is_a_clock_that_is_wrong():
    assert codes(scanned="2026-05-01") == {"scan-after-today": "caution"}


def test_a_scan_without_a_date_says_nothing_here():
    assert codes(scanned="") == {}
