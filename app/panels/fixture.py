"""The chosen fixture in number boxes: whatever can be dragged can be typed here."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from PySide6.QtWidgets import (
    QComboBox,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QMenu,
    QPushButton,
    QWidget,
)

from app.case.session import Session
from app.case.settings import settings_of
from app.panels.base import Panel
from app.panels.fixture_words import align_targets, lean_words, platform_words
from app.panels.pace import Pace
from app.tools.base import Desk
from app.tools.fixture_keys import sink
from app.tools.prompts import ask_tooth, likely_here
from app.tools.two_sizes import exchange, lay_beside, take_away
from app.widgets.number_box import NumberBox
from app.widgets.shared_texts import tooth_words
from core.errors import PlanError, SoundingError
from core.fixture import Fixture, FixtureSize
from core.geometry import Array
from core.identity import Tooth, thing_words
from core.plans.edit import is_locked, with_lock, with_reason, with_thing, without
from core.plans.edit_pose import (
    fixture_aligned,
    fixture_deepened,
    fixture_resized,
    with_fixture_tooth,
)
from core.plans.plausible import (
    FIXTURE_DIAMETER,
    FIXTURE_LENGTH,
    UNUSUAL,
    size_refusal,
)
from core.plans.pose import MOST_LEAN_DEG, Pose, placed, pose_of
from core.plans.sizes import size_words
from core.words.catalogue import Message, message, say

_BOXES: tuple[tuple[str, Message, str, float, float, float], ...] = (
    # code, words, unit, lowest, highest, step
    ("diameter", message("panels.fixture.diameter"), " mm",
     FIXTURE_DIAMETER.least, FIXTURE_DIAMETER.most, 0.1),
    ("length", message("panels.fixture.length"), " mm",
     FIXTURE_LENGTH.least, FIXTURE_LENGTH.most, 0.5),
    ("along", message("panels.fixture.along-arch"), " mm", -20.0, 250.0, 0.1),
    ("buccal", message("panels.fixture.buccal"), " mm", -40.0, 40.0, 0.1),
    ("height", message("panels.fixture.height"), " mm", -60.0, 60.0, 0.1),
    ("deeper", message("panels.fixture.deeper-by"), " mm", -10.0, 10.0, 0.1),
    ("tilt-buccal", message("panels.fixture.lean-buccal"), "°",
     -MOST_LEAN_DEG, MOST_LEAN_DEG, 0.5),
    ("tilt-mesial", message("panels.fixture.lean-mesial"), "°",
     -MOST_LEAN_DEG, MOST_LEAN_DEG, 0.5),
)  # fmt: skip
_FIELDS = {
    "along": "station_mm",
    "buccal": "buccal_mm",
    "height": "height_mm",
    "tilt-buccal": "lean_buccal_deg",
    "tilt-mesial": "lean_mesial_deg",
}
_MEANS = {
    "height": message("panels.fixture.height-means"),
    "deeper": message("panels.fixture.deeper-means"),
    "tilt-buccal": message("panels.fixture.lean-buccal-sign"),
    "tilt-mesial": message("panels.fixture.lean-mesial-sign"),
}
"""What a label has no room to say."""
_WORDS = {code: words for code, words, *_ in _BOXES}


class FixturePanel(Panel):
    """Size, place, lean and lock of the chosen fixture, and the choice between several."""

    title = message("panels.fixture.fixture-implant")

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.settings = settings_of(session)
        self._reading = False
        self._shown = self._what()
        self.setMinimumWidth(320)
        self.tooth = self._tooth_button()
        self.choice = QComboBox()
        self.choice.setAccessibleName(say("panels.fixture.which-fixture"))
        self.choice.activated.connect(self._choose)
        self.body.addWidget(self.choice)
        self.none = QLabel(say("panels.fixture.none-yet-take-the-tool"))
        self.none.setWordWrap(True)
        self.none.setObjectName("quiet")
        self.body.addWidget(self.none)
        self.form = QWidget()
        self.form.setObjectName("clear")
        self.form.setStyleSheet("QWidget#clear { background: transparent; }")
        grid = QGridLayout(self.form)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(6)
        grid.setVerticalSpacing(3)
        self.boxes: dict[str, NumberBox] = {}
        for number, (name, words, unit, low, high, step) in enumerate(_BOXES):
            box = self._box(name, unit, low, high, step)
            label = QLabel(str(words))
            label.setObjectName("quiet")
            label.setWordWrap(True)  # two lines where a language needs them
            label.setBuddy(box)
            if name in _MEANS:
                for widget in (label, box):
                    widget.setToolTip(str(_MEANS[name]))
                box.setAccessibleDescription(str(_MEANS[name]))
            row, column = divmod(number, 2)
            grid.addWidget(label, row, 2 * column)
            grid.addWidget(box, row, 2 * column + 1)
        grid.setColumnStretch(1, 1)
        grid.setColumnStretch(3, 1)
        self.body.addWidget(self.form)
        self.in_bone, self.sink = self._depth_line()
        self.warning = QLabel()
        self.warning.setWordWrap(True)
        self.warning.setObjectName("strong")
        self.body.addWidget(self.warning)
        self.other = self._quiet_line()
        self._buttons()
        pace = Pace(session, self.read, self)
        for signal in (
            session.scan_changed,
            session.plan_changed,
            session.plan_previewed,
            session.ledger_changed,
        ):
            signal.connect(pace.follow)
        session.place_changed.connect(self._place_changed)
        self.settings.changed.connect(self.read)
        self.read()

    def _quiet_line(self) -> QLabel:
        """Quiet words below what stands there already."""
        label = QLabel()
        label.setWordWrap(True)
        label.setObjectName("quiet")
        self.body.addWidget(label)
        return label

    def _depth_line(self) -> tuple[QLabel, QPushButton]:
        """How deep the platform stands, and what sets it to the bone's edge."""
        told = QLabel()
        told.setWordWrap(True)
        told.setObjectName("quiet")
        button = QPushButton(say("panels.fixture.to-the-edge"))
        button.setObjectName("plain")
        button.setToolTip(say("panels.fixture.to-the-edge-means"))
        button.clicked.connect(lambda _on: sink(self.session, self.desk))
        row = QHBoxLayout()
        row.addWidget(told, 1)
        row.addWidget(button)
        self.body.addLayout(row)
        return told, button

    def _buttons(self) -> None:
        """Below the boxes."""
        self.sizes = self._menu(say("panels.fixture.my-sizes"), self._fill_sizes)
        self.align = self._menu(say("panels.fixture.align"), self._fill_align)
        self.lock = QPushButton(say("panels.fixture.lock"))
        self.lock.setCheckable(True)
        self.lock.setToolTip(say("panels.fixture.locked-it-is-neither-moved"))
        self.lock.clicked.connect(self._lock)
        self.remove = QPushButton(say("panels.fixture.delete"))
        self.remove.clicked.connect(self._remove)
        row_of = QHBoxLayout()
        row_of.setSpacing(6)
        for button in (self.sizes, self.align, self.lock, self.remove):
            row_of.addWidget(button)  # each as wide as its words
        self.body.addLayout(row_of)

    def read(self) -> None:
        """Read the session anew."""
        fixture = self.session.fixture
        self._shown = self._what()
        self._reading = True
        try:
            self._read_choice(fixture)
            self._read_fixture(fixture)
        finally:
            self._reading = False

    def _place_changed(self) -> None:
        """Along the arch the chosen fixture stays the same: then there is nothing to read."""
        if any(a is not b for a, b in zip(self._shown, self._what(), strict=True)):
            self.read()

    def _what(self) -> tuple[object, ...]:
        session = self.session
        return session.fixture, session.plan, session.arch, session.confirmed

    def _read_choice(self, fixture: Fixture | None) -> None:
        fixtures = self.session.plan.fixtures
        self.choice.setVisible(len(fixtures) > 1 or (bool(fixtures) and fixture is None))
        ids = ["", *(f.id for f in fixtures)]
        if [self.choice.itemData(n) for n in range(self.choice.count())] != ids:
            self.choice.clear()
            for fixture_id in ids:
                self.choice.addItem(fixture_id or say("panels.fixture.choose-one"), fixture_id)
        self.choice.setCurrentIndex(0 if fixture is None else ids.index(fixture.id))

    def _read_fixture(self, fixture: Fixture | None) -> None:
        session = self.session
        shown = fixture is not None
        self.warning.setText(lean_words(session, fixture))
        self.warning.setVisible(bool(self.warning.text()))
        self.none.setVisible(not session.plan.fixtures)
        for widget in (
            self.form,
            self.in_bone,
            self.sink,
            self.sizes,
            self.align,
            self.lock,
            self.remove,
        ):
            widget.setVisible(shown)
        self.in_bone.setText(platform_words(session, fixture))
        other = None if fixture is None else fixture.other_size
        beside = "" if other is None else say("panels.fixture.other", size=size_words(other))
        self.other.setText(beside)
        self.other.setVisible(other is not None)
        if fixture is None:
            self.tooth.hide()
            return
        numbering = self.settings.value.numbering
        words = (
            tooth_words(fixture.tooth, numbering)
            if fixture.tooth
            else say("panels.fixture.no-tooth-named")
        )
        # The name between both numbers stands in the bar at the top; here is no room for it.
        first, _, rest = words.partition(", ")
        self.tooth.setText(f"{first} {rest[rest.find('(') :]}" if rest else f"{words} …")
        self.tooth.setAccessibleName(say("panels.fixture.tooth", words=words))
        self.tooth.show()
        locked = is_locked(session.plan, fixture.id)
        self.lock.setChecked(locked)
        self.lock.setText(say("panels.fixture.locked") if locked else say("panels.fixture.lock"))
        for button in (self.sizes, self.align, self.remove, self.sink):
            button.setEnabled(not locked)
        try:
            pose = None if session.arch is None else pose_of(fixture, session.arch)
        except PlanError:
            pose = None
        values = {"diameter": fixture.size.diameter_mm, "length": fixture.size.length_mm}
        values["deeper"] = 0.0
        if pose is not None:
            values |= {name: getattr(pose, field) for name, field in _FIELDS.items()}
        for name, box in self.boxes.items():
            box.setEnabled(name in values and not locked and session.confirmed)
            if not box.hasFocus() or not box.lineEdit().isModified():
                box.show_value(values.get(name, 0.0))

    def ask_tooth(self) -> None:
        """Ask which tooth the chosen fixture is for."""
        fixture = self.session.fixture
        if fixture is None:
            return
        tooth = ask_tooth(
            self.session, self.desk, say("panels.fixture.which-tooth-is-it-for"), fixture.tooth,
            at_mm=fixture.platform, replaces=fixture.id,
            likely=likely_here(self.session, fixture.platform),
        )  # fmt: skip
        if not tooth or tooth == fixture.tooth:
            return
        try:
            plan, called = with_fixture_tooth(self.session.plan, fixture.id, tooth)
        except SoundingError as error:
            self._tell(error)
            return
        self.session.apply(
            message("panels.fixture.fixture-is-for", id=fixture.id, words=Tooth.of(tooth).words()),
            plan,
        )
        self.session.go_to(selected=called)

    # -- edits ------------------------------------------------------------------------------

    def _typed(self, name: str) -> None:
        fixture, arch = self.session.fixture, self.session.arch
        if self._reading or fixture is None or arch is None:
            return
        value = self.boxes[name].value()
        unit = self.boxes[name].suffix()
        self.boxes[name].lineEdit().setModified(False)
        try:
            if name in ("diameter", "length"):
                self._resize(fixture, name, value)
            elif name == "deeper":
                plan = fixture_deepened(self.session.plan, fixture.id, value)
                if value:
                    self.session.apply(
                        message("panels.fixture.fixture-mm-deeper", id=fixture.id, value=value),
                        plan,
                    )
            else:
                pose: Pose = pose_of(fixture, arch)
                if abs(getattr(pose, _FIELDS[name]) - value) < 0.05:
                    return
                other = placed(fixture, replace(pose, **{_FIELDS[name]: value}), arch)
                text = message(
                    "panels.fixture.fixture-3",
                    id=fixture.id,
                    small=_WORDS[name],
                    value=value,
                    unit=unit,
                )
                self.session.apply(text, with_thing(self.session.plan, other))
        except (SoundingError, ValueError) as error:
            self._tell(error)
        self.read()

    def _resize(self, fixture: Fixture, name: str, value: float) -> None:
        size = fixture.size
        before = size.diameter_mm if name == "diameter" else size.length_mm
        if abs(before - value) < 1e-6:
            return
        # A typed size is a plain one where the old shape does not fit it any more.
        changed = {"diameter_mm": value} if name == "diameter" else {"length_mm": value}
        try:
            other = replace(size, **changed)
        except ValueError:
            other = FixtureSize(
                diameter_mm=changed.get("diameter_mm", size.diameter_mm),
                length_mm=changed.get("length_mm", size.length_mm),
            )
        self._take_size(fixture, other)

    def _take_size(self, fixture: Fixture, size: FixtureSize) -> None:
        reason = ""
        refusal = size_refusal(size, thing_words(fixture.id))
        if refusal is not None:
            if refusal.code != UNUSUAL:
                self._tell(refusal)
                self.read()
                return
            reason = (
                self.desk.ask_text(
                    say("panels.fixture.unusual-size"),
                    say("panels.fixture.reason", refusal=refusal),
                    "",
                )
                or ""
            )
            if not reason:
                self.read()
                return
        plan = fixture_resized(self.session.plan, fixture.id, size)
        plan = with_reason(plan, fixture.id, reason)
        self.session.apply(
            message("panels.fixture.fixture-set-to", id=fixture.id, size_words=size_words(size)),
            plan,
        )

    def _align(self, words: str, axis: Array) -> None:
        fixture = self.session.fixture
        if fixture is None:
            return
        try:
            plan = fixture_aligned(self.session.plan, fixture.id, axis, about="platform")
        except SoundingError as error:
            self._tell(error)
            return
        self.session.apply(
            message("panels.fixture.fixture-aligned-to", id=fixture.id, words=words), plan
        )

    def _lock(self) -> None:
        fixture = self.session.fixture
        if fixture is not None:
            locked = not is_locked(self.session.plan, fixture.id)
            text = (
                message("panels.fixture.fixture-locked", id=fixture.id)
                if locked
                else message("panels.fixture.fixture-unlocked", id=fixture.id)
            )
            self.session.apply(text, with_lock(self.session.plan, fixture.id, locked=locked))

    def _remove(self) -> None:
        fixture = self.session.fixture
        if fixture is None:
            return
        try:
            self.session.apply(
                message("panels.fixture.fixture-deleted", id=fixture.id),
                without(self.session.plan, fixture.id),
            )
        except SoundingError as error:
            self._tell(error)
            return
        self.desk.say(say("panels.fixture.fixture-deleted", id=fixture.id), undo=True)

    def _choose(self, row: int) -> None:
        fixture_id = str(self.choice.itemData(row))
        arch = self.session.arch
        fixture = next((f for f in self.session.plan.fixtures if f.id == fixture_id), None)
        if fixture is not None:
            station = None if arch is None else arch.station(fixture.platform)
            self.session.go_to(selected=fixture_id, station_mm=station)

    def _tell(self, error: Exception) -> None:
        if isinstance(error, SoundingError):
            self.desk.tell_error(error)
        else:
            self.desk.say(str(error))

    def _tooth_button(self) -> QPushButton:
        button = QPushButton()
        button.setObjectName("fold")
        button.setToolTip(say("panels.fixture.say-which-tooth-it-is"))
        button.clicked.connect(self.ask_tooth)
        self.head.addWidget(button)
        return button

    # -- parts ------------------------------------------------------------------------------

    def _box(self, name: str, unit: str, low: float, high: float, step: float) -> NumberBox:
        box = NumberBox(low, high, step=step, unit=unit)
        box.setAccessibleName(name)
        box.valueChanged.connect(lambda _value: self._typed(name))
        box.left.connect(self.desk.keys_to_section)
        self.boxes[name] = box
        return box

    def _menu(self, words: str, fill: Callable[[QMenu], None]) -> QPushButton:
        button = QPushButton(words)
        menu = QMenu(button)

        def filled() -> None:
            menu.clear()
            fill(menu)

        menu.aboutToShow.connect(filled)
        button.setMenu(menu)
        return button

    def _fill_sizes(self, menu: QMenu) -> None:
        fixture = self.session.fixture
        for mine in self.settings.value.sizes:
            action = menu.addAction(mine.words)
            action.setCheckable(True)
            action.setChecked(fixture is not None and fixture.size == mine.size)
            action.triggered.connect(lambda _on, size=mine.size: self._size_chosen(size))
        menu.addSeparator()
        beside = menu.addMenu(say("panels.fixture.look-at-beside"))
        for mine in self.settings.value.sizes:
            action = beside.addAction(mine.words)
            action.setEnabled(fixture is not None and fixture.size != mine.size)
            action.triggered.connect(
                lambda _on, size=mine.size: lay_beside(self.session, self.desk, size)
            )
        for words, act in (
            (say("panels.fixture.side-by-side"), self._side_by_side),
            (say("panels.fixture.exchange"), lambda: exchange(self.session, self.desk)),
            (say("panels.fixture.one-alone"), lambda: take_away(self.session)),
        ):
            action = menu.addAction(words)
            action.setEnabled(fixture is not None and fixture.other_size is not None)
            action.triggered.connect(lambda _on=False, act=act: act())

    def _side_by_side(self) -> None:
        from app.dialogs.two_sizes import show_two_sizes

        show_two_sizes(self.session, self.desk, self)

    def _size_chosen(self, size: FixtureSize) -> None:
        fixture = self.session.fixture
        if fixture is not None and fixture.size != size:
            self._take_size(fixture, size)

    def _fill_align(self, menu: QMenu) -> None:
        for words, axis in align_targets(self.session.plan, self.session.fixture):
            action = menu.addAction(f"to {words}")
            action.triggered.connect(lambda _on, w=words, a=axis: self._align(w, a))
