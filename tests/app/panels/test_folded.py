"""Folded panels and the sheet on a small simulated jaw: drawn when shown, idle when folded."""

from itertools import pairwise

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QFontMetricsF
from PySide6.QtTest import QTest

from app.dialogs.sheet.dialog import show_sheet
from app.panels.remaining_bone import RemainingBone
from app.panels.ridge_profile import RidgeProfile
from app.pictures.plot_items import Numerals
from app.widgets import style
from core.image.volume import Volume
from core.measuring.assemble import measure
from core.pictures.plot import Axis
from core.pictures.remaining_bone_plot import direction_marks
from core.plans.plan_parse import parse
from sample_volumes import small_jaw
from tests.app.case_at_hand import IDENTITY, QuietSession


@pytest.fixture(scope="module")
def jaw():
    voxels, affine, truth = small_jaw()
    volume = Volume(
        voxels=voxels,
        mm_from_ijk=affine,
        made_up=np.zeros(len(voxels), dtype=bool),
        identity=IDENTITY,
    )
    document = {k: v for k, v in truth["plan"].items() if k != "scan"}
    plan = parse(document)
    return volume, plan, measure(plan, volume)


@pytest.fixture
def case(qapp, jaw):
    volume, plan, measured = jaw
    session = QuietSession()
    session.open(volume, plan, window=(0.0, 2000.0))
    session.show_ledger(measured)
    yield session
    session.close()


def test_remaining_bone_is_measured_only_while_it_is_shown(qtbot, case, desk):
    panel = RemainingBone(case, desk)
    qtbot.addWidget(panel)
    qtbot.wait(50)
    assert not panel._latest.busy
    panel.resize(345, 230)
    panel.show()
    qtbot.waitUntil(lambda: panel.picture is not None, timeout=60_000)
    least = float(panel.picture.bone_mm[:, panel.picture.turns_deg == 0.0].min())
    row = case.ledger.get("36/wall/buccal")
    assert least >= row.value - 1e-6, "the row is the least within 45 degrees of buccal"


def test_another_pose_takes_the_old_picture_away_at_once(qtbot, case, desk):
    panel = RemainingBone(case, desk)
    qtbot.addWidget(panel)
    panel.resize(345, 230)
    panel.show()
    qtbot.waitUntil(lambda: panel.picture is not None, timeout=60_000)
    from core.plans.edit_pose import fixture_deepened

    case.apply("deeper", fixture_deepened(case.plan, "36", 0.5))
    assert panel.plot.waiting, "dimmed, without a line or a numeral, and dots over it"
    assert panel.lacking.isHidden()
    assert panel.aside.text() == ""
    qtbot.waitUntil(lambda: not panel.plot.waiting, timeout=60_000)
    assert panel.shown_of is case.fixture


def test_another_fixture_shows_nothing_of_the_one_before(qtbot, case, desk):
    from dataclasses import replace

    other = replace(case.fixture, id="35", tooth="35")
    case.apply("another", replace(case.plan, fixtures=(*case.plan.fixtures, other)))
    panel = RemainingBone(case, desk)
    qtbot.addWidget(panel)
    panel.resize(345, 230)
    panel.show()
    qtbot.waitUntil(lambda: panel.shown_of is not None, timeout=60_000)
    case.go_to(selected="35")
    assert panel.picture is None
    assert panel.plot.waiting
    qtbot.waitUntil(lambda: panel.shown_of is other, timeout=60_000)


def test_what_is_lacking_is_said_and_below_its_limit_only(qtbot, case, desk):
    from core.fixture import FixtureSize
    from core.plans.edit_pose import fixture_resized

    wide = FixtureSize(diameter_mm=9.0, length_mm=8.0)
    case.apply("wide", fixture_resized(case.plan, "36", wide))
    panel = RemainingBone(case, desk)
    qtbot.addWidget(panel)
    panel.resize(345, 260)
    panel.show()
    qtbot.waitUntil(lambda: panel.picture is not None, timeout=60_000)
    assert "mm thinner than the limit" in panel.lacking.text()
    assert panel.picture.below.any()
    case.undo_stack.undo()
    assert panel.lacking.isHidden()


def test_ridge_profile_and_a_click_on_it(qtbot, case, desk):
    panel = RidgeProfile(case, desk)
    qtbot.addWidget(panel)
    panel.resize(520, 230)
    panel.show()
    qtbot.waitUntil(lambda: panel.profile is not None, timeout=90_000)
    assert panel.needed == (7.0, "Ø 4.5 + 1.5 + 1.0")
    widths = {row.station_mm: row.widths[1].value for row in panel.profile.rows}
    known = [s for s in widths if None not in (widths[s], widths.get(s + 2.0))]
    between = known[len(known) // 2] + 1.0
    at = panel.plot.position(between, 4.0).toPoint()
    viewport = panel.plot.canvas.viewport()
    here = viewport.mapFrom(panel.plot, at)
    QTest.mouseMove(viewport, here)
    said = panel.plot.accessibleDescription()
    assert said.startswith("along the arch")
    # Two moves closer together than its rate are one to pyqtgraph, and a click then meets nothing.
    qtbot.wait(100)
    QTest.mouseClick(viewport, Qt.MouseButton.LeftButton, pos=here)
    assert case.station_mm == pytest.approx(between, abs=0.5)
    near = [widths[between - 1.0], widths[between + 1.0]]
    assert min(near) - 0.1 <= float(said.split("3 mm deep ")[1].split(" mm")[0]) <= max(near)


def test_sheet_preview_then_files(qtbot, case, desk, tmp_path, closing):
    dialog = closing(show_sheet(case, desk, None))
    qtbot.waitUntil(lambda: bool(dialog.images), timeout=60_000)
    assert dialog.state.text().startswith("DRAFT")
    assert dialog.pages.number.text() == f"page 1 of {len(dialog.images)}"
    QTest.mouseClick(dialog.pages.next, Qt.MouseButton.LeftButton)
    assert dialog.pages.number.text().startswith("page 2")
    # A4 at 80 dots an inch (ISO 216: 210 x 297 mm).
    image = dialog.images[0]
    assert image.width() == pytest.approx(210 / 25.4 * 80, abs=1)
    assert image.height() == pytest.approx(297 / 25.4 * 80, abs=1)
    dialog.write(tmp_path / "sheet")
    qtbot.waitUntil(lambda: bool(dialog.written), timeout=60_000)
    assert (tmp_path / "sheet" / "sheet.pdf").is_file()
    assert not dialog.folder.isHidden()


def test_sheet_into_a_place_that_cannot_be_used_says_so(qtbot, case, desk, tmp_path, closing):
    (tmp_path / "sheet").write_text("in the way", encoding="utf-8")
    dialog = closing(show_sheet(case, desk, None))
    qtbot.waitUntil(lambda: bool(dialog.images), timeout=60_000)
    dialog.write(tmp_path / "sheet")
    qtbot.waitUntil(lambda: not dialog.trouble.isHidden(), timeout=60_000)
    assert "was not written" in dialog.trouble.text() or "cannot" in dialog.trouble.text()


def test_the_profile_leaves_the_window_as_the_cores_csv(qtbot, case, desk, tmp_path):
    from dataclasses import replace

    from core.measuring.ridge_profile import profile_csv

    panel = RidgeProfile(case, desk)
    qtbot.addWidget(panel)
    panel.resize(520, 230)
    panel.write_file(tmp_path / "early.csv")
    assert "no profile to save" in panel.said.text()
    panel.show()
    qtbot.waitUntil(lambda: panel.profile is not None, timeout=90_000)
    first = panel.profile
    panel.write_file(tmp_path / "a.csv")
    assert (tmp_path / "a.csv").read_bytes().decode() == profile_csv(first.rows)
    assert panel.said.text() == "The profile was saved to a.csv."
    # Heights end at what is marked: another marking is measured again before it is written.
    case.apply("nothing marked", replace(case.plan, structures=()))
    panel.write_file(tmp_path / "b.csv")
    assert not (tmp_path / "b.csv").exists()
    qtbot.waitUntil((tmp_path / "b.csv").exists, timeout=90_000)
    rows = [line.split(",") for line in (tmp_path / "b.csv").read_text("utf-8").splitlines()]
    height = rows[0].index("height_mm")
    assert {row[height] for row in rows[1:]} == {"not assessed"}
    before = [line.split(",") for line in (tmp_path / "a.csv").read_text("utf-8").splitlines()]
    assert any(row[height] != "not assessed" for row in before[1:])
    assert not (tmp_path / "early.csv").exists()


@pytest.mark.parametrize(("width", "first"), [(420, "lingual"), (130, "Li")])
def test_names_of_directions_never_touch(qtbot, width, first):
    axis = Numerals("bottom")
    names = direction_marks("lower")
    axis.number(Axis(words="", low=-180.0, high=180.0, names=names))
    axis.shorten(width)
    metrics = QFontMetricsF(style.font(11))
    (placed,) = axis._tickLevels
    assert placed[0][1] == first
    for (turn, words), (later, next_words) in pairwise(placed):
        apart = (later - turn) / 360.0 * width
        halves = (metrics.horizontalAdvance(words) + metrics.horizontalAdvance(next_words)) / 2
        assert apart - halves >= 6.0
