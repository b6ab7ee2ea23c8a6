"""How fast the bench follows, on the sample scan; prints it and writes reports/bench_speed.md.

    python tests/studies/bench_speed.py

Times are of one machine under whatever else it does. Painting is without a screen.
"""

from __future__ import annotations

import os
import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1]))
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
STEPS, DRAGS, CASES = 40, 40, 20


class Heartbeat:
    """Longest gap between two beats of a timer in the window's thread."""

    def __init__(self, program) -> None:
        from PySide6.QtCore import Qt, QTimer

        self.gap_ms, self._last = 0.0, time.perf_counter()
        self._timer = QTimer(program, interval=1)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.timeout.connect(self._beat)
        self._timer.start()

    def _beat(self) -> None:
        now = time.perf_counter()
        self.gap_ms = max(self.gap_ms, (now - self._last) * 1e3)
        self._last = now

    def take(self) -> float:
        gap, self.gap_ms, self._last = self.gap_ms, 0.0, time.perf_counter()
        return gap


def resident_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * resource.getpagesize() / 2**20


def main() -> None:
    with tempfile.TemporaryDirectory() as own:
        for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME"):
            os.environ[name] = str(Path(own) / name.lower())
        lines = measured(Path(own) / "cases")
    print("\n".join(lines))
    (HERE / "reports" / "bench_speed.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


def measured(cases: Path) -> list[str]:
    from PySide6.QtWidgets import QApplication

    import sample_volumes
    from app.bench import Bench
    from core.plans.edit_pose import nudged
    from tests.journeys.guided_case import SAMPLE, pause, wait

    sys.setswitchinterval(0.002)  # as the program itself does
    program = QApplication([])
    bench = Bench(cases)
    bench.resize(1366, 768)
    bench.show()
    pause(0.3)
    scan = str(sample_volumes.path(SAMPLE))
    plan = str(sample_volumes.path(f"{SAMPLE}.plan.json"))
    session, shown = bench.session, bench.pictures
    beat = Heartbeat(program)

    def open_case() -> None:
        bench._open(scan, plan=plan)
        wait(lambda: session.volume is not None and shown.panorama.has_picture)

    open_case()
    loading = beat.take()
    wait(lambda: session.ledger_is_whole and not shown.busy)
    pause(0.3)
    painted, whole = [], []
    for number in range(STEPS):
        began = time.perf_counter()
        session.step(1 if number % 20 < 10 else -1)
        program.processEvents()  # paints what the step left to be painted
        painted.append((time.perf_counter() - began) * 1e3)
        while shown.busy:
            program.processEvents()
            time.sleep(0.0005)
        program.processEvents()
        whole.append((time.perf_counter() - began) * 1e3)
    beat.take()
    came = []
    session.plan_previewed.connect(lambda: came.append(time.perf_counter()))
    fixture, began = session.plan.fixtures[0], time.perf_counter()
    for number in range(DRAGS):
        shift = np.array([0.0, 0.0, 0.02 * number])
        session.preview(nudged(session.plan, fixture.id, shift + 1e-3, 0.02))
        pause(0.02)
    rate = len(came) / (time.perf_counter() - began)
    dragging = beat.take()
    session.abandon()
    wait(lambda: session.ledger_is_whole and not shown.busy)
    used = []
    for _ in range(CASES):
        bench.close_case()
        open_case()
        used.append(resident_mb())
    volume = session.volume
    shape = " × ".join(str(n) for n in reversed(volume.shape))
    bench.close_case()
    bench.close()

    def both(values: list[float]) -> str:
        return f"{np.median(values):.0f} | {np.percentile(values, 95):.0f}"

    where = (
        f"Written by `bench_speed.py` on the sample scan ({shape} voxels), a window of 1366 × 768, "
        f"Qt {program.platformName()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} from "
        "other work at the same time. Not a 512³ scan, and no real screen."
    )
    return [
        "# How fast the bench follows",
        "",
        where,
        "",
        "| ms | median | 95 % | wanted |",
        "|---|---|---|---|",
        f"| station step: section and neighbours cut and painted | {both(painted)} | 17, 33 |",
        f"| the same until distance lines are drawn too | {both(whole)} | 17, 33 |",
        "",
        "| what | found | wanted |",
        "|---|---|---|",
        f"| updates a second while a fixture is dragged | {rate:.0f} | 20 or more |",
        f"| longest stall of the window while loading, ms | {loading:.0f} | 50 |",
        f"| longest stall while dragging, ms | {dragging:.0f} | 50 |",
        f"| memory after case 20 less after case 2, MB | {used[-1] - used[1]:+.0f} | ± 50 |",
    ]


if __name__ == "__main__":
    main()
