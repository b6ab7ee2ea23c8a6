"""How fast the bench follows; prints it and writes reports/bench_speed.md.

    python tests/studies/bench_speed.py

Once on the sample scan and once on the same scan read finer, 512 voxels each way. Every step of
the arch goes to a station that was not shown before, so that nothing is remembered. Times are of
one machine under whatever else it does. Painting is without a screen.
"""

from __future__ import annotations

import json
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
VOXELS = 512


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
    from PySide6.QtWidgets import QApplication

    import sample_volumes
    from app.background.gui_gc import Tidying
    from tests.journeys.guided_case import SAMPLE

    sys.setswitchinterval(0.002)  # as the program itself does
    with tempfile.TemporaryDirectory() as own:
        for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME"):
            os.environ[name] = str(Path(own) / name.lower())
        program = QApplication([])
        tidying = Tidying(program)
        plan = sample_volumes.path(f"{SAMPLE}.plan.json")
        small = measured(tidying, Path(own), sample_volumes.path(SAMPLE), plan, cases=CASES)
        large = measured(tidying, Path(own), *finer(Path(own) / "finer"), cases=3)
    lines = report(program, small, large)
    print("\n".join(lines))
    (HERE / "reports" / "bench_speed.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


def finer(folder: Path) -> tuple[Path, Path]:
    """The sample scan with `VOXELS` voxels each way, uncompressed, and its plan."""
    from scipy.ndimage import zoom

    import sample_volumes
    from core import open_scan
    from tests.core.scan.make_dicom import series, write_series
    from tests.journeys.guided_case import SAMPLE

    volume = open_scan(sample_volumes.path(SAMPLE))
    values = volume.voxels
    for axis in range(3):
        factor = [1.0, 1.0, 1.0]
        factor[axis] = VOXELS / values.shape[axis]
        values = zoom(values, factor, order=1, mode="nearest")
    # The outermost voxel centres stay where they are.
    i, j, k = volume.voxel_mm * (np.array(volume.shape[::-1]) - 1) / (VOXELS - 1)
    slices = series(
        values, origin=volume.mm([0, 0, 0])[0], spacing=(float(j), float(i)), step=float(k)
    )

    def grey(_number, ds) -> None:
        ds.RescaleSlope, ds.RescaleIntercept = volume.slope, volume.intercept

    write_series(folder / "scan", slices, change=grey, names=lambda n: f"slice{n:03d}.dcm")
    plan = json.loads(sample_volumes.path(f"{SAMPLE}.plan.json").read_text(encoding="utf-8"))
    del plan["scan"]  # other UIDs
    file = folder / "finer.plan.json"
    file.write_text(json.dumps(plan), encoding="utf-8")
    return folder / "scan", file


def measured(tidying, own: Path, scan: Path, plan: Path, *, cases: int) -> dict[str, object]:
    """One bench on one scan, from opening it to its closing again and again."""
    from PySide6.QtWidgets import QApplication

    from app.dialogs.sheet.dialog import show_sheet
    from app.window.bench import Bench
    from core.plans.edit_pose import nudged
    from tests.journeys.guided_case import pause, wait

    bench = Bench(own / f"cases {scan.name}")
    bench.resize(1366, 768)
    bench.show()
    tidying.set_aside()
    pause(0.3)
    program = QApplication.instance()
    session, shown = bench.session, bench.pictures
    beat = Heartbeat(program)

    def open_case() -> None:
        bench.opening.scan(str(scan), plan=str(plan))
        wait(lambda: session.volume is not None and shown.panorama.has_picture)

    def settle() -> None:
        wait(lambda: session.ledger_is_whole and not shown.busy)
        pause(0.3)

    found: dict[str, object] = {}
    began = time.perf_counter()
    open_case()
    found["opening"] = time.perf_counter() - began
    found["loading"] = beat.take()
    settle()
    found["shape"] = " × ".join(str(n) for n in reversed(session.volume.shape))
    painted, whole = [], []
    for number in range(STEPS):
        if number == STEPS // 2:
            # Back again, between the stations shown so far.
            session.step(1, step_mm=0.37)
            settle()
        began = time.perf_counter()
        session.step(1 if number < STEPS // 2 else -1)
        program.processEvents()  # paints what the step left to be painted
        painted.append((time.perf_counter() - began) * 1e3)
        while shown.busy:
            program.processEvents()
            time.sleep(0.0005)
        program.processEvents()
        whole.append((time.perf_counter() - began) * 1e3)
    found["painted"], found["whole"] = painted, whole
    beat.take()
    came: list[float] = []
    session.plan_previewed.connect(lambda: came.append(time.perf_counter()))
    fixture, began = session.plan.fixtures[0], time.perf_counter()
    for number in range(DRAGS):
        shift = np.array([0.0, 0.0, 0.02 * number])
        session.preview(nudged(session.plan, fixture.id, shift + 1e-3, 0.02))
        pause(0.02)
    found["rate"] = len(came) / (time.perf_counter() - began)
    found["dragging"] = beat.take()
    session.abandon()
    settle()
    found["yardstick"] = cut_by_scipy(session.volume, shown.section.grid)
    dialog = show_sheet(session, bench, bench)
    beat.take()
    began = time.perf_counter()
    dialog.write(own / f"sheet {scan.name}")
    wait(lambda: bool(dialog.written), 120.0)
    found["writing"] = time.perf_counter() - began
    found["exporting"] = beat.take()
    dialog.close()
    pause(0.3)
    used = []
    for _ in range(cases):
        bench.close_case()
        open_case()
        used.append(resident_mb())
    found["grown"] = used[-1] - used[1]
    bench.close_case()
    bench.close()
    return found


def cut_by_scipy(volume, grid) -> float:
    """Time of the section's grey values alone by a general library: how quick the machine is."""
    from scipy.ndimage import map_coordinates

    row, col = np.mgrid[0 : grid.rows, 0 : grid.cols]
    u = (col - (grid.cols - 1) / 2) * grid.pixel_mm
    v = ((grid.rows - 1) / 2 - row) * grid.pixel_mm
    points = grid.origin + u[..., None] * grid.right + v[..., None] * grid.up
    ijk = volume.ijk(points.reshape(-1, 3))
    times = []
    for _ in range(7):
        began = time.perf_counter()
        map_coordinates(volume.voxels, ijk[:, ::-1].T, output=np.float32, order=1, cval=np.nan)
        times.append((time.perf_counter() - began) * 1e3)
    return float(np.median(times))


def report(program, small: dict, large: dict) -> list[str]:
    """The page."""

    def both(name: str) -> str:
        return " | ".join(
            f"{np.median(found[name]):.0f} | {np.percentile(found[name], 95):.0f}"
            for found in (small, large)
        )

    def one(name: str, form: str = ".0f") -> str:
        return " | ".join(f"{found[name]:{form}}" for found in (small, large))

    what = (
        f"Written by `bench_speed.py`: the sample scan ({small['shape']} voxels) and the same read "
        f"finer ({large['shape']}), a window of 1366 × 768, Qt {program.platformName()}, "
        f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}. No real screen. Each step goes "
        "to a station not shown before."
    )
    return [
        "# How fast the bench follows",
        "",
        what,
        "",
        "| ms | sample: median | 95 % | finer: median | 95 % | wanted |",
        "|---|---|---|---|---|---|",
        f"| station step: section and neighbours cut and painted | {both('painted')} | 17, 33 |",
        f"| the same until distance lines are drawn too | {both('whole')} | 17, 33 |",
        "",
        "| what | sample | finer | wanted |",
        "|---|---|---|---|",
        f"| updates a second while a fixture is dragged | {one('rate')} | 20 or more |",
        f"| longest stall of the window while loading, ms | {one('loading')} | 50 |",
        f"| longest stall while dragging, ms | {one('dragging')} | 50 |",
        f"| longest stall while sheet and record are written, ms | {one('exporting')} | 50 |",
        f"| yardstick: SciPy cuts the grey values of that section, ms | {one('yardstick')} | |",
        f"| opening until every picture stands, s | {one('opening', '.1f')} | |",
        f"| sheet and record, s | {one('writing', '.1f')} | |",
        f"| memory, case {CASES} (finer: 3) less case 2, MB | {one('grown', '+.0f')} | ± 50 |",
    ]


if __name__ == "__main__":
    main()
