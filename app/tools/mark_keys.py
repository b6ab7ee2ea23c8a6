"""What keys do in all marking tools, so that every mark can be placed without a mouse.

With a picture focused: C shows a crosshair that Ctrl + arrows move by 0.5 mm (with Shift 5 mm) and
Space places at; without a crosshair Ctrl + arrows move the chosen mark by 0.1 mm. N chooses the
next mark, Del deletes it, 1 / 2 / 3 say seen / faint / not seen, L locks, F2 names, Enter ends,
Esc abandons.
"""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QApplication

from app.pictures.draft import Draft, Handle
from app.pictures.flat_view import FlatView
from app.pictures.hit import Hit
from app.pictures.panorama_view import PanoramaView
from app.tools.base import View
from app.tools.mark_mouse import Hands
from app.tools.picking import IN_PLANE_MM, seen_in
from core.drawing import Label, Line
from core.geometry import Array
from core.identity import thing_words
from core.plans import edit, edit_marks, notes
from core.plans.direction_words import place_words
from core.plans.marks import Mark
from core.plans.plan import Plan
from core.structures import Course, Floor, Seen, Tapered
from core.words.catalogue import message, say

NUDGE_MM = 0.1
CROSSHAIR_MM, CROSSHAIR_FAST_MM = 0.5, 5.0

ARROWS = {
    Qt.Key.Key_Left: (-1.0, 0.0),
    Qt.Key.Key_Right: (1.0, 0.0),
    Qt.Key.Key_Up: (0.0, 1.0),
    Qt.Key.Key_Down: (0.0, -1.0),
}
SEEN: dict[Qt.Key, Seen] = {Qt.Key.Key_1: "yes", Qt.Key.Key_2: "faint", Qt.Key.Key_3: "no"}
SEEN_WORDS = {"yes": "seen", "faint": "faint", "no": message("tools.mark_keys.not-seen")}

KEYS_HINT = message("tools.mark_keys.c-crosshair-for-the-keys")


class Grab(Hands):
    """Base of the tools that place and move marks."""

    def extra_key(self, event: QKeyEvent) -> bool:
        """Keys of the tool itself."""
        return False

    def extra_draft(self, view: View) -> Draft:
        """What it draws beside the handles."""
        return Draft()

    # -- keys ----------------------------------------------------------------------------

    def key_view(self) -> View | None:
        """The picture that keys act on: the one with the focus, else the last one used."""
        focus = QApplication.focusWidget()
        if isinstance(focus, FlatView | PanoramaView) and focus.has_picture:
            self.view = focus
        return self.view

    def key(self, event: QKeyEvent) -> bool:
        """Keys of all marking tools, then the tool's own."""
        held = event.modifiers() & ~Qt.KeyboardModifier.KeypadModifier
        if event.key() in ARROWS:
            return self.arrow(event, held)
        plain = {
            Qt.Key.Key_Escape: self._escape,
            Qt.Key.Key_Return: self.finish,
            Qt.Key.Key_Enter: self.finish,
            Qt.Key.Key_Delete: self.delete,
            Qt.Key.Key_Backspace: self.delete,
            Qt.Key.Key_Space: self._place_at_crosshair,
            Qt.Key.Key_C: self._toggle_crosshair,
            Qt.Key.Key_N: self._next,
            Qt.Key.Key_L: self.lock,
            Qt.Key.Key_F2: self.rename,
        }
        if self.extra_key(event):
            self.desk.redraw()
            return True
        if held:
            return False
        key = Qt.Key(event.key())
        if key in SEEN:
            return self._seen(SEEN[key])
        took = plain[key]() if key in plain else False
        if took:
            self.desk.redraw()
        return took

    def arrow(self, event: QKeyEvent, held: Qt.KeyboardModifier) -> bool:
        """Ctrl + arrows: the crosshair, else the chosen mark."""
        view = self.key_view()
        ctrl = Qt.KeyboardModifier.ControlModifier
        if view is None or not held & ctrl:
            return False
        way = np.array(ARROWS[Qt.Key(event.key())])
        if self.crosshair is not None:
            fast = bool(held & Qt.KeyboardModifier.ShiftModifier)
            u, v = np.add(self.crosshair, way * (CROSSHAIR_FAST_MM if fast else CROSSHAIR_MM))
            # Out of sight it could not be found again.
            left, top = view.place(QPointF(0, 0))
            right, low = view.place(QPointF(view.width(), view.height()))
            self.crosshair = (min(max(float(u), left), right), min(max(float(v), low), top))
            self.desk.redraw()
            return True
        return self.nudge(view, way)

    def nudge(self, view: View, way: Array) -> bool:
        """Move the chosen mark a small step in the picture."""
        mark = self.chosen_mark()
        if mark is None:
            return False
        shift = self.shift_mm(view, mark.point_mm, way * NUDGE_MM)
        where = place_words(self.session.plan, self.session.arch, mark.point_mm, shift)
        return self.do(
            message("tools.mark_keys.moved-mm", words=mark.words(), nudge_mm=NUDGE_MM, where=where),
            lambda plan: edit_marks.with_mark_moved(plan, mark, mark.point_mm + shift),
        )

    def shift_mm(self, view: View, point_mm: Array, way_uv: Array) -> Array:
        """Patient vector of a step in a picture, at a place."""
        u, v, _ = view.uv_mm(point_mm[None, :])[0]
        return np.asarray(view.point_mm(u + way_uv[0], v + way_uv[1]) - view.point_mm(u, v))

    def _escape(self) -> bool:
        if self.let_go():
            return True
        if self.crosshair is not None:
            self.crosshair = None
            return True
        return self.give_up()

    def _toggle_crosshair(self) -> bool:
        view = self.key_view()
        if view is None or not view.has_picture:
            return False
        if self.crosshair is not None:
            self.crosshair = None
            return True
        self.crosshair = view.place(QPointF(view.width() / 2, view.height() / 2))
        return True

    def _place_at_crosshair(self) -> bool:
        view = self.key_view()
        if view is None or self.crosshair is None:
            return False
        u, v = self.crosshair
        hit = Hit(
            (u, v),
            view.point_mm(u, v),
            10 * view.mm_per_pixel(),
            Qt.MouseButton.LeftButton,
            Qt.KeyboardModifier.NoModifier,
        )
        self.place_or_go(view, hit)
        return True

    def _next(self) -> bool:
        marks = self.marks()
        if not marks:
            return False
        keys = [m.key for m in marks]
        at = keys.index(self.chosen) if self.chosen in keys else -1
        mark = marks[(at + 1) % len(marks)]
        arch = self.session.arch
        self.session.go_to(
            point_mm=mark.point_mm,
            station_mm=None if arch is None else arch.station(mark.point_mm),
        )
        self.choose(mark)
        self.desk.say(str(mark.words()))
        return True

    def delete(self) -> bool:
        """Delete the chosen mark."""
        mark = self.chosen_mark()
        if mark is None:
            return False
        if self.do(
            message("tools.mark_keys.deleted", words=mark.words()),
            lambda plan: edit_marks.without_mark(plan, mark),
        ):
            self.chosen = None
        return True

    def lock(self) -> bool:
        """Lock or unlock what the chosen mark belongs to."""
        mark = self.chosen_mark()
        return mark is not None and self.lock_thing(mark.owner)

    def lock_thing(self, thing_id: str) -> bool:
        """Lock or unlock a thing."""
        locked = not edit.is_locked(self.session.plan, thing_id)
        name = thing_words(thing_id)
        return self.do(
            message("tools.mark_keys.locked" if locked else "tools.mark_keys.unlocked", name=name),
            lambda plan: edit.with_lock(plan, thing_id, locked=locked),
        )

    def rename(self) -> bool:
        """Give what the chosen mark belongs to another name."""
        mark = self.chosen_mark()
        if mark is None or mark.sort in ("arch", "midline", "tissue"):
            return False
        if mark.sort == "note":
            return self._rewrite(mark)
        name = str(thing_words(mark.owner))
        words = self.desk.ask_text("Name", say("tools.mark_keys.name-of", name=name), name)
        if words is None or not words.strip():
            return True
        text = message("tools.mark_keys.named", name=name, words=words.strip())
        if self.do(text, lambda plan: edit.renamed(plan, mark.owner, words)):
            self.chosen = None
        return True

    def _rewrite(self, mark: Mark) -> bool:
        """Write other words into a note."""
        words = self.desk.ask_text(
            "Note", say("tools.mark_keys.what-is-to-be-remembered"), mark.text
        )
        if words is None or not words.strip() or words.strip() == mark.text:
            return True

        def change(plan: Plan) -> Plan:
            edit.refuse_locked(plan, mark.owner)
            return notes.with_note_text(plan, mark.owner, words)

        return self.do(
            message("tools.mark_keys.changed", thing_words=thing_words(mark.owner)), change
        )

    def _seen(self, seen: Seen) -> bool:
        mark = self.chosen_mark()
        thing = None if mark is None else edit.find(self.session.plan, mark.owner)
        if mark is None or not isinstance(thing, Course | Tapered | Floor):
            return False
        return self.do(
            message("tools.mark_keys.seen", mark=mark.words(), seen=SEEN_WORDS[seen]),
            lambda plan: edit_marks.with_mark_seen(plan, mark, seen),
        )

    # -- drawing -------------------------------------------------------------------------

    def draft(self, view: View) -> Draft:
        """Handles of its marks, the chosen one's name, the crosshair, and the tool's own."""
        own = self.extra_draft(view)
        handles: list[Handle] = []
        labels: list[Label] = []
        mark = self.chosen_mark()
        for seen in seen_in(view, self.marks()):
            chosen = mark is not None and seen.mark.key == mark.key
            quiet = seen.off_mm > IN_PLANE_MM or seen.mark.seen != "yes"
            handles.append(Handle(at=seen.at, chosen=chosen, quiet=quiet))
            if chosen and view.kind != "neighbour":  # no room for words there
                at = (seen.at[0], seen.at[1] + 22 * view.mm_per_pixel())
                labels.append(Label(text=str(seen.mark.words()), at=at, style="name"))
        lines: list[Line] = []
        if self.crosshair is not None and view is self.view:
            u, v = self.crosshair
            reach = 14 * view.mm_per_pixel()
            for du, dv in ((reach, 0.0), (0.0, reach)):
                ends = np.array([[u - du, v - dv], [u + du, v + dv]])
                lines.append(Line(style="mark", points=ends))
        return Draft(
            lines=(*lines, *own.lines),
            dots=own.dots,
            labels=(*labels, *own.labels),
            handles=(*handles, *own.handles),
            compares=own.compares,
        )
