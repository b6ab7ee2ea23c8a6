"""Write the sample scans, plans and truth files: ``python -m sample_volumes.make_samples``."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np

from sample_volumes import lower_jaw, upper_jaw
from sample_volumes.cone_beam import Scanner, scan
from sample_volumes.dicom_out import Header, read_series, write_series
from sample_volumes.disc import write_disc
from sample_volumes.plans import Case
from sample_volumes.report import Report, lower_report, upper_report
from sample_volumes.voxelise import Grid, Pose

LOWER = Header(
    name="lower_left_36", patient_name="QUARRY^Sample", patient_id="S-0107",
    birth_date="19610402", sex="O", scan_date="20260914", scan_time="093000",
    description="Lower jaw with stent 0.25 mm", body_part="JAW",
)  # fmt: skip
LOWER_POSE = Pose.tilted(
    pitch_deg=5.0, roll_deg=-3.0, yaw_deg=4.0, shift=np.array([1.2, -18.0, 30.0])
)
LOWER_GRID = Grid(first_mm=(-19.357, -26.365, -11.316), shape=(192, 256, 256), voxel_mm=0.25)
UPPER = Header(
    name="upper_right_15", patient_name="ORCHARD^Sample", patient_id="S-0112",
    birth_date="19670823", sex="O", scan_date="20261006", scan_time="141500",
    description="Upper jaw with stent 0.25 mm", body_part="JAW",
)  # fmt: skip
UPPER_POSE = Pose.tilted(
    pitch_deg=-4.0, roll_deg=3.0, yaw_deg=-3.0, shift=np.array([-1.5, -20.0, 10.0])
)
UPPER_GRID = Grid(first_mm=(-43.8, -29.6, 1.0), shape=(176, 256, 256), voxel_mm=0.25)


def write_json(path: Path, value: object) -> None:
    """Human-readable JSON; lists of numbers stay on one line."""
    path.write_text(_text(value, 0) + "\n", encoding="utf-8")


def _text(value: object, level: int) -> str:
    flat = json.dumps(value, ensure_ascii=False, allow_nan=False)
    if len(flat) <= 100 - level or not isinstance(value, (dict, list)):
        return flat
    pad, end = " " * (level + 1), " " * level
    if isinstance(value, dict):
        rows = [f"{pad}{json.dumps(k)}: {_text(v, level + 1)}" for k, v in value.items()]
        return "{\n" + ",\n".join(rows) + f"\n{end}}}"
    return "[\n" + ",\n".join(pad + _text(v, level + 1) for v in value) + f"\n{end}]"


def write_plans(out: Path, name: str, report: Report) -> None:
    """Right plan, wrong plan and truth of a scan."""
    right, wrong, truth = report
    write_json(out / f"{name}.plan.json", right)
    write_json(out / f"{name}_wrong.plan.json", wrong)
    write_json(out / f"{name}.truth.json", truth)


def lower_sample(out: Path, *, keep: bool) -> None:
    """The lower jaw: folder, plans and truth."""
    jaw = lower_jaw.LowerJaw(metal_crown="33")
    if keep:
        stored = read_series(out / LOWER.name, LOWER)
    else:
        grey = scan(jaw, LOWER_POSE, LOWER_GRID, Scanner(), seed=36)
        stored = write_series(out / LOWER.name, LOWER, LOWER_GRID, grey)
    case = Case(
        header=LOWER, pose=LOWER_POSE, grid=LOWER_GRID, stored=stored, arch=lower_jaw.ARCH, up=-1.0
    )
    write_plans(out, LOWER.name, lower_report(case, jaw))


def upper_sample(out: Path, *, keep: bool) -> None:
    """The upper jaw: a folder like a real disc, plans and truth."""
    jaw = upper_jaw.UpperJaw(metal_crown="12")
    if keep:
        stored = read_series(out / UPPER.name, UPPER)
    else:
        grey = scan(jaw, UPPER_POSE, UPPER_GRID, Scanner(), seed=15)
        stored = write_disc(out / UPPER.name, UPPER, UPPER_GRID, grey)
    case = Case(
        header=UPPER, pose=UPPER_POSE, grid=UPPER_GRID, stored=stored, arch=upper_jaw.ARCH, up=1.0
    )
    write_plans(out, UPPER.name, upper_report(case, jaw))


def main() -> None:
    """Write everything into a folder, the package's own by default."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=Path(__file__).parent)
    parser.add_argument("--only", choices=["lower", "upper"])
    parser.add_argument(
        "--keep-scans", action="store_true", help="only plans and truth, for the scans in place"
    )
    given = parser.parse_args()
    if given.only != "upper":
        lower_sample(given.out, keep=given.keep_scans)
    if given.only != "lower":
        upper_sample(given.out, keep=given.keep_scans)


if __name__ == "__main__":
    main()
