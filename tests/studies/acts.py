"""Remake reports/acts.md: what a hand does from a foreign folder to a signed sheet, act by act.

    python tests/studies/acts.py [--first 7001] [--count 1] [--only lower|upper] [--pictures FOLDER]

Whole random jaws, written as exports, are opened in the bench and planned by real mouse and key
events: a lower molar with canal, foramen and two neighbours, an upper one with a floor. A click, a
drag, a chord of keys and a field that is typed are one act each; what the hand looks at before is
not counted, 6 s an act is common practice for that (no source). Where it clicks is the true place
with a hand's error; what comes of it is compared with the truth.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections import Counter
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from shutil import rmtree

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtCore import QPoint, Qt, QTimer  # noqa: E402
from PySide6.QtTest import QTest  # noqa: E402
from PySide6.QtWidgets import (  # noqa: E402
    QApplication,
    QFileDialog,
    QInputDialog,
    QLineEdit,
    QPushButton,
)

from core.plans.history import sign_off_state  # noqa: E402
from core.version import PROGRAM  # noqa: E402
from sample_volumes.distances import fixture_distance  # noqa: E402
from tests.journeys.guided_case import pause, wait  # noqa: E402
from tests.reference.random_jaws import kernels as k  # noqa: E402
from tests.reference.random_jaws.whole import WholeJaw, whole_jaw, write  # noqa: E402

REPORT = Path(__file__).parent / "reports" / "acts.md"
TOOTH = {"lower": "46", "upper": "26"}
GOAL = {"lower": 40, "upper": 30}
SECONDS_AN_ACT = 6.0
HAND_MM = 0.2
IN_SECTION_MM = 0.4
LENGTH_MM = 8.0
NAME = "L. Marsh"
ROOM_MM = {"lower": 13.5, "upper": 12.0}
"""A site is taken where a fixture of that length can stand at all."""
LEFT = Qt.MouseButton.LeftButton
NO_KEYS = Qt.KeyboardModifier.NoModifier
CTRL = Qt.KeyboardModifier.ControlModifier
SHIFT = Qt.KeyboardModifier.ShiftModifier


@dataclass
class Acts:
    """What was done, by part of the work."""

    part: str = ""
    done: list[tuple[str, str]] = field(default_factory=list)

    def add(self, what: str) -> None:
        """One more act."""
        self.done.append((self.part, what))

    def by_part(self) -> dict[str, Counter[str]]:
        """Part → how often each sort of act, in the order of the work."""
        found: dict[str, Counter[str]] = {}
        for part, what in self.done:
            found.setdefault(part, Counter())[what] += 1
        return found


class Hand:
    """A hand at one bench that counts what it does."""

    def __init__(self, bench, jaw: WholeJaw, seed: int) -> None:
        self.bench, self.jaw, self.acts = bench, jaw, Acts()
        self.session = bench.session
        self.rng = np.random.default_rng([seed, 11])
        self.not_met: list[str] = []
        self.folder = ""
        QFileDialog.getSaveFileName = staticmethod(self._choose_folder)
        QFileDialog.getExistingDirectory = staticmethod(lambda *_: self._choose_folder()[0])
        self.sense = -1.0 if jaw.tooth[0] in "14" else 1.0

    def _choose_folder(self, *_: object, **_how: object) -> tuple[str, str]:
        """What the system's own window would answer."""
        self.acts.add("folder chosen in the system's window")
        return self.folder, ""

    # -- acts ------------------------------------------------------------------------------

    def click(self, widget, at=None, what="click", *, waits=True) -> None:
        """One click of the left button."""
        self.acts.add(what)
        if at is None:
            at = widget.rect().center()
        QTest.mouseClick(widget, LEFT, NO_KEYS, at)
        if waits:
            self.rest()

    def key(self, key, keys=NO_KEYS, on=None, *, waits=True) -> None:
        """One key, or several held together."""
        self.acts.add("key")
        QTest.keyClick(on or self.bench.pictures.section, key, keys)
        if waits:
            self.rest()

    def type(self, line: QLineEdit, words: str) -> None:
        """One field; where the keys do not go there by themselves it is clicked first."""
        if QApplication.focusWidget() is not line:
            self.acts.add("click into a field")
        self.acts.add("typed field")
        line.setFocus()
        line.selectAll()
        QTest.keyClicks(line, words)

    @contextmanager
    def answering(self, *answers: str | None, always: bool = True):
        """Answer line by line what is asked meanwhile; None: take what is offered."""
        left, timer = list(answers), QTimer(interval=40)

        def answer() -> None:
            box = QApplication.activeModalWidget()
            if not isinstance(box, QInputDialog) or not left:
                return
            line, words = box.findChild(QLineEdit), left.pop(0)
            self.acts.add("key")
            if words is not None:
                self.type(line, words)
            QTest.keyClick(line, Qt.Key.Key_Return)

        timer.timeout.connect(answer)
        timer.start()
        yield
        timer.stop()
        if left and always:
            raise LookupError(f"nobody asked for {left}")

    def rest(self) -> None:
        """Wait until what was asked for is shown and measured."""
        pause(0.12)
        wait(lambda: not self.bench.pictures.busy)
        if self.session.confirmed:
            wait(lambda: self.session.ledger_is_whole, 240)
        wait(lambda: not self.bench.pictures.busy)
        pause(0.1)

    def button(self, words: str, within=None) -> QPushButton:
        """The button that says so."""
        found = [
            b for b in (within or self.bench).findChildren(QPushButton)
            if words in b.text().replace("&", "") and b.isVisible()
        ]  # fmt: skip
        return found[0]

    # -- places ----------------------------------------------------------------------------

    def off(self, point_mm):
        """A place as a hand finds it."""
        return np.asarray(point_mm) + self.rng.normal(0.0, HAND_MM, 3)

    def go(self, point_mm) -> None:
        """Click on the arch map where a place is."""
        view = self.bench.pictures.arch_map
        self.click(view, view.screen_position(np.asarray(point_mm)).toPoint(), "click to go there")

    def step_to(self, point_mm) -> None:
        """Go there where the section that is shown lies too far from it to click in."""
        off = self.bench.pictures.section.uv_mm(np.atleast_2d(point_mm))[0, 2]
        if abs(off) > IN_SECTION_MM:
            self.go(point_mm)

    def mark(self, point_mm, what="click that marks", **options) -> None:
        """Click in the section where a place shows in it."""
        view = self.bench.pictures.section
        self.click(view, view.screen_position(np.asarray(point_mm)).toPoint(), what, **options)

    def double_click(self, point_mm) -> None:
        """Click twice in the section: the last mark, and the end."""
        view = self.bench.pictures.section
        at = view.screen_position(np.asarray(point_mm)).toPoint()
        self.acts.add("double click")
        QTest.mouseClick(view, LEFT, NO_KEYS, at)
        QTest.mouseDClick(view, LEFT, NO_KEYS, at)
        self.rest()

    def in_section(self, line_mm) -> np.ndarray:
        """Where a line goes through the section that is shown."""
        off = self.bench.pictures.section.uv_mm(np.asarray(line_mm))[:, 2]
        return line_mm[int(np.argmin(np.abs(off)))]

    def take(self, tool: str) -> None:
        """Press a tool's button, or its name in the menu of its group."""
        row = self.bench.work.tool_row
        self.click(row.button(tool), what="tool")

    def next(self) -> None:
        """The key that leads to what is still missing."""
        self.acts.add("key")
        self.bench.activateWindow()
        pause(0.1)
        QTest.keyClick(self.bench.windowHandle(), Qt.Key.Key_M, CTRL)
        self.rest()

    def at(self, s, w=0.0, depth=0.0) -> np.ndarray:
        """Place at arc length s, w from the ridge's middle and depth below the crest."""
        shape = self.jaw.shape
        w = shape.row(k.MIDDLE, s) + shape.v[k.TILT] * depth + w
        return shape.patient(shape.place(s, w, shape.row(k.TOP, s) - depth))[0]


def work(hand: Hand, folder: Path, out: Path, pictures: Path | None) -> None:
    """The whole job."""
    jaw, bench, acts = hand.jaw, hand.bench, hand.acts
    kind = "lower" if jaw.tooth[0] in "34" else "upper"

    def picture(name: str) -> None:
        if pictures is not None:
            bench.grab().save(str(pictures / f"{kind}-{name}.png"))

    acts.part = "open the folder"
    hand.folder = str(folder)
    hand.click(hand.button("folder"), what="click", waits=False)
    wait(lambda: bench.pages.currentWidget() in (bench.work, bench.chooser), 200)
    if bench.pages.currentWidget() is bench.chooser:
        raise LookupError("a chooser")
    wait(lambda: bench.pictures.panorama.has_picture)
    hand.rest()
    picture("opened")

    acts.part = "jaw plane, arch, side"
    bar = bench.work.proposed
    hand.click(bar.for_lower if kind == "lower" else bar.for_upper, waits=False)
    settle_side(hand)
    hand.rest()
    extend_arch(hand)
    picture("confirmed")

    acts.part = "fixture"
    hand.go(hand.at(0.0))
    with hand.answering(jaw.tooth):
        hand.mark(hand.in_section(np.stack([hand.at(s) for s in LINE])))
    settle_side(hand)
    hand.rest()
    picture("fixture")

    if kind == "lower":
        mark_canal(hand)
        picture("canal")
        mark_foramen(hand)
    else:
        mark_floor(hand)
    picture("floor or foramen")
    # As the key leads: the neighbour in front first.
    for way in (-hand.sense, hand.sense):
        mark_root(hand, int(way))
    picture("roots")
    mark_contacts(hand)
    picture("contacts")

    acts.part = "axis, depth, length"
    fit_fixture(hand)
    picture("fitted")
    acts.part = "side compared"
    answer_side(hand)
    acts.part = "image judged"
    judge_image(hand)
    acts.part = "look at the sheet, sign and write it"
    sign_and_write(hand, out, picture)


def extend_arch(hand: Hand) -> None:
    """Where the proposed arch ends before a neighbour, it is drawn on to it."""
    arch, view = hand.session.arch, hand.bench.pictures.arch_map
    for way in (-1, 1):
        neck = hand.jaw.root(way)[0]
        station = arch.station(neck)
        if not -2.0 <= station <= arch.length_mm + 2.0:
            hand.take("Arch")
            hand.click(view, view.screen_position(neck).toPoint(), "click that marks")


def fit_fixture(hand: Hand) -> None:
    """One key each: along both neighbours, to the bone's edge; then a length of the list."""
    wait(lambda: hand.bench.hub.active.name == "Adjust", 10)
    for key in (Qt.Key.Key_M, Qt.Key.Key_B, Qt.Key.Key_BracketLeft):
        before = hand.session.plan.fixtures[0]
        hand.key(key)
        assert hand.session.plan.fixtures[0] is not before, Qt.Key(key)
    length = hand.session.plan.fixtures[0].size.length_mm
    assert length == LENGTH_MM, length


LINE = np.arange(-14.0, 14.01, 0.05)


def settle_side(hand: Hand) -> None:
    """Answer what is asked of the side."""
    from app.dialogs.answers.side_question import SideQuestion

    pause(0.4)
    while (dialog := _shown(hand.bench, SideQuestion)) is not None:
        words = {"teeth": "whole"}.get(dialog.question)
        found = dialog.choices.buttons()
        if words:
            (choice,) = [b for b in found if words in b.text().lower()]
        else:
            choice = _true_answer(hand, dialog)
        hand.click(choice, QPoint(8, choice.height() // 2), "answer", waits=False)
        hand.click(dialog.ok, what="click", waits=False)
        pause(0.4)


def _true_answer(hand, dialog):
    arch = hand.session.plan.arch_points
    buttons = dialog.choices.buttons()
    if dialog.question == "right end":
        return buttons[0 if arch[0][0] < arch[-1][0] else 1]
    raise LookupError(dialog.question)


def _shown(bench, kind):
    found = [d for d in bench.findChildren(kind) if d.isVisible()]
    return found[-1] if found else None


def mark_canal(hand: Hand) -> None:
    """Two clicks where the pictures lead to, then the key that confirms while they run along."""
    from app.tools.follow_canal import FollowCanal

    hand.acts.part = "canal"
    line = hand.jaw.shape.canal_line
    tool = hand.bench.hub.active
    assert isinstance(tool, FollowCanal), tool
    for _ in range(2):
        hand.mark(hand.off(hand.in_section(line)), waits=False)
        pause(0.3)
    wait(lambda: bool(tool.proposed), 30)
    hand.rest()
    with hand.answering(None, always=False):
        while not tool._all_confirmed():
            wait(lambda: not tool._run.isActive(), 30)
            unseen = tool.proposed[tool._next_number()].seen == "no"
            hand.key(Qt.Key.Key_Return, NO_KEYS if unseen else SHIFT, waits=False)
            wait(lambda: tool._all_confirmed() or not tool.run_all.active, 60)
        hand.rest()
        pause(1.0)


def mark_foramen(hand: Hand) -> None:
    """One click where the canal led on to, and Enter; both edges by hand where it is refused."""
    from app.tools.find_foramen import FindForamen

    hand.acts.part = "foramen"
    tool = hand.bench.hub.active
    assert isinstance(tool, FindForamen), tool
    hand.rest()
    edges = hand.jaw.foramen_mm
    opening = edges[0] + np.linspace(0.1, 0.9, 81)[:, None] * (edges[1] - edges[0])
    off = np.abs(hand.bench.pictures.section.uv_mm(opening)[:, 2])
    if off.min() > IN_SECTION_MM:
        hand.go(edges.mean(axis=0))
    hand.mark(hand.off(hand.in_section(opening)), waits=False)
    wait(lambda: not tool.is_looking, 60)
    if tool.proposed is not None:
        hand.rest()
        hand.key(Qt.Key.Key_Return)
        return
    hand.take("foramen")
    for edge in edges:
        hand.go(edge)
        hand.mark(hand.off(edge), waits=False)
        pause(0.2)
    hand.key(Qt.Key.Key_Return)


def mark_floor(hand: Hand) -> None:
    """One click on the floor at the site, then the key that confirms section by section."""
    from app.tools.find_floor import FindFloor

    hand.acts.part = "floor"
    shape = hand.jaw.shape
    tool = hand.bench.hub.active
    assert isinstance(tool, FindFloor), tool
    floor = shape.floor(2.0)
    lowest = hand.at(0.0, 0.0, shape.row(k.FLOOR, 0.0))
    # In the section that stands there: the floor goes through it, wherever it is lowest.
    near = np.abs(hand.bench.pictures.section.uv_mm(floor)[:, 2]) < 0.15
    at = floor[near][int(np.argmin(np.linalg.norm(floor[near] - lowest, axis=1)))]
    hand.mark(hand.off(at), waits=False)
    wait(lambda: bool(tool.proposed), 60)
    hand.rest()
    hand.key(Qt.Key.Key_Return, SHIFT, waits=False)
    wait(lambda: not tool.proposed, 60)
    hand.rest()


def mark_root(hand: Hand, way: int) -> None:
    """One click in the root where the pictures led to, and Enter; by hand where it is refused."""
    from app.tools.find_root import FindRoot

    hand.acts.part = "neighbouring roots"
    neck, apex, r_neck, r_apex = hand.jaw.root(way)
    tooth = _neighbour(hand.jaw.tooth, way * hand.sense)
    if not isinstance(hand.bench.hub.active, FindRoot):
        # Nobody is led on from what was marked with a tool of one's own choice.
        hand.next()
    tool = hand.bench.hub.active
    assert isinstance(tool, FindRoot), tool
    hand.rest()
    middle = 0.5 * (neck + apex)
    if abs(hand.bench.pictures.section.uv_mm(middle[None])[0, 2]) > 0.5 * r_apex + 0.5 * r_neck:
        hand.go(middle)
    hand.mark(hand.off(middle), waits=False)
    wait(lambda: not tool.is_looking, 60)
    if tool.proposed is not None:
        hand.rest()
        hand.key(Qt.Key.Key_Return)
    else:
        hand.take("root")
        hand.step_to(neck)
        hand.mark(hand.off(neck), waits=False)
        hand.step_to(apex)
        with hand.answering(tooth, f"{2 * r_neck:.1f} {2 * r_apex:.1f}"):
            hand.double_click(hand.off(apex))
    assert hand.session.plan.structures[-1].tooth == tooth


def mark_contacts(hand: Hand) -> None:
    """One click on each neighbour's facing surface, and one Enter for the edges offered."""
    from app.tools.point_marks import Contact

    hand.acts.part = "neighbours' contacts"
    tool = hand.bench.hub.active
    assert isinstance(tool, Contact), tool
    hand.rest()
    shape = hand.jaw.shape
    for way, row in zip((-1, 1), shape.teeth[:2], strict=True):
        s, w, _ = k.jaw_place(shape.v, row[k.T_X], row[k.T_Y], 0.0)
        assert s * way > 0.0
        height = 0.5 * (row[k.T_NECK] + row[k.T_TIP])
        middle = shape.place(s, w, height).reshape(3)
        gap = shape.place(0.0, shape.row(k.MIDDLE, 0.0), height).reshape(3)
        towards = (gap - middle) / np.linalg.norm(gap - middle)
        facing = shape.patient(middle + row[k.T_R_CROWN] * towards)[0]
        hand.mark(hand.off(facing), waits=False)
        pause(0.6)
        assert hand.session.plan.structures[-1].tooth == _neighbour(
            hand.jaw.tooth, way * hand.sense
        )
    if hand.bench.hub.active is tool:
        hand.key(Qt.Key.Key_Return)
    hand.rest()


def _neighbour(tooth: str, back: float) -> str:
    """The tooth behind (+1) or in front (-1)."""
    return f"{tooth[0]}{int(tooth[1]) + int(back)}"


def answer_side(hand: Hand) -> None:
    """Compared with the chart, as the key leads there."""
    from app.dialogs.answers.side import SideDialog

    hand.next()
    dialog = _shown(hand.bench, SideDialog)
    button = dialog.button("chart", "right" if hand.jaw.tooth[0] in "14" else "left")
    hand.click(button, QPoint(8, button.height() // 2), "answer", waits=False)
    if not dialog.by.text():
        assert dialog.focusWidget() is dialog.by
        hand.type(dialog.by, NAME)
    hand.key(Qt.Key.Key_Return, on=dialog.by, waits=False)
    wait(lambda: hand.session.plan.side_check is not None)
    pause(0.4)


def judge_image(hand: Hand) -> None:
    """What the program found of the five faults is confirmed, with none of the others, at once."""
    from app.dialogs.answers.image_check import ImageDialog

    hand.click(_shown(hand.bench, ImageDialog).none, what="answer", waits=False)
    wait(lambda: hand.session.plan.image_check is not None)
    pause(0.4)


def sign_and_write(hand: Hand, out: Path, picture) -> None:
    """Look at the sheet, say where depths count from, name, role, reasons; then the folder."""
    import app.dialogs.sheet.dialog as sheet
    from app.dialogs.answers.sign_off import SignAndWriteDialog
    from app.widgets.file_windows import keep_place

    wait(lambda: _shown(hand.bench, sheet.SheetDialog) is not None, 30)
    dialog = _shown(hand.bench, sheet.SheetDialog)
    wait(lambda: bool(dialog.images), 300)
    picture("sheet")
    # The folder that the program proposes, in a place of this study's own.
    keep_place("record", out)
    hand.click(dialog.sign, waits=False)
    pause(0.4)
    asked = _shown(dialog, SignAndWriteDialog)
    if asked.origin is not None:
        (first, *_) = asked.origin.buttons()
        hand.click(first, QPoint(8, first.height() // 2), "answer", waits=False)
    hand.not_met += list(asked.reasons)
    (*others, last) = [asked.name, asked.role, *list(asked.reasons.values())[:1]]
    for line, words in zip(
        (*others, last), (NAME, "treating clinician", "discussed"), strict=False
    ):
        if line.text():
            continue
        hand.type(line, words)
        if line is not last:
            # Return goes on to what is still to be written.
            hand.key(Qt.Key.Key_Return, on=line, waits=False)
    if len(asked.reasons) > 1:
        hand.click(asked.same, waits=False)
    wait(asked.ok.isEnabled, 60)
    picture("signing")
    hand.key(Qt.Key.Key_Return, on=last, waits=False)
    wait(lambda: sign_off_state(hand.session.plan) == "signed")
    wait(lambda: bool(dialog.written), 300)
    picture("written")
    dialog.reject()
    pause(0.3)


def errors(hand: Hand) -> list[tuple[str, float, float]]:
    """(what, shown, true) of the clearances that have a truth."""
    jaw, plan = hand.jaw, hand.session.plan
    fixture = plan.fixtures[0]
    shape = jaw.shape

    def away(points):
        return fixture_distance(
            points, fixture.platform, fixture.towards_apex, fixture.size.profile
        )

    truth = {}
    if shape.canal_mm:
        truth["canal"] = float(away(shape.canal_line).min()) - shape.canal_mm
    if shape.hollow:
        truth["sinus"] = float(away(shape.floor(12.0)).min())
    for way in (-1, 1):
        neck, apex, r_neck, r_apex = jaw.root(way)
        share = np.linspace(0.0, 1.0, 201)
        line = neck + share[:, None] * (apex - neck)
        tooth = _neighbour(jaw.tooth, way * hand.sense)
        truth[f"root-{tooth}"] = float((away(line) - r_neck - share * (r_apex - r_neck)).min())
    found = []
    for name, value in truth.items():
        # A root is judged in two zones: the lesser one is the distance of the whole.
        rows = [
            (float(m.value), m.id)
            for m in hand.session.ledger.measurements
            if f"/clearance/{name}" in m.id and "tip" not in m.id and m.value is not None
        ]
        if rows:
            shown, row = min(rows)
            found.append((row, shown, value))
    return found


@dataclass(frozen=True, kw_only=True)
class Job:
    """One job that was done."""

    seed: int
    kind: str
    parts: dict[str, Counter[str]]
    errors: list[tuple[str, float, float]]
    not_met: list[str]
    seconds: float

    @property
    def count(self) -> int:
        """All acts."""
        return sum(sum(c.values()) for c in self.parts.values())


def run(seed: int, kind: str, pictures: Path | None) -> Job:
    """One jaw, from folder to files."""
    from app.window.bench import Bench

    own = Path(tempfile.mkdtemp(prefix="sounding-acts-"))
    for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME"):
        os.environ[variable] = str(own / variable.lower())
    jaw = whole_jaw(seed, TOOTH[kind])
    folder = own / "export"
    write(jaw, seed, folder)
    bench = Bench(own / "cases")
    bench.resize(1366, 768)
    bench.show()
    bench.activateWindow()
    pause(0.3)
    hand = Hand(bench, jaw, seed)
    begun = time.monotonic()
    try:
        work(hand, folder, own / "record", pictures)
    finally:
        if pictures is not None:
            bench.grab().save(str(pictures / f"{kind}-last.png"))
    job = Job(
        seed=seed, kind=kind, parts=hand.acts.by_part(), errors=errors(hand),
        not_met=hand.not_met, seconds=time.monotonic() - begun,
    )  # fmt: skip
    bench.close()
    rmtree(own)
    return job


def seeds(first: int, count: int, kind: str) -> list[int]:
    """The next jaws with room for a fixture."""
    found, seed = [], first
    while len(found) < count:
        if whole_jaw(seed, TOOTH[kind]).room_mm >= ROOM_MM[kind]:
            found.append(seed)
        seed += 1
    return found


def report(jobs: list[Job]) -> str:
    """What was counted, in a table by part of the work."""
    lines = [
        "# Acts from a foreign folder to a signed sheet",
        "",
        (
            f"Made by `tests/studies/acts.py` with {PROGRAM}: a hand of real mouse and key events"
            " at the bench, 1366 × 768, on whole random jaws that are no samples, with settings"
            " that know nobody yet (name and role are typed once, and kept from then on)"
            ". A click, a drag, keys pressed together and a typed field are one act each;"
            f" {SECONDS_AN_ACT:g} s an act is common practice, no source. A folder chosen in the"
            " system's own window is one act. The hand does what a careful reader does: it lays the"
            " fixture along both neighbours and to the bone's edge, takes a length, answers side"
            " and image, and looks at the sheet before it signs. It takes a site where a fixture of"
            f" {LENGTH_MM:g} mm can stand, and clicks {HAND_MM:g} mm off in every direction (SD)."
        ),
        "",
        "| jaw | acts | goal | minutes | limits not met, a reason each |",
        "|-|-|-|-|-|",
    ]
    lines += [
        f"| {job.kind} {job.seed} | {job.count} | {GOAL[job.kind]} |"
        f" {job.count * SECONDS_AN_ACT / 60:.1f} | {len(job.not_met)} |"
        for job in jobs
    ]
    for kind in ("lower", "upper"):
        mine = [job for job in jobs if job.kind == kind]
        if not mine:
            continue
        lines += ["", f"## {kind.capitalize()} first molar", ""]
        lines += ["| part | acts | which |", "|-|-|-|"]
        for part in mine[0].parts:
            counts = [job.parts.get(part, Counter()) for job in mine]
            sums = sorted({sum(c.values()) for c in counts})
            said = f"{sums[0]}" if len(sums) == 1 else f"{sums[0]} to {sums[-1]}"
            which = ", ".join(f"{n} × {what}" for what, n in counts[0].items())
            lines.append(f"| {part} | {said} | {which} |")
    lines += ["", "## Clearances of what was marked", "", "| jaw | row | shown | true | error |"]
    lines.append("|-|-|-|-|-|")
    for job in jobs:
        for row, shown, true in job.errors:
            figures = f"{shown:.2f} | {true:.2f} | {shown - true:+.2f}"
            lines.append(f"| {job.kind} {job.seed} | {row} | {figures} |")
    return "\n".join(lines) + "\n"


def main() -> None:
    """Do the jobs and write the report."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--first", type=int, default=7001)
    parser.add_argument("--count", type=int, default=3)
    parser.add_argument("--only", choices=("lower", "upper"))
    parser.add_argument("--pictures", type=Path)
    args = parser.parse_args()
    QApplication([])
    jobs = [
        run(seed, kind, args.pictures)
        for kind in ("lower", "upper") if args.only in (None, kind)
        for seed in seeds(args.first, args.count, kind)
    ]  # fmt: skip
    text = report(jobs)
    print(text)
    if args.only is None:
        REPORT.write_text(text)


if __name__ == "__main__":
    main()
