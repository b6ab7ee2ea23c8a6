"""What the plans of all samples share, in the form of plan files."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sample_volumes.dicom_out import Header
from sample_volumes.mouth import Stent, placed
from sample_volumes.shapes import ArchLine, Array
from sample_volumes.voxelise import Grid, Pose


def fingerprint(stored: NDArray[np.uint16], grid: Grid) -> str:
    """SHA-256 over shape, affine rounded to 1e-6 and stored values, as plan files define it."""
    digest = hashlib.sha256()
    digest.update(np.asarray(stored.shape, dtype="<i8").tobytes())
    digest.update((np.round(grid.affine, 6) + 0.0).astype("<f8").tobytes())
    digest.update(np.ascontiguousarray(stored, dtype="<u2").tobytes())
    return f"sha256:{digest.hexdigest()}"


def rounded(points: Array) -> Any:
    """Points as they stand in a plan file, to a tenth of a micrometre."""
    return np.round(points, 4).tolist()


def tie(header: Header, stored: NDArray[np.uint16], grid: Grid) -> dict[str, str]:
    """The scan that a plan belongs to."""
    return {
        "series_uid": header.series_uid,
        "frame_of_reference_uid": header.frame_uid,
        "fingerprint": fingerprint(stored, grid),
    }


AT = "2026-09-15T10:30:00+00:00"
Placed = tuple[tuple[float, float, float], tuple[float, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A scan and how its jaw lies in it.

    `up` is the direction into the jaw, -1 in the lower jaw and +1 in the upper.
    """

    header: Header
    pose: Pose
    grid: Grid
    stored: NDArray[np.uint16]
    arch: ArchLine
    up: float

    def marks(self, marks: Any) -> Any:
        """Plan-file points of (station, offset, height) rows."""
        return rounded(self.pose.patient(placed(self.arch, marks)))

    def fixture(
        self, identity: str, tooth: str, pose: Placed, size: dict[str, float]
    ) -> dict[str, Any]:
        """A fixture at (station, offset, height), its apex leaning (buccal, left) by degrees."""
        spot, lean = pose
        travel, buccal = self.arch.frame(spot[0])
        b, left = np.tan(np.radians(lean))
        axis = b * buccal + left * travel + np.array([0.0, 0.0, self.up])
        axis = self.pose.rotation @ (axis / np.linalg.norm(axis))
        return {
            "id": identity, "tooth": tooth, "platform": self.marks([spot])[0],
            "towards_apex": np.round(axis, 9).tolist(), "size": size,
        }  # fmt: skip

    def plan(self, tooth: str, stent: Stent, stations: tuple[float, ...], gap: float) -> Any:
        """Everything but structures and fixtures."""
        occlusal, gingival = self.marks(stent.axis)
        height = 10.0 * self.up
        return {
            "format": "sounding-plan", "version": 2,
            "scan": tie(self.header, self.stored, self.grid),
            "jaw": "lower" if self.up < 0 else "upper",
            "level": {"origin": self.marks([(0.0, 0.0, 0.0)])[0],
                      "up": np.round(self.pose.rotation[:, 2], 9).tolist()},
            "arch": {"points": self.marks([(s, 0.0, height) for s in stations])},
            "sites": [{"id": f"site-{tooth}", "tooth": tooth, "station_mm": gap - stations[0]}],
            "structures": [],
            "stent_axes": [{"id": f"channel-{tooth}", "occlusal": occlusal, "gingival": gingival,
                          "diameter_mm": stent.diameter_mm}],
            "fixtures": [], "declared": [],
            "midline": self.marks([(0.0, 0.0, height)])[0],
            "side_check": {"side": "left" if gap > 0 else "right", "against": "chart",
                           "by": "LM", "at": AT},
            "limits": {}, "sign_off": None, "notes": [],
        }  # fmt: skip


def root_rows(case: Case, roots: Any) -> list[dict[str, Any]]:
    """Roots as structures of a plan."""
    return [
        {"id": root.name, "kind": "root", "tooth": root.tooth, "points": case.marks(root.marks),
         "diameters_mm": list(root.diameters_mm), "to_be_removed": False}
        for root in roots
    ]  # fmt: skip
