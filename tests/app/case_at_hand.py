"""A case with chosen ledger rows, so that panels and dialogs are tested without measuring."""

import numpy as np

from app.case.session import Session
from core.fixture import Fixture, FixtureSize
from core.image.volume import ScanIdentity, Volume
from core.level import Level
from core.measurement import Budget, Measurement, Note, Reading, Term
from core.measuring.ledger import Ledger
from core.plans.limits import limit_for
from core.plans.plan import Plan, SideCheck
from core.plans.plan_file import plan_fingerprint
from core.proposing.proposal import Proposal
from tests.details import details_of

IDENTITY = ScanIdentity(
    patient_name="QUARRY^Sample",
    patient_id="S-0107",
    birth_date="1961-04-02",
    study_date="2026-09-14",
    series_uid="1.2.3",
)


def proposed(made):
    """A plan's jaw, jaw plane and arch, as if they had been found in the image."""
    return Proposal(
        jaw=made.jaw, level=made.level, arch_points=made.arch_points, plane_from="teeth"
    )


class QuietSession(Session):
    """A session that measures nothing; `show_ledger` says what was measured."""

    def _measure(self):
        self.ledger_changed.emit()

    def _quick(self, plan):
        return False

    def show_ledger(self, ledger, *, current=True, whole=True):
        self.ledger = ledger
        self.ledger_is_current = current
        self.ledger_is_whole = whole
        self.ledger_changed.emit()


class ListeningDesk:
    """Keeps what panels and dialogs ask of the window around them."""

    def __init__(self):
        self.said, self.tools, self.errors, self.asked = [], [], [], []
        self.answer = None
        self.wanted = ""
        self.led_on = False

    def say(self, text, *, undo=False):
        self.said.append((text, undo))

    def choose(self, title, question, answers):
        self.asked.append((title, tuple(answers)))
        return self.answer

    def ask_text(self, title, question, value="", explain=None):
        return self.answer

    def tell_error(self, error):
        self.errors.append(error)

    def lead_on(self):
        self.led_on = True

    def take_tool(self, name, wanted=""):
        self.tools.append(name)
        self.wanted = wanted

    def ask_about_side(self, *, only_if_open=False):
        self.asked.append("side")

    def show_checks(self):
        self.asked.append("checks")

    def keys_to_section(self):
        self.asked.append("keys")

    def redraw(self):
        pass


def volume():
    voxels = np.zeros((12, 14, 16), dtype=np.int16)
    voxels[4:8, 4:8, 4:8] = 1000
    return Volume(
        voxels=voxels,
        mm_from_ijk=np.diag([5.0, 5.0, 5.0, 1.0]),
        made_up=np.zeros(12, dtype=bool),
        identity=IDENTITY,
    )


def plan(**changes):
    """A lower jaw whose arch runs round the front, with a fixture at 36 on the patient's left."""
    x = np.linspace(-25.0, 25.0, 9)
    arch = np.stack([x, x**2 / 20.0, np.zeros_like(x)], axis=1)
    values = {
        "jaw": "lower",
        "level": Level(origin=(0, 0, 0), up=(0, 0, 1)),
        "arch_points": arch,
        "midline": (0, 0, 0),
        "fixtures": (
            Fixture(
                id="36",
                tooth="36",
                platform=(18.0, 17.0, -1.0),
                towards_apex=(0.05, 0.1, -1.0),
                size=FixtureSize(diameter_mm=4.0, length_mm=8.0),
            ),
        ),
        "side_check": SideCheck(side="left", against="chart", by="LM", at="2026-11-24T10:31:00Z"),
    }
    return Plan(**(values | changes))


def row(
    target, value, verdict, *, kind="clearance", group="danger", limit="canal", u=0.25, **details
):
    reading = Reading(
        value=value,
        witness=None if value is None else ((18.0, 17.0, -9.0), (18.0, 19.0, -12.0)),
        notes=() if value is not None else (Note("not-marked", {"what": target.capitalize()}),),
    )
    budget = None
    if value is not None:
        budget = Budget(terms=(Term(name="placement", u=u, source="Author 2011"),))
    parts = "/".join(str(v) for v in details.values())
    return Measurement(
        id=f"36/{kind}/{target}/{parts}".rstrip("/"),
        group=group,
        kind=kind,
        target=target if kind == "clearance" else "",
        fixture="36",
        reading=reading,
        budget=budget,
        limit=None if limit is None else limit_for(limit),
        verdict=verdict,
        details=details_of(kind, details),
    )


def rows():
    return (
        row("canal-left", 6.7, "meets limit"),
        row("foramen", None, "not assessed", limit=None, expected=True),
        row("vessel-1", 3.4, "meets limit", limit="vessel"),
        row("root-35", 1.7, "too near to tell", group="roots", limit="root"),
        row("root-37", 3.1, "meets limit", group="roots", limit="root"),
        row("wall", 1.2, "below limit", kind="wall", group="bone", limit="wall-buccal",
            side="buccal"),
        row("w", 8.4, None, kind="ridge_width", group="bone", limit=None, at_depth_mm=3.0,
            along="axis"),
        row("w", 9.9, None, kind="ridge_width", group="bone", limit=None, at_depth_mm=7.0,
            along="axis"),
    )  # fmt: skip


def ledger(of, measurements=None):
    return Ledger(
        program="Sounding",
        made_at="2026-11-24T10:41:00+00:00",
        plan=of,
        plan_fingerprint=plan_fingerprint(of),
        scan=IDENTITY,
        voxel_mm=np.array([5.0, 5.0, 5.0]),
        findings=(),
        measurements=rows() if measurements is None else tuple(measurements),
    )


def all_saved(store):
    """True when the plan of a store's session as it is now is on the disk."""
    return store.record is None or store._saved_plan is store._session.plan
