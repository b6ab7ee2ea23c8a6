"""The one object that holds the case: scan, plan, ledger, the place looked at, and undo."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

from PySide6.QtCore import QObject, QTimer, Signal
from PySide6.QtGui import QUndoCommand, QUndoStack

from app.case.basis_cache import KeptBasis
from app.case.derived import Derived, Subject
from app.case.measuring import Measured, Measuring
from app.case.plan_diff import why_shut
from app.case.settings import settings_of
from app.case.side import SideState
from core.arch import Arch
from core.distances.freehand import Series
from core.drawing import window_of_volume
from core.fixture import Fixture
from core.geometry import Array, vector
from core.image.volume import Volume
from core.measuring.control_film import own_series
from core.measuring.ledger import Ledger
from core.plans.edit_side import side_kept
from core.plans.history import sign_off_state, with_entry
from core.plans.outside import newly_outside
from core.plans.plan import Jaw, Plan
from core.proposing.crowns import Miss
from core.proposing.proposal import Proposal
from core.words import sentence
from core.words.catalogue import Message, Words, message

PICTURES_FIRST_MS = 250
LEAST_ALONG_MM = 0.05
AT_FIXTURE_MM = 0.75
"""A section nearer to the fixture than this shows the fixture, and goes along with it."""


JAW_WORDS: dict[Jaw, Message] = {
    "lower": message("case.session.lower-jaw"),
    "upper": message("case.session.upper-jaw"),
}
_CONFIRMED = {
    (True, True): "case.session.plane-and-arch-confirmed",
    (True, False): "case.session.plane-confirmed",
    (False, True): "case.session.arch-confirmed",
    (False, False): "case.session.jaw-named",
}
"""What is told of a confirmation: of the plane, of the arch."""


class _Step(QUndoCommand):
    """One named change of the plan: keeping the old value is the undo."""

    def __init__(self, session: Session, text: Words, before: Plan, after: Plan) -> None:
        super().__init__(str(text))
        self._words = text
        self._session = session
        self.before = before
        self._after = after
        self._done_before = False

    def redo(self) -> None:
        text = self._words
        if self._done_before:
            text = message("case.session.done-again", what=text)
        self._done_before = True
        self._session.install(self._after, text)

    def undo(self) -> None:
        undone = message("case.session.undone", what=self._words)
        self._session.install(self.before, undone, back=True)


class Session(QObject):
    """Volume, plan and ledger of the open case.

    Views re-read what they need when a signal comes; signals carry no state. All changes go
    through `apply` (one undoable step) or `preview` ... `commit` (a drag: many previews, one step).
    Every step, its undoing included, is one line of the plan's history: what was done stays
    written, and the revision only ever rises.

    Signals
    -------
    scan_changed
        Another scan, or none.
    plan_changed(text)
        The plan is another one; the text names the step, empty where it is none.
    plan_previewed
        The plan moved under a drag.
    place_changed
        Station, turn, selection, slab, window.
    ledger_changed
        Read `ledger`, `ledger_is_current`, `ledger_is_whole`, `ledger_problem`.
    refused(message)
        A change of a signed plan was not made; the sentence says how to open it again.
    """

    scan_changed = Signal()
    plan_changed = Signal(str)
    plan_previewed = Signal()
    place_changed = Signal()
    ledger_changed = Signal()
    refused = Signal(str)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.volume: Volume | None = None
        self.source = ""
        """Folder, file or zip that the scan was read from."""
        self.reading = ""
        """Why nothing may be changed here: somebody else has the case open; empty: it may."""
        self.went_back = False
        self.operator = ""
        """Initials of the person at the bench, for the log and for answers."""
        self.plan = Plan()
        self.proposal: Proposal | None = None
        """Jaw, jaw plane and arch proposed from the image: shown, never measured on."""
        self.undo_stack = QUndoStack(self)
        self.station_mm = 0.0
        self.turn_deg: float | None = None
        """None: section across the arch; else plane through the selected fixture's axis."""
        self.selected = ""
        """Id of the fixture, site or structure that keys and panels act on; empty: none."""
        self._fixture_id = ""
        self.point_mm: Array | None = None
        """The place clicked last, patient LPS mm: marked on every picture."""
        self.slab_mm = 0.0
        self.slab_maximum = False
        self.window: tuple[float, float] = (0.0, 1.0)
        self.ledger: Ledger | None = None
        self.ledger_is_current = False
        """False: the ledger is that of an earlier plan; its values must not be shown."""
        self.ledger_is_whole = False
        """False: bone rows are still being measured; those missing read "..."."""
        self.ledger_problem: Exception | None = None
        self._before_drag: Plan | None = None
        self._wanted: Plan | None = None
        self._derived = Derived()
        self.basis = KeptBasis()
        self._measure_soon = QTimer(self, singleShot=True)
        self._measure_soon.timeout.connect(self._measure)
        self._measuring = Measuring(self.basis, self._measured, self._not_measured, parent=self)

    # -- the scan ------------------------------------------------------------------------

    def open(
        self,
        volume: Volume,
        plan: Plan | None = None,
        proposal: Proposal | None = None,
        *,
        source: str = "",
        window: tuple[float, float] | None = None,
        reading: str = "",
    ) -> None:
        """Start a case on a scan; everything of the former case is dropped.

        Parameters
        ----------
        window : (low, high), optional
            Grey values shown as black and white, where they were computed already.
        reading : str
            Why nothing may be changed here.
        """
        self._forget()
        self.volume = volume
        self.source = source
        self.reading = reading
        self.proposal = proposal
        self.plan = Plan() if plan is None else plan
        self.window = window_of_volume(volume) if window is None else window
        self._go_to_first_place()
        self.scan_changed.emit()
        self._installed("", measure=False)
        # The window shows the pictures first: measuring beside that would only make it falter.
        self._measure_soon.start(PICTURES_FIRST_MS)

    def close(self) -> None:
        """Let go of the scan and its memory."""
        self._forget()
        self.scan_changed.emit()
        self.ledger_changed.emit()

    def _forget(self) -> None:
        self._measure_soon.stop()
        self._measuring.drop()
        self.basis.forget()
        self.volume = None
        self.source = self.reading = ""
        self.proposal = None
        self.plan = Plan()
        self.undo_stack.clear()
        self.selected = self._fixture_id = ""
        self.point_mm = None
        self.turn_deg = None
        self.station_mm = 0.0
        self.slab_mm, self.slab_maximum = 0.0, False
        self.ledger = None
        self.ledger_is_current = self.ledger_is_whole = False
        self.ledger_problem = None
        self._before_drag = self._wanted = None
        self._derived = Derived()

    def _go_to_first_place(self) -> None:
        arch = self.arch
        if arch is None:
            return
        if self.plan.fixtures:
            self.selected = self._fixture_id = self.plan.fixtures[0].id
            self.station_mm = arch.station(self.plan.fixtures[0].platform)
        elif self.plan.sites:
            self.selected = self.plan.sites[0].id
            self.station_mm = self.plan.sites[0].station_mm
        else:
            self.station_mm = arch.length_mm / 2

    # -- derived, never stored in the plan -----------------------------------------------

    @property
    def confirmed(self) -> bool:
        """True once jaw, jaw plane and arch were confirmed or edited by a person."""
        p = self.plan
        return p.jaw is not None and p.level is not None and p.arch_points is not None

    @property
    def plane_is_found(self) -> bool:
        """False while the plane that guides the pictures is only level in the scanner."""
        proposal = self.proposal
        return self.plan.level is not None or (
            proposal is not None and proposal.plane_from != "scanner"
        )

    @property
    def plane_misses(self) -> tuple[Miss, ...]:
        """How far the jaw plane that guides the pictures lies off the teeth that were seen."""
        return self._derived.plane_misses(self.guide, self.arch, self.proposal)

    @property
    def guide(self) -> Plan:
        """The plan whose jaw plane and arch guide the pictures: the user's, else the proposal."""
        return self._derived.guide(self.plan, self.proposal)

    @property
    def arch(self) -> Arch | None:
        """The arch that pictures follow; None until there are a jaw plane and two marks."""
        return self._derived.arch(self.guide)

    @property
    def side(self) -> SideState:
        """How the side of the plan stands."""
        return self._derived.side(self.plan, self.arch if self.confirmed else None)

    @property
    def fixture(self) -> Fixture | None:
        """The fixture selected last, else the first: whose numbers and planes are shown."""
        for fixture in self.plan.fixtures:
            if fixture.id == self._fixture_id:
                return fixture
        return self.plan.fixtures[0] if self.plan.fixtures else None

    @property
    def subjects(self) -> tuple[Subject, ...]:
        """Station, id and tooth of every fixture and site."""
        return self._derived.subjects(self.plan, self.arch)

    @property
    def tooth_here(self) -> str:
        """ISO 3950 number of the fixture or site within 8 mm of the station; empty: none."""
        near = [(abs(at - self.station_mm), tooth) for at, _id, tooth in self.subjects if tooth]
        gap, tooth = min(near, default=(1e9, ""))
        return tooth if gap <= 8.0 else ""

    @property
    def dragging(self) -> bool:
        """True between the first `preview` and its `commit` or `abandon`."""
        return self._before_drag is not None

    # -- changes -------------------------------------------------------------------------

    def apply(self, text: Words, plan: Plan) -> bool:
        """Make one undoable change, named for the undo menu and the log; False: refused."""
        self.abandon()
        if why := why_shut(self.plan, plan, reading=self.reading):
            self.refused.emit(why)
            return False
        outside = self._outside(self.plan, plan)
        if outside:
            self.refused.emit(outside)
            return False
        self.undo_stack.push(_Step(self, text, self.plan, side_kept(self.plan, plan)))
        return True

    @property
    def undo_takes_signature(self) -> bool:
        """True where the last step made the signature that the plan has now."""
        step = self.undo_stack.command(self.undo_stack.index() - 1)
        return (
            isinstance(step, _Step)
            and sign_off_state(self.plan) == "signed"
            and sign_off_state(step.before) != "signed"
        )

    def _outside(self, before: Plan, after: Plan) -> str:
        """Why an edit is not taken: a mark of it lies where nothing was scanned; empty: taken."""
        if self.volume is None:
            return ""
        marks = newly_outside(before, after, self.volume)
        return sentence("mark-not-accepted", {"mark": marks[0].words()}) if marks else ""

    def change(self, text: Words, edit: Callable[[Plan], Plan]) -> None:
        """`apply` of an edit function on the present plan."""
        self.abandon()
        self.apply(text, edit(self.plan))

    def preview(self, plan: Plan) -> None:
        """Show a plan while something is dragged; nothing is recorded yet.

        Where clearances are measured along, pictures and numbers change together as soon as the
        quick measurement is there, so that no number ever stands beside another pose.
        """
        if why := why_shut(self._before_drag or self.plan, plan, reading=self.reading):
            self.refused.emit(why)
            return
        if self._before_drag is None:
            self._before_drag = self.plan
            self._measuring.drop()
        self._wanted = plan
        if self._quick(plan):
            if not self._measuring.awaited:
                self._ask_quick()
            return
        self._measuring.drop()
        self.plan = plan
        self.ledger_is_current = self.ledger_is_whole = False
        self.plan_previewed.emit()
        self.ledger_changed.emit()

    def commit(self, text: Words) -> None:
        """End a drag: one undoable step from before it to now."""
        if self._before_drag is None:
            return
        before, after = self._before_drag, self._wanted or self.plan
        outside = self._outside(before, after)
        if outside:
            self.abandon()
            self.refused.emit(outside)
            return
        self._before_drag = self._wanted = None
        self.plan = before
        self.undo_stack.push(_Step(self, text, before, side_kept(before, after)))

    def abandon(self) -> None:
        """End a drag as if it had not been."""
        if self._before_drag is not None:
            self.plan, self._before_drag, self._wanted = self._before_drag, None, None
            self._installed("")

    def install(self, plan: Plan, text: Words, *, back: bool = False) -> None:
        """Make a plan the present one, as one more line of the history (steps come here).

        Parameters
        ----------
        back : bool
            It takes a step back, which is told by `went_back` to who hears `plan_changed`.
        """
        self.went_back = back
        left = self._fixture_place()
        now = datetime.now(UTC).astimezone().isoformat(timespec="seconds")
        grown = replace(plan, history=self.plan.history, revision=self.plan.revision)
        self.plan = with_entry(grown, who=self.operator, when=now, what=text)
        went = self._go_along(left, self._fixture_place())
        self._installed(str(text))
        if went:
            self.place_changed.emit()

    def _fixture_place(self) -> tuple[str, float] | None:
        """Id and station of the fixture whose numbers are shown."""
        fixture, arch = self.fixture, self.arch
        if fixture is None or arch is None:
            return None
        return fixture.id, arch.station(fixture.platform)

    def _go_along(self, left: tuple[str, float] | None, now: tuple[str, float] | None) -> bool:
        """A section that stood at the fixture stays with it: else it shows a place without one."""
        if left is None or now is None or left[0] != now[0]:
            return False
        # Moved within the section the fixture stays in it, and the pictures need not be cut anew.
        along = abs(now[1] - left[1]) > LEAST_ALONG_MM
        if not along or abs(self.station_mm - left[1]) > AT_FIXTURE_MM:
            return False
        self.station_mm = now[1]
        return True

    def _installed(self, text: str, *, measure: bool = True) -> None:
        self.ledger_is_current = self.ledger_is_whole = False
        if self.selected and self.selected not in _ids(self.plan):
            self.selected = ""
        if self.fixture is None:
            self.turn_deg = None
        self.plan_changed.emit(text)
        if measure:
            self._measure()

    def confirm_proposal(self, jaw: Jaw) -> None:
        """Take over what is still proposed as the person's own, for the jaw that they name."""
        plan, guide = self.plan, self.guide
        # A plane that is only the scanner's level was not proposed: a person sets it.
        level = guide.level if self.plane_is_found else None
        with_plane = plan.level is None and level is not None
        with_arch = plan.arch_points is None and guide.arch_points is not None
        key = _CONFIRMED[with_plane, with_arch]
        self.apply(
            message(key, jaw=JAW_WORDS[jaw]),
            replace(plan, jaw=jaw, level=level, arch_points=guide.arch_points),
        )

    # -- place ---------------------------------------------------------------------------

    def go_to(
        self,
        *,
        station_mm: float | None = None,
        turn_deg: float | None = None,
        across: bool = False,
        selected: str | None = None,
        point_mm: Array | None = None,
    ) -> None:
        """Look elsewhere; `across` returns from a plane through an axis to the arch's section."""
        if station_mm is not None:
            self.station_mm = float(station_mm)
        if point_mm is not None:
            self.point_mm = vector(point_mm)
        if selected is not None:
            self.selected = selected
            if any(f.id == selected for f in self.plan.fixtures):
                self._fixture_id = selected
        if turn_deg is not None and self.fixture is not None:
            self.turn_deg = float(turn_deg) % 360.0
        if across or self.fixture is None:
            self.turn_deg = None
        self.place_changed.emit()

    def step(self, steps: int, *, step_mm: float = 1.0) -> None:
        """Step along the arch, towards the patient's left for positive steps.

        Never further than 10 mm past its ends.
        """
        arch = self.arch
        if arch is None:
            return
        station = min(max(self.station_mm + steps * step_mm, -10.0), arch.length_mm + 10.0)
        self.go_to(station_mm=station, across=True)

    def look_through(
        self,
        *,
        slab_mm: float | None = None,
        maximum: bool | None = None,
        window: tuple[float, float] | None = None,
    ) -> None:
        """Change how pictures are shown: thickness, mean or maximum, grey window.

        No number depends on any of it.
        """
        if slab_mm is not None:
            self.slab_mm = min(max(0.0, float(slab_mm)), 20.0)
        if maximum is not None:
            self.slab_maximum = maximum
        if window is not None and window[1] > window[0]:
            self.window = (float(window[0]), float(window[1]))
        self.place_changed.emit()

    # -- measuring -----------------------------------------------------------------------

    def _quick(self, plan: Plan) -> bool:
        return (
            self.volume is not None
            and bool(plan.fixtures)
            and plan.jaw is not None
            and plan.level is not None
            and plan.arch_points is not None
            and self._measuring.fits(plan, self.volume)
        )

    def _ask_quick(self) -> None:
        if self.volume is not None and self._wanted is not None:
            self._measuring.ask(self._wanted, self.volume, whole=False)

    def _measure(self) -> None:
        self._measure_soon.stop()
        if self.volume is None or not self.confirmed:
            self._measuring.drop()
            self.ledger = None
            self.ledger_problem = None
            self.ledger_changed.emit()
            return
        self.ledger_changed.emit()
        whole = not self.plan.fixtures
        self._measuring.ask(self.plan, self.volume, whole=whole, own=self._own_series())

    def _own_series(self) -> Series | None:
        """The operator's own mean deviations, once there are control films enough."""
        settings = settings_of(self).value
        return own_series(settings.control_films, self.operator or settings.initials)

    def _measured(self, measured: Measured) -> None:
        plan = measured.ledger.plan
        if self.dragging:
            if self._wanted is None or self.volume is None:
                return
            self.plan = plan
            self._take(measured)
            self.plan_previewed.emit()
            self.ledger_changed.emit()
            if self._wanted is not plan:
                self._ask_quick()
            return
        if plan is not self.plan:
            return
        self._take(measured)
        self.ledger_changed.emit()
        if not measured.whole and self.volume is not None:
            self._measuring.ask(self.plan, self.volume, whole=True, own=self._own_series())

    def _take(self, measured: Measured) -> None:
        self.ledger = measured.ledger
        self.ledger_is_current = True
        self.ledger_is_whole = measured.whole
        self.ledger_problem = None

    def _not_measured(self, error: Exception) -> None:
        if self.dragging and self._wanted is not None:
            # The pose under the mouse cannot be measured: show it, and no number.
            self.plan = self._wanted
            self.plan_previewed.emit()
        self.ledger = None
        self.ledger_is_current = self.ledger_is_whole = False
        self.ledger_problem = error
        self.ledger_changed.emit()


def _ids(plan: Plan) -> set[str]:
    things = (*plan.fixtures, *plan.sites, *plan.structures, *plan.stent_axes)
    return {thing.id for thing in things}
