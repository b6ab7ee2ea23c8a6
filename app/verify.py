"""The self-test as a whole: draws a scan, writes it, reads it back, measures it, tells the result.

Shared by the command line and the bench.
"""

from __future__ import annotations

import json
import secrets
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from core import load_plan, measure, open_scan
from core.atomic import write_whole
from core.image.stent_axis import stent_axis
from core.measuring.self_test import SelfTest, compare, this_machine
from core.sheet.self_test_page import self_test_pdf
from sample_volumes import small_jaw
from sample_volumes.dicom_out import slice_dataset, stored_values
from sample_volumes.phantom import HEADER
from sample_volumes.voxelise import Grid

VOXEL_MM = 0.4
BOX_MM = (32.0, 36.0, 52.0)
SEEDS = 1_000_000


def new_seed() -> int:
    """A seed that nobody chose."""
    return secrets.randbelow(SEEDS)


def self_test(seed: int, *, told: Callable[[str], None] = lambda _: None) -> SelfTest:
    """Run the whole self-test; nothing is left behind.

    Parameters
    ----------
    seed : int
        Pose of the jaw, blur and noise are drawn from it.
    told : callable
        Is told each step as it begins.
    """
    began = time.monotonic()
    draw = np.random.default_rng(seed)
    pitch, roll, yaw = (float(v) for v in draw.uniform(-6.0, 6.0, 3))
    told("drawing an invented jaw")
    voxels, affine, truth = small_jaw(
        seed, voxel_mm=VOXEL_MM, blur_fwhm_mm=float(draw.uniform(0.4, 0.6)),
        noise_sd=float(draw.uniform(20.0, 50.0)), tilt_deg=(pitch, roll, yaw), size_mm=BOX_MM,
    )  # fmt: skip
    x, y, z = (float(v) for v in affine[:3, 3])
    k, j, i = voxels.shape
    grid = Grid(first_mm=(x, y, z), shape=(k, j, i), voxel_mm=VOXEL_MM)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        told("writing it as DICOM")
        (folder / "scan").mkdir()
        for n, stored in enumerate(stored_values(voxels)):
            file = folder / "scan" / f"slice{n + 1:03d}.dcm"
            slice_dataset(HEADER, grid, stored, n).save_as(file, enforce_file_format=True)
        (folder / "case.plan.json").write_text(json.dumps(truth["plan"]), encoding="utf-8")
        told("reading it back")
        volume = open_scan(folder / "scan")
        plan = load_plan(folder / "case.plan.json")
    told("measuring it")
    ledger = measure(plan, volume)
    ends = np.array([truth["stent"][end] for end in ("occlusal", "gingival")])
    click = ends[0] + draw.uniform(0.2, 0.8) * (ends[1] - ends[0])
    fit = stent_axis(volume, click, coronal=truth["arch"]["up"], name="channel-36")
    checks = compare(
        ledger, truth, expected_fingerprint=truth["plan"]["scan"]["fingerprint"], fit=fit
    )
    return SelfTest(
        seed=seed,
        at=datetime.now(UTC).astimezone().isoformat(timespec="seconds"),
        seconds=time.monotonic() - began,
        checks=checks,
        machine=this_machine(),
    )


def write_self_test(run: SelfTest, folder: Path) -> tuple[Path, Path]:
    """Write the dated page as PDF and JSON; returns both paths.

    Raises
    ------
    OutputError
        When a file cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    stem = f"self-test-{run.at[:19].replace(':', '').replace('T', '-')}"
    pdf, document = folder / f"{stem}.pdf", folder / f"{stem}.json"
    write_whole(pdf, self_test_pdf(run))
    write_whole(document, run.to_json().encode("utf-8"))
    return pdf, document
