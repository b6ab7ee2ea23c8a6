"""A six-slice scan of an invented round jaw in every form, and a plan that marks everything."""

from __future__ import annotations

import math
import sys
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
from pydicom.fileset import FileSet

sys.path.insert(0, str(Path(__file__).parents[1] / "core" / "scan"))
import make_dicom as make

COMPRESSED = {
    "JPEG-LS": make.JPEGLSLossless,
    "JPEG lossless": make.JPEGLosslessSV1,
    "JPEG 2000": make.JPEG2000Lossless,
    "RLE": make.RLELossless,
}
RADIUS_MM = 26.0


def values() -> np.ndarray:
    """(6, 32, 32) int16: bone around a circle of 26 mm, air above, 2 × 2 × 6 mm voxels."""
    k, j, i = np.indices((6, 32, 32))
    off = np.abs(np.hypot(i * 2.0 - 30.0, j * 2.0 - 32.0) - RADIUS_MM)
    grey = np.where(k > 3, -1000, np.where(off < 7.0, 900, 40))
    return (grey + np.random.default_rng(3).normal(0, 20, grey.shape)).astype(np.int16)


def slices() -> list[Any]:
    """Data sets of the six slices, uncompressed."""
    return make.series(values(), origin=(-30.0, -32.0, -4.0), spacing=(2.0, 2.0), step=6.0)


def write_scan(form: str, folder: Path) -> Path:
    """Write the scan in a form and return what a user would name."""
    folder.mkdir(parents=True)
    match form:
        case "raw" | "command line":
            return make.write_series(folder, slices())
        case "multi-frame":
            ds = make.multi_frame(
                values(), origin=(-30.0, -32.0, -4.0), spacing=(2.0, 2.0), step=6.0
            )
            make.write(ds, folder / "one")
            return folder
        case "zip":
            make.write_series(folder / "in", slices())
            packed = folder / "scan.zip"
            with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
                for file in sorted((folder / "in").iterdir()):
                    archive.write(file, f"disc/{file.name}")
                    file.unlink()
            (folder / "in").rmdir()
            return packed
        case "DICOMDIR":
            make.write_series(folder / "in", slices())
            disc = FileSet()
            for file in sorted((folder / "in").iterdir()):
                disc.add(file)
                file.unlink()
            (folder / "in").rmdir()
            disc.write(folder / "disc")
            return folder / "disc" / "DICOMDIR"
        case _:
            return make.write_series(folder, slices(), syntax=COMPRESSED[form])


def at(degrees: float, z: float) -> list[float]:
    """A point of the circle: 180 at the patient's right, 90 in front, 0 at the left."""
    turn = math.radians(degrees)
    x, y = RADIUS_MM * math.cos(turn), -RADIUS_MM * math.sin(turn)
    return [round(x, 4), round(y, 4), z]


def plan() -> dict[str, Any]:
    """A plan of the round jaw, with one of everything that a plan can hold."""
    return {
        "format": "sounding-plan",
        "version": 2,
        "jaw": "lower",
        "level": {"origin": [0, 0, 24], "up": [0, 0, 1]},
        "arch": {"points": [at(d, 20.0) for d in (180, 150, 120, 90, 60, 30, 0)]},
        "sites": [{"id": "site-46", "tooth": "46", "station_mm": 14.0}],
        "structures": [
            {"id": "canal-left", "kind": "canal", "points": [at(d, 0.0) for d in (60, 40, 20, 0)],
             "diameter_mm": 3.0, "seen": ["yes", "faint", "yes", "no"]},
            {"id": "foramen-left", "kind": "foramen", "mesial": at(62, 2.0),
             "distal": at(56, 2.0), "upper": at(59, 4.0), "loop": "not seen"},
            {"id": "root-35", "kind": "root", "tooth": "35", "points": [at(46, 18), at(46, 6)],
             "diameters_mm": [6.0, 2.5], "to_be_removed": False},
            {"id": "floor", "kind": "floor", "of": "sinus",
             "points": [at(20, 1), at(35, 2), at(28, 1), [20, -20, 1], [24, -8, 2]]},
            {"id": "vessel-1", "kind": "vessel", "points": [at(30, 4), at(25, 5)],
             "diameter_mm": 1.0},
            {"id": "mark-1", "kind": "mark", "points": [at(32, 9)], "label": "free text"},
        ],
        "stent_axes": [{"id": "channel-36", "occlusal": at(30, 28), "gingival": at(30, 20),
                      "diameter_mm": 3.0}],
        "fixtures": [{
            "id": "36", "tooth": "36", "platform": at(30, 18), "towards_apex": [0, 0, -1],
            "size": {"diameter_mm": 4.5, "length_mm": 8.0, "platform_diameter_mm": 4.2,
                     "apical_diameter_mm": 3.2, "taper_from_mm": 4.0, "bone_level_mm": 0.0},
        }],
        "declared": [{"structure": "root-37", "state": "looked for, not visible",
                      "reason": "edge of the field", "by": "LM", "at": "2026-09-15T10:00:00Z"}],
        "midline": at(90, 20.0),
        "side_check": {"side": "left", "against": "chart", "by": "LM",
                       "at": "2026-09-15T10:00:00Z"},
        "limits": {"canal": {"value": 2.5, "by": "LM", "at": "2026-09-15T10:00:00Z",
                             "reason": "thin patient"}},
        "sign_off": None,
        "notes": [],
    }  # fmt: skip


def plain_plan() -> dict[str, Any]:
    """The same jaw with one site and nothing else: a sheet of it is made within two seconds."""
    return {key: plan()[key] for key in ("format", "version", "jaw", "level", "arch", "sites")}
