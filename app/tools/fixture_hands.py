"""Moving a fixture by mouse and keys: body, either end, nudges, alignment."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent

from app.pictures.draft import Draft, Handle
from app.pictures.hit import Hit
from app.tools.base import View
from app.tools.fixture_keys import act_on_fixture
from app.tools.mark_keys import ARROWS, NUDGE_MM, Grab
from app.tools.picking import FixturePart, fixture_at
from core.fixture import Fixture
from core.geometry import Array, unit
from core.plans import edit, edit_pose
from core.plans.direction_words import direction_words
from core.plans.marks import Mark
from core.plans.plan import Plan
from core.trust.figures import nearest
from core.words.catalogue import Words, message, say

TILT_DEG = 0.5
FIXTURE_KEYS = message("tools.fixture_hands.ctrl-arrows-move-0-1")

_APEX = message("tools.fixture_hands.apex")
_PLATFORM = message("tools.fixture_hands.platform")


class FixtureHands(Grab):
    """Takes fixtures as well as marks."""

    def fixture(self) -> Fixture | None:
        """The fixture that keys act on while no mark is chosen: the one of the fixture panel."""
        return None if self.chosen_mark() is not None else self.session.fixture

    def chosen_mark(self) -> Mark | None:
        """The mark chosen last; selecting a fixture anywhere lets go of it."""
        if any(f.id == self.session.selected for f in self.session.plan.fixtures):
            return None
        return super().chosen_mark()

    # -- mouse ---------------------------------------------------------------------------

    def take(self, view: View, hit: Hit) -> bool:
        """A mark, else a fixture: its body moves, an end tilts it about the other end."""
        if super().take(view, hit):
            return True
        found = fixture_at(view, hit, self.session.plan.fixtures)
        if found is None:
            return False
        fixture, part = found
        self.chosen = None
        self.session.go_to(selected=fixture.id)
        if edit.is_locked(self.session.plan, fixture.id):
            self.desk.say(say("tools.fixture_hands.fixture-is-locked-l-unlocks", id=fixture.id))
            return True
        plan = self.session.plan
        self.hold(
            hit,
            lambda shift: _pulled(plan, fixture, part, shift),
            lambda after: self._words(fixture, part, after),
        )
        return True

    def _words(self, before: Fixture, part: FixturePart, plan: Plan) -> Words:
        after = edit.find(plan, before.id)
        if part == "body":
            shift = after.platform - before.platform
            where = direction_words(plan, self.session.arch, before, shift)
            return message(
                "tools.fixture_hands.moved-mm",
                id=before.id,
                norm=nearest(float(np.linalg.norm(shift)), 1),
                where=where,
            )
        angle = nearest(edit_pose.tilt_between_deg(before, after), 1)
        about = _APEX if part == "platform" else _PLATFORM
        return message(
            "tools.fixture_hands.tilted-about-its", id=before.id, angle=angle, about=about
        )

    # -- keys ----------------------------------------------------------------------------

    def arrow(self, event: QKeyEvent, held: Qt.KeyboardModifier) -> bool:
        """Alt + arrows tilt; the rest as for marks."""
        view, fixture = self.key_view(), self.fixture()
        if held & Qt.KeyboardModifier.AltModifier and view is not None and fixture is not None:
            about_apex = bool(held & Qt.KeyboardModifier.ShiftModifier)
            return self._tilt(view, fixture, np.array(ARROWS[Qt.Key(event.key())]), about_apex)
        return super().arrow(event, held)

    def nudge(self, view: View, way: Array) -> bool:
        """The selected fixture a small step in the picture."""
        fixture = self.fixture()
        if fixture is None:
            return super().nudge(view, way)
        shift = self.shift_mm(view, fixture.platform, way * NUDGE_MM)
        where = direction_words(self.session.plan, self.session.arch, fixture, shift)
        return self.do(
            message(
                "tools.fixture_hands.moved-mm-2", id=fixture.id, nudge_mm=NUDGE_MM, where=where
            ),
            lambda p: edit_pose.nudged(p, fixture.id, shift, NUDGE_MM),
        )

    def extra_key(self, event: QKeyEvent) -> bool:
        """Depth and alignment."""
        fixture = self.fixture()
        if fixture is None:
            return False
        deeper = {Qt.Key.Key_PageDown: NUDGE_MM, Qt.Key.Key_PageUp: -NUDGE_MM}
        key, held = Qt.Key(event.key()), event.modifiers() & ~Qt.KeyboardModifier.KeypadModifier
        if key in deeper and held == Qt.KeyboardModifier.ControlModifier:
            by = deeper[key]
            return self.do(
                message(
                    "tools.fixture_hands.deeper" if by > 0 else "tools.fixture_hands.shallower",
                    id=fixture.id,
                    mm=NUDGE_MM,
                ),
                lambda p: edit_pose.fixture_deepened(p, fixture.id, by),
            )
        shift = Qt.KeyboardModifier.ShiftModifier
        if not held & ~shift and act_on_fixture(key, self.session, self.desk):
            return True
        if held or key not in (Qt.Key.Key_S, Qt.Key.Key_J, Qt.Key.Key_O):
            return False
        target = self._target(fixture, key)
        if target is None:
            self.desk.say(say("tools.fixture_hands.there-is-nothing-of-that"))
            return True
        axis, words = target
        return self.do(
            message("tools.fixture_hands.laid-along", id=fixture.id, words=words),
            lambda p: edit_pose.fixture_aligned(p, fixture.id, axis, about="platform"),
        )

    def selected_fixture(self) -> Fixture | None:
        """The fixture that a person selected: only that one is deleted or locked by a key."""
        fixture = self.fixture()
        chosen = fixture is not None and fixture.id == self.session.selected
        return fixture if chosen else None

    def delete(self) -> bool:
        """Delete the selected fixture, or the chosen mark."""
        fixture = self.selected_fixture()
        if fixture is None:
            return super().delete()
        self.do(
            message("tools.fixture_hands.fixture-deleted", id=fixture.id),
            lambda p: edit.without(p, fixture.id),
        )
        return True

    def lock(self) -> bool:
        """Lock or unlock the selected fixture."""
        fixture = self.selected_fixture()
        return super().lock() if fixture is None else self.lock_thing(fixture.id)

    def _tilt(self, view: View, fixture: Fixture, way: Array, about_apex: bool) -> bool:
        end = fixture.platform if about_apex else fixture.apex
        towards = self.shift_mm(view, end, way)
        axis = fixture.towards_apex
        aside = towards - axis * float(towards @ axis)
        if float(np.linalg.norm(aside)) < 0.2 * float(np.linalg.norm(towards)):
            return True  # along the axis there is nothing to tilt
        where = direction_words(self.session.plan, self.session.arch, fixture, aside)
        about: edit_pose.About = "apex" if about_apex else "platform"
        end_words = _PLATFORM if about_apex else _APEX
        return self.do(
            message(
                "tools.fixture_hands.tilted-its",
                id=fixture.id,
                tilt_deg=TILT_DEG,
                end_words=end_words,
                where=where,
            ),
            lambda p: edit_pose.fixture_tilted(p, fixture.id, aside, TILT_DEG, about=about),
        )

    def _target(self, fixture: Fixture, key: Qt.Key) -> tuple[Array, str] | None:
        """Direction and name of what the axis is to lie along."""
        plan = self.session.plan
        if key == Qt.Key.Key_J:
            return (
                None
                if plan.level is None
                else (plan.level.up, say("tools.fixture_hands.the-jaw-planes-normal"))
            )
        if key == Qt.Key.Key_S:
            axes = sorted(
                plan.stent_axes,
                key=lambda a: float(np.linalg.norm(a.gingival - fixture.platform)),
            )
            return (
                (
                    unit(axes[0].gingival - axes[0].occlusal),
                    say("tools.fixture_hands.the-stent-axis"),
                )
                if axes
                else None
            )
        others = sorted(
            (f for f in plan.fixtures if f.id != fixture.id),
            key=lambda f: float(np.linalg.norm(f.platform - fixture.platform)),
        )
        return (
            (others[0].towards_apex, say("tools.fixture_hands.fixture", id=others[0].id))
            if others
            else None
        )

    # -- drawing -------------------------------------------------------------------------

    def extra_draft(self, view: View) -> Draft:
        """Handles at both ends of the fixtures that the picture shows."""
        if not view.has_picture or view.kind == "arch map":
            return Draft()
        handles: list[Handle] = []
        for fixture in self.session.plan.fixtures:
            radius = fixture.size.diameter_mm / 2
            chosen = self.fixture() is fixture
            for u, v, off in view.uv_mm(np.stack([fixture.platform, fixture.apex])):
                if abs(off) <= radius:
                    at = (float(u), float(v))
                    handles.append(Handle(at=at, chosen=chosen, quiet=abs(off) > 0.3))
        return Draft(handles=tuple(handles))


def _pulled(plan: Plan, fixture: Fixture, part: FixturePart, shift: Array) -> Plan:
    if part == "body":
        return edit_pose.fixture_moved(plan, fixture.id, shift)
    end = fixture.platform if part == "platform" else fixture.apex
    return edit_pose.fixture_end_to(plan, fixture.id, part, end + shift)
