"""Contradictions inside a plan: tooth, jaw, side, place, limits, declarations."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.fixture import Fixture, FixtureSize
from core.plans.history import sign
from core.plans.plan import ChangedLimit, Declaration, Plan, SideCheck, Site
from core.plans.plan_checks import plan_findings, side_findings
from core.plans.side import CONTRADICTIONS, sign_off_obstacles
from core.structures import Course, Ruler, Tapered

SIZE = FixtureSize(diameter_mm=4.0, length_mm=10.0)
LEFT = SideCheck(side="left", against="chart", by="LM")


def fixture(tooth: str, x: float) -> Fixture:
    return Fixture(
        id="f", tooth=tooth, platform=np.array([x, 0, 0]), towards_apex=np.array([0, 0, -1.0]),
        size=SIZE,
    )  # fmt: skip


def plan(tooth: str = "36", x: float = 24.0, **more) -> Plan:
    more = {"jaw": "lower", "side_check": LEFT, "midline": np.zeros(3)} | more
    return Plan(fixtures=(fixture(tooth, x),), **more)


def codes(found) -> list[str]:
    return [f.code for f in found]


def test_a_plan_in_agreement_has_no_finding():
    assert plan_findings(plan()) == ()
    assert sign_off_obstacles(plan()) == ()


def test_tooth_against_jaw():
    (found,) = side_findings(plan(jaw="upper"))
    assert found.code == "tooth-against-jaw"
    assert "36, lower left first molar (19 in 1–32) is not in the upper jaw" in (found.message)


@pytest.mark.parametrize("side", ["left", "right"])
def test_no_answer_about_the_side_holds_for_teeth_of_both(side):
    """One answer cannot be compared with two places; its contradiction stops every verdict."""
    both = plan(side_check=SideCheck(side=side, by="LM"))
    both = replace(both, sites=(*both.sites, Site(id="46", tooth="46", station_mm=5.0)))
    of_the_tooth, of_both = side_findings(both)
    assert of_the_tooth.code == "tooth-against-side-check"
    assert of_both.code == "teeth-of-both-sides"
    assert of_both.code in CONTRADICTIONS
    assert "Plan each side in a case of its own" in of_both.message


def test_tooth_against_the_answered_side():
    right = SideCheck(side="right", by="LM")
    (found,) = side_findings(plan(side_check=right))
    assert found.code == "tooth-against-side-check"
    assert "LM answered that the site is on the patient's right" in found.message


@pytest.mark.parametrize(
    ("tooth", "x", "told"),
    [
        # LPS: x grows towards the patient's left (DICOM PS3.3 C.7.6.2.1.1).
        ("36", -24.0, True),
        ("46", 24.0, True),
        ("36", 24.0, False),
        ("36", -0.5, True),
        ("31", -1.5, False),
        ("31", -2.5, True),
        ("41", 1.5, False),
        ("41", 2.5, True),
    ],
)
def test_tooth_against_place(tooth, x, told):
    side = SideCheck(side="left" if tooth[0] in "23" else "right", by="LM")
    found = side_findings(plan(tooth, x, side_check=side))
    assert codes(found) == (["tooth-against-place"] if told else [])
    if told:
        assert ("patient's left" if x > 0 else "patient's right") in found[0].message


def test_the_place_counts_from_the_marked_midline():
    assert side_findings(plan("36", 5.0, midline=np.array([10.0, 0, 0])))[0].fields["mm"] == "5.0"
    assert side_findings(plan("36", -24.0, midline=None)) == ()


def test_sites_are_checked_too():
    bare = Plan(sites=(Site(id="46", tooth="46", station_mm=3.0),), jaw="lower", side_check=LEFT)
    assert codes(side_findings(bare)) == ["tooth-against-side-check"]


def test_an_unanswered_side_is_said_and_bars_signing():
    assert codes(sign_off_obstacles(plan(side_check=None))) == ["side-not-answered"]
    assert side_findings(Plan()) == ()


def test_an_empty_plan_is_not_signed_and_one_of_rulers_needs_its_side():
    assert codes(sign_off_obstacles(Plan(jaw="lower", side_check=LEFT))) == ["nothing-to-sign"]
    ruler = Ruler(id="ruler-1", points=np.array([[0.0, 0, 0], [5.0, 0, 0]]))
    measured = Plan(jaw="lower", rulers=(ruler,))
    assert codes(sign_off_obstacles(measured)) == ["side-not-answered"]
    assert sign_off_obstacles(replace(measured, side_check=LEFT)) == ()


def test_changed_limits_are_said():
    looser = ChangedLimit(value=1.5, by="LM", at="2026-03-02", reason="thick cortex")
    (found,) = plan_findings(plan(limits={"canal": looser}))
    assert (found.code, found.severity) == ("limit-changed", "caution")
    assert "from 2.00 to 1.50 mm (LM, 2026-03-02; reason: thick cortex)" in found.message
    (stricter,) = plan_findings(plan(limits={"canal": ChangedLimit(value=3.0)}))
    assert stricter.severity == "note"
    assert "nobody named" in stricter.message
    under = plan_findings(plan(limits={"canal": ChangedLimit(value=0.5)}))
    assert codes(under) == ["limit-changed", "limit-under-lower-line"]


def test_a_limit_that_does_not_exist_is_said():
    found = plan_findings(plan(document={"limits": {"cannal": {"value": 1}}}))
    assert codes(found) == ["limit-unknown"]
    assert "'cannal'" in found[0].message


def test_declarations_of_nothing_and_of_what_is_marked():
    line = np.array([[0.0, 0, 0], [0, 0, 5]])
    structures = (
        Course(id="canal-left", kind="canal", points=line),
        Tapered(id="r", kind="root", tooth="35", points=line, diameters_mm=(6, 2)),
    )
    declared = tuple(
        Declaration(structure=s, state="looked for, not visible")
        for s in ("canal-left", "loop", "root-37", "forman", "canal")
    )
    found = plan_findings(plan(structures=structures, declared=declared))
    assert [(f.code, str(f.fields["structure"])) for f in found] == [
        ("declaration-of-nothing", "forman"),
        ("declared-and-marked", "canal"),
    ]


def test_a_void_signature_is_said():
    signed = sign(plan(), name="LM", role="dentist", at="2026-03-02")
    assert plan_findings(signed) == ()
    from dataclasses import replace

    edited = replace(signed, midline=np.array([0.0, 0, 1]))
    assert codes(plan_findings(edited)) == ["sign-off-void"]
