"""The guided case through the window, from the sample's button to the written sheet.

The sample's jaw is drawn from formulae (sample_volumes); its own plan says where canal and site
are, so what the hands marked can be held against it.
"""

import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from pypdfium2 import PdfDocument

pytest.importorskip("PySide6")

from core.curve import Curve
from core.measuring.rows_unmarked import is_expected
from core.plans import edit
from tests.watchdog import PATIENCE

ROOT = Path(__file__).parents[2]
PICTURES = ROOT / "tests" / "studies" / "bench_pictures.py"
MOST_BYTES = 300_000


@pytest.fixture(params=["en", "de"])
def spoken(request, qapp):
    """The program as it starts with this language in its settings."""
    from app.case.settings import settings_of
    from core.words.catalogue import SOURCE, language, speak

    settings_of(qapp).change(language=request.param, sheet_language=request.param)
    speak(settings_of(qapp).value.language)
    assert language() == request.param
    yield request.param
    settings_of(qapp).change(language=SOURCE, sheet_language=SOURCE)
    speak(SOURCE)


@pytest.mark.timeout(1200)
def test_the_guided_case_by_mouse_and_keys(qapp, tmp_path, spoken):
    from app.window.bench import Bench
    from tests.journeys.guided_case import GuidedCase, wait

    bench = Bench(tmp_path / "cases")
    bench.resize(1366, 768)
    bench.show()
    hands = GuidedCase(bench)
    session = bench.session
    hands.open_sample()
    assert session.ledger is None, "no number before jaw plane and arch are confirmed"
    hands.confirm_jaw()
    hands.on()
    hands.go_to_the_gap()
    hands.on()
    hands.drop_fixture()
    before = session.plan.fixtures[0]
    assert before.tooth == "36"
    assert np.linalg.norm(before.platform - hands.fixture_place()) < 1.0
    hands.on()
    hands.mark_canal()
    canal = edit.find(session.plan, "canal-left")
    truth = edit.find(hands.truth, "canal-left")
    course = Curve.through(truth.points)
    beside = canal.points - course.at(course.nearest_stations(canal.points))
    assert len(canal.points) == 8
    # Every mark lies in the canal, whose radius is 1.5 mm.
    assert np.linalg.norm(beside, axis=1).max() < 1.5
    hands.on()
    hands.put_in_the_rest()
    hands.on()
    hands.nudge()
    moved = session.plan.fixtures[0].platform - before.platform
    assert np.linalg.norm(moved) == pytest.approx(0.3, abs=1e-6)
    assert moved @ bench.pictures.section.grid.right == pytest.approx(0.3, abs=1e-6)
    hands.drag_fixture((0, -6))
    assert np.linalg.norm(session.plan.fixtures[0].platform - before.platform) > 0.4
    hands.on()
    hands.read_ledger()
    assert session.turn_deg is not None, "the place of the row is shown"
    hands.on()
    hands.answer_side()
    assert session.plan.side_check.side == "left"
    hands.on()
    hands.judge_image()
    hands.on()
    hands.say_who_read_it()
    hands.on()
    hands.sign()
    hands.on()
    # Nothing that is expected at 36 is left unmarked, and the canal is marked far enough.
    missing = [m.id for m in session.ledger.measurements if is_expected(m) and m.value is None]
    assert missing == []
    written = hands.write_sheet(tmp_path)
    assert {path.suffix for path in written} >= {".pdf", ".csv", ".json"}
    (sheet,) = [path for path in written if path.name == "sheet.pdf"]
    title = {"en": "Measurement sheet", "de": "Messblatt"}[spoken]
    assert title in PdfDocument(sheet)[0].get_textpage().get_text_range()
    assert all(path.stat().st_size > 0 for path in written)
    hands.on()
    assert hands.guide.isHidden(), "the last step ends the guide"
    log = bench.work.panels["log"]
    assert [line.text for line in log.model.lines if line.point is not None] == []
    bench.close()
    wait(lambda: not bench.pictures.busy)
    bench.deleteLater()


@pytest.mark.timeout(1200)
@pytest.mark.skipif(shutil.which("xvfb-run") is None, reason="xvfb-run is not installed")
@pytest.mark.skipif(importlib.util.find_spec("PIL") is None, reason="pillow is not installed")
def test_the_same_under_a_real_window_system(tmp_path):
    run = subprocess.run(
        ["xvfb-run", "-a", "-s", "-screen 0 1600x1000x24", sys.executable, str(PICTURES),
         "--out", str(tmp_path)],
        env=os.environ | {"QT_QPA_PLATFORM": "xcb"}, capture_output=True, text=True, check=False,
        timeout=200 * PATIENCE,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr[-2000:]
    assert "xcb" in run.stdout
    sizes = {path.name: path.stat().st_size for path in tmp_path.glob("*.png")}
    assert {*sizes} == {"start.png", "guide.png", "working.png", "ledger.png"}
    assert all(10_000 < size <= MOST_BYTES for size in sizes.values())
