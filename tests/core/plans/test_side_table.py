"""Every side of the mouth, field, sense of tracing, kind of lying scan and answer of a person.

No result may stand, with a verdict, on cheek and tongue, mesial and distal, or left and right
swapped against the truth. The jaws are analytic: half an ellipse of ordinary size, tooth places
along it by mean widths (both from memory, to the millimetre; nothing hangs on them).
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product

import numpy as np
import pytest

from core.curve import Curve
from core.direction import REGIONS, CheekAnswer, SideAnswers, as_point
from core.fixture import Fixture, FixtureSize
from core.identity import Tooth
from core.level import Level
from core.plans.plan import Plan
from core.plans.side import contradictions, left_and_right_named, open_question, traced

FLAT = Level(origin=(0, 0, 0), up=(0, 0, 1))
SIZE = FixtureSize(diameter_mm=4.0, length_mm=10.0)
SITES = ("16", "12", "22", "26", "37", "33", "43", "46")
FIELDS = (40.0, 60.0, 80.0, None, "straight")
FROM_MIDLINE_MM = {
    "upper": (4.3, 12.0, 19.0, 26.0, 33.0, 42.0, 52.0),
    "lower": (2.7, 8.5, 15.0, 22.0, 29.0, 38.0, 49.0),
}
LIES = [np.array((*signs, 1.0)) for signs in product((1.0, -1.0), repeat=2)]
"""The scan as stored against the patient, mirrored or turned; the first is true. A scan whose head
and feet are swapped besides looks the same here: up is set towards the head as it is shown."""


STOPPED = ("open", "contradicted", "unnamed")


@dataclass(frozen=True)
class Truth:
    """A piece of a jaw in the patient: what is seen, and which way everything really lies."""

    tooth: Tooth
    line: np.ndarray
    place: np.ndarray
    travel: np.ndarray
    cheek: np.ndarray
    midline: np.ndarray | None
    regions: tuple[str, ...]


def jaw() -> np.ndarray:
    turn = np.radians(np.linspace(-84, 84, 1601))
    return np.stack([27 * np.sin(turn), 48 * (1 - np.cos(turn)), 0 * turn], axis=1)


def truth(number: str, field: float | str | None) -> Truth:
    tooth = Tooth.of(number)
    arch = whole = jaw()
    at = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(arch, axis=0), axis=1))])
    at -= at[-1] / 2
    sense = 1 if tooth.side == "left" else -1
    here = sense * FROM_MIDLINE_MM[tooth.jaw][tooth.position - 1]
    n = int(np.argmin(np.abs(at - here)))
    travel = arch[n + 1] - arch[n - 1]
    travel /= np.linalg.norm(travel)
    midline = arch[len(arch) // 2]
    if field == "straight":
        # As a short trace along a straight stretch is clicked: no bow that tells anything.
        along = np.linspace(-18, 18, 5)
        arch = arch[n] + along[:, None] * travel + 0.2 * np.array([0, 1, 0, -1, 0])[:, None]
        midline = None
    elif field is not None:
        arch = arch[np.linalg.norm(arch - arch[n], axis=1) <= float(field) / 2 - 1]
        if not np.any(np.all(arch == midline, axis=1)):
            midline = None
    back = "left back" if sense > 0 else "right back"
    regions = (back,) if tooth.position > 3 else (back, "front")
    if field is None:
        regions = ("whole arch",)
    elif midline is not None:
        # A piece that runs round the front holds front teeth whatever else it holds.
        regions = (*regions, "front", "whole arch") if field == 80.0 else (*regions, "front")
    picks = np.linspace(0, len(arch) - 1, 7).astype(int) if field != "straight" else np.arange(5)
    return Truth(
        tooth=tooth,
        line=arch[picks],
        place=arch[2] if field == "straight" else whole[n],
        travel=travel,
        cheek=np.cross(travel, (0, 0, 1)),
        midline=midline,
        regions=tuple(dict.fromkeys(regions)),
    )


@dataclass(frozen=True)
class Case:
    """What a person meets and says."""

    truth: Truth
    lie: np.ndarray
    answers: SideAnswers
    tooth: str
    midline: bool
    true_answers: bool
    backwards: bool

    @property
    def plan(self) -> Plan:
        line = self.truth.line * self.lie
        # A person sets up towards the head as the scan shows it.
        fixture = Fixture(
            id="f", tooth=self.tooth, platform=self.truth.place * self.lie,
            towards_apex=(0, 0, -1 if self.truth.tooth.jaw == "lower" else 1), size=SIZE,
        )  # fmt: skip
        return Plan(
            jaw=self.truth.tooth.jaw,
            level=FLAT,
            arch_points=line[::-1] if self.backwards else line,
            side_answers=self.answers,
            fixtures=(fixture,),
            midline=self.truth.midline * self.lie if self.midline else None,
        )

    @property
    def scan_is_true(self) -> bool:
        return bool(np.all(self.lie == 1.0))

    def outcome(self) -> str:
        """``open``, ``contradicted``, ``unnamed``; else ``right``, or what is swapped."""
        plan = self.plan
        arch = traced(plan)
        if contradictions(plan, arch):
            return "contradicted"
        if open_question(plan, arch) is not None:
            return "open"
        if not left_and_right_named(plan, arch, self.tooth):
            return "unnamed"
        frame = arch.frame(arch.station(plan.fixtures[0].platform))
        wrong = [
            name
            for name, found, true in (
                ("cheek and tongue", frame.buccal, self.truth.cheek * self.lie),
                ("left and right", frame.travel, self.truth.travel * self.lie),
            )
            if float(found @ true) <= 0
        ]
        if self.tooth and Tooth.of(self.tooth).side != self.truth.tooth.side:
            wrong.append("the tooth")
        return " and ".join(wrong) or "right"


def other_side(tooth: Tooth) -> str:
    return f"{ {1: 2, 2: 1, 3: 4, 4: 3}[tooth.quadrant] }{tooth.position}"


def said(t: Truth, lie, region, end, tongue) -> SideAnswers:
    """Answers as they are stored: places in the scan as it is shown."""
    line = t.line * lie
    place = None if end is None else as_point(line[0 if end else -1])
    back = region in ("left back", "right back")
    cheek = None
    if tongue is not None:
        towards = t.cheek * lie * (1 if tongue else -1)
        cheek = CheekAnswer(at=as_point(t.place * lie), towards=as_point(towards))
    return SideAnswers(
        region=region,
        front_end=place if back else None,
        right_end=None if back else place,
        cheek=cheek,
    )


def is_true_end(t: Truth, region: str | None, end: bool | None) -> bool:
    """Whether an answer about an end is right; the first of the line is the patient's right."""
    if end is None:
        return True
    return end is (region != "right back")


def cases(number, field):
    """Each combination once; traced from the other end wherever the person says what is true."""
    t = truth(number, field)
    wrong_tooth = other_side(t.tooth)
    midlines = (False, True) if t.midline is not None else (False,)
    # Where the trace bows nobody is asked for the tongue; the small field stands for them all.
    tongues = (None, True, False) if field in ("straight", 40.0) else (None,)
    for lie, region, tongue in product(LIES, (None, *REGIONS), tongues):
        for end in (None, True, False) if region else (None,):
            answers = said(t, lie, region, end, tongue)
            honest = region in (None, *t.regions) and is_true_end(t, region, end)
            honest = honest and tongue is not False
            for tooth, midline in product((number, wrong_tooth, ""), midlines):
                true = honest and tooth != wrong_tooth
                for backwards in (False, True) if true else (False,):
                    yield Case(
                        truth=t, lie=lie, answers=answers, tooth=tooth, midline=midline,
                        true_answers=true, backwards=backwards,
                    )  # fmt: skip


def all_told_is_of_the_other_side(case: Case) -> bool:
    """Every word of the person is for the other side of the mouth: teeth, tooth and tongue."""
    other = "left" if case.truth.tooth.side == "right" else "right"
    return case.answers.side == other and case.tooth == other_side(case.truth.tooth)


@pytest.fixture
def curves_kept(monkeypatch):
    """The same few traces come again thousands of times: each is laid once."""

    @lru_cache(maxsize=4096)
    def kept(points):
        return Curve.through(np.frombuffer(points).reshape(-1, 3))

    class Kept:
        @staticmethod
        def through(points_mm):
            return kept(np.ascontiguousarray(points_mm).tobytes())

    monkeypatch.setattr("core.arch.Curve", Kept)


@pytest.mark.usefixtures("curves_kept")
@pytest.mark.parametrize("field", FIELDS)
@pytest.mark.parametrize("number", SITES)
def test_nothing_stands_swapped(number, field):
    tally = Counter()
    for case in cases(number, field):
        outcome = case.outcome()
        tally[outcome] += 1
        if outcome in STOPPED:
            continue
        if case.true_answers:
            # Whatever the scan claims, and whichever end the trace began at.
            assert outcome == "right", case
        elif case.scan_is_true:
            # Whatever the person says. Where the trace tells nothing, and teeth, tooth and tongue
            # are all named for the other side, nothing is left that could speak against it: that
            # is what the comparison with patient or chart before signing is for.
            assert outcome == "right" or (
                field == "straight" and all_told_is_of_the_other_side(case)
            ), case
        # A scan and a person who are wrong in the same way tell the true story of another mouth.
    assert tally["contradicted"] > 0
    assert tally["open"] + tally["unnamed"] > 0
    assert tally["right"] > 0


@pytest.mark.usefixtures("curves_kept")
@pytest.mark.parametrize("field", FIELDS)
@pytest.mark.parametrize("number", SITES)
def test_who_answers_truly_of_a_true_scan_is_soon_done(number, field):
    t = truth(number, field)
    true = {
        "teeth": lambda a: replace(a, region=t.regions[0]),
        "tongue": lambda a: replace(a, cheek=said(t, LIES[0], None, None, True).cheek),
        "front end": lambda a: replace(a, front_end=as_point(t.line[-1 if right else 0])),
        "right end": lambda a: replace(a, right_end=as_point(t.line[0])),
    }
    right = t.tooth.side == "right"
    case = Case(
        truth=t, lie=LIES[0], answers=SideAnswers(), tooth=number, midline=False,
        true_answers=True, backwards=False,
    )  # fmt: skip
    asked = []
    while case.outcome() == "open":
        question = open_question(case.plan, traced(case.plan))
        asked.append(question)
        if question == "midline":
            case = replace(case, midline=True)
        else:
            case = replace(case, answers=true[question](case.answers))
    assert case.outcome() == "right"
    assert len(asked) == len(set(asked))
    assert len(asked) <= (3 if field == "straight" else 2), asked
    if field is None:
        assert asked == []


def test_one_answer_of_a_small_left_scan_can_no_longer_swap_cheek_and_tongue():
    # A straight trace behind the left premolars; an old plan names
    # one end as the patient's right.
    line = np.array([(20.0, 0, 0), (21.5, 18, 0), (23.0, 36, 0)])
    fixture = Fixture(id="36", tooth="36", platform=line[1], towards_apex=(0, 0, -1), size=SIZE)
    for end in (0, -1):
        plan = Plan(
            jaw="lower", level=FLAT, arch_points=line, fixtures=(fixture,),
            side_answers=SideAnswers(right_end=as_point(line[end])),
        )  # fmt: skip
        assert open_question(plan, traced(plan)) == "front end"
    # The tags say front is forwards; a person sees the front teeth at the other end.
    told = SideAnswers(region="left back", front_end=as_point(line[-1]))
    plan = replace(plan, side_answers=told)
    assert [f.code for f in contradictions(plan, traced(plan))] == ["side-signs-disagree"]
