"""Opens the bench on the sample case, does the guided case by mouse and keys, saves pictures.

    python tests/studies/bench_pictures.py [--out FOLDER]

Without --out they go to `pictures` beside this script, where README shows them. The patient of
the sample is invented. Runs under whatever QT_QPA_PLATFORM says, else without a screen.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1]))
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
SIZE = (1366, 768)


def main() -> None:
    read = argparse.ArgumentParser()
    read.add_argument("--out", type=Path, default=HERE / "pictures")
    out = read.parse_args().out
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as name:
        own = Path(name)
        # The user's own settings and recent cases must not stand on a picture.
        for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME"):
            os.environ[variable] = str(own / variable.lower())
        pictures(own, out)


def pictures(own: Path, out: Path) -> None:
    from PySide6.QtWidgets import QApplication

    from app.window.bench import Bench
    from tests.journeys.guided_case import GuidedCase

    program = QApplication([])
    bench = Bench(own / "cases")
    bench.resize(*SIZE)
    bench.show()
    program.processEvents()
    hands = GuidedCase(bench)
    save(bench, out / "start.png")
    hands.open_sample()
    hands.confirm_jaw()
    hands.on()
    hands.go_to_the_gap()
    hands.on()
    hands.step_to(hands.fixture_place())
    hands.take("Fixture")
    save(bench, out / "guide.png")
    hands.take("Move")
    hands.drop_fixture()
    hands.on()
    hands.mark_canal()
    hands.on()
    hands.put_in_the_rest()
    hands.on()
    hands.nudge()
    hands.on()
    hands.leave_guide()
    hands.answer_side()
    save(bench, out / "working.png")
    hands.unfold_first()
    save(bench, out / "ledger.png")
    print(f"{program.platformName()}: 4 pictures")
    bench.close()


def save(bench, path: Path) -> None:
    """With each colour rounded to a multiple of eight, so that the picture is small."""
    from PIL import Image

    from tests.journeys.guided_case import pause

    pause(0.2)
    bench.grab().save(str(path))
    with Image.open(path) as whole:
        coarse = whole.convert("RGB").point(lambda value: min((value + 4) & 0x1F8, 0xF8))
    coarse.save(path, optimize=True)


if __name__ == "__main__":
    main()
