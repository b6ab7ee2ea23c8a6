"""Reads a lying export as the program does, and says whether what came of it is so."""

from __future__ import annotations

import random
import shutil
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from core.errors import ScanError
from core.image.volume import Volume
from core.scan import inspect, open_scan
from tests.hostile.exports import Scan, Truth
from tests.hostile.lies import KINDS

CENTRE_MM = 0.02
"""A voxel centre further off than this lies elsewhere: a tenth of the finest voxel drawn here."""
GREY = 0.51
"""Rounding of slopes and of made common scales; the drawn noise is 12."""
SAYS_NOTHING = frozenset(
    ("scan_voxel_large", "scan_slices_apart", "scan_identity_incomplete", "scan_derived",
     "scan_orientation_default")
)  # fmt: skip
"""Cautions that a wrong volume may bear by chance, and that name no contradiction."""

SHORT = frozenset(("scan_files_damaged", "scan_files_ignored"))
"""Findings that tell of files that are no part of any volume."""

CLASSES = ("right", "right, told", "right, stopped", "told", "stopped", "refused", "short, untold",
           "SILENT")  # fmt: skip


@dataclass(frozen=True)
class Outcome:
    """How one export ended: a class of `CLASSES`, and the codes that were said."""

    end: str
    codes: tuple[str, ...] = ()

    @property
    def rank(self) -> int:
        return CLASSES.index(self.end)


def meet(name: str, seed: str, folder: Path) -> Outcome:
    """Draw one export of a kind, write it, read it and judge it.

    Parameters
    ----------
    name : str
        Key of `lies.KINDS`.
    seed : str
        The same word always draws the same export.
    folder : Path
        Emptied first.
    """
    draw = random.Random(f"{name} {seed}")
    scan = KINDS[name].make(draw)
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    scan.write(folder, draw)
    return judged(scan, folder)


def judged(scan: Scan, folder: Path) -> Outcome:
    """The worst of all volumes that the export offers."""
    try:
        reports = inspect(folder)
    except ScanError as refusal:
        return Outcome("refused", (refusal.code,))
    found = []
    for report in reports:
        try:
            volume = open_scan(folder, report.key)
        except ScanError as refusal:
            found.append(Outcome("refused", (refusal.code,)))
        else:
            found.append(outcome_of(volume, scan.truths))
    read = [one for one in found if one.end != "refused"]
    if not read:
        return found[0]
    worst = max(read, key=lambda one: one.rank)
    if worst.end == "short, untold":
        # What is not part of the volume may be told beside it: other stacks, refused by name and
        # with their slices, other volumes to choose from, or files that could not be read.
        beside = len(found) > 1 or bool(SHORT.intersection(worst.codes))
        worst = Outcome("right, told", worst.codes) if beside else worst
    return worst


def outcome_of(volume: Volume, truths: list[Truth]) -> Outcome:
    """What one volume is worth: held to the truth that it fits best."""
    codes = tuple(f"{f.code}{'!' * f.stops_verdicts}" for f in volume.findings)
    cautions = [f for f in volume.findings if f.severity != "note" and f.code not in SAYS_NOTHING]
    stopped = any(f.stops_verdicts for f in volume.findings)
    fits = max((fit(volume, truth) for truth in truths), default=(False, False))
    right, whole = fits
    if not right:
        end = "stopped" if stopped else "told" if cautions else "SILENT"
    elif stopped:
        end = "right, stopped"
    elif cautions:
        end = "right, told"
    else:
        end = "right" if whole else "short, untold"
    return Outcome(end, codes)


def fit(volume: Volume, truth: Truth) -> tuple[bool, bool]:
    """(all that the volume claims is so, all of the truth is claimed).

    Every voxel centre of the volume that is neither padding, nor outside the field, nor in a
    made-up slice must lie on a centre of the truth and hold its grey value.
    """
    k, j, i = np.indices(volume.shape)
    ijk = np.stack([i, j, k], axis=-1).reshape(-1, 3)
    points = volume.mm(ijk)
    grey = volume.voxels.reshape(-1) * np.float64(volume.slope) + volume.intercept
    claimed = ~volume.made_up[ijk[:, 2]]
    if volume.padding is not None:
        stored = volume.voxels.reshape(-1)
        claimed &= (stored < volume.padding[0]) | (stored > volume.padding[1])
    if volume.field is not None:
        claimed &= volume.field.reshape(-1)[ijk[:, 1] * volume.shape[2] + ijk[:, 0]] > 0
    affine = truth.mm_from_ijk
    there = (points - affine[:3, 3]) @ np.linalg.inv(affine[:3, :3]).T
    nearest = np.rint(there)
    off_mm = np.linalg.norm((there - nearest) @ affine[:3, :3].T, axis=1)
    shape = np.array(truth.grey.shape[::-1])
    inside = ((nearest >= 0) & (nearest < shape)).all(axis=1)
    on = inside & (off_mm <= CENTRE_MM)
    at = nearest[on].astype(int)
    true = np.full(len(points), np.nan)
    true[on] = truth.grey[at[:, 2], at[:, 1], at[:, 0]]
    so = on & (np.abs(grey - true) <= GREY)
    right = bool(so[claimed].all()) and bool(claimed.any())
    seen = np.zeros(truth.grey.shape, bool)
    good = so & claimed
    seen[tuple(nearest[good].astype(int).T[::-1])] = True
    whole = bool((seen | np.isnan(truth.grey)).all())
    return right, whole


def fault_of(name: str, outcome: Outcome) -> bool:
    """Whether a kind must not end so.

    What says the truth in an unusual way must be right and keep its verdicts; nothing may be
    wrong or short without a word, but for what no header can tell; and where the pictures
    contradict their header a wrong volume must have no verdicts.
    """
    kind = KINDS[name]
    if kind.nature == "honest":
        return outcome.end != "right"
    if kind.nature == "untold":
        return outcome.end not in CLASSES
    return outcome.end in ("SILENT", "short, untold") or (kind.pixels and outcome.end == "told")
