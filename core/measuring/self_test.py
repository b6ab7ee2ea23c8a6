"""Self-test of the program: an invented scan with known geometry, measured and compared.

It shows that this installation, on this machine, still finds what it found when it was checked.
It says nothing about the scanner, nor about anybody's marks.
"""

from __future__ import annotations

import json
import platform
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from types import MappingProxyType
from typing import Any

import numpy as np

from core.geometry import Array, angle_deg
from core.image.stent_axis import StentAxisFit
from core.measuring.self_test_check import Check
from core.version import PROGRAM
from core.words.catalogue import SOURCE, message, say, speaking
from core.words.values import row_of

NOT_THE_SCANNER = message("selftest.caution")

AXIS_BOUND_MM = 0.1
AXIS_BOUND_DEG = 0.3
PARTS = ("numpy", "scipy", "numba", "pydicom", "reportlab", "pillow")


@dataclass(frozen=True, slots=True, kw_only=True)
class SelfTest:
    """One run.

    Parameters
    ----------
    seed : int
        What the scan was drawn from: the same seed gives the same scan.
    at : str
        ISO 8601.
    seconds : float
    checks : tuple of Check
    machine : mapping of str to str
    """

    seed: int
    at: str
    seconds: float
    checks: tuple[Check, ...]
    machine: Mapping[str, str]

    def __post_init__(self) -> None:
        object.__setattr__(self, "machine", MappingProxyType(dict(self.machine)))

    @property
    def passed(self) -> bool:
        """True where every check was passed, and there were any."""
        return bool(self.checks) and all(c.passed for c in self.checks)

    @property
    def sentence(self) -> str:
        """What came out, in one sentence."""
        missed = [c.what for c in self.checks if not c.passed]
        if not missed and self.checks:
            return say("selftest.passed", count=len(self.checks))
        return say(
            "selftest.missed", missed=len(missed), total=len(self.checks), names=row_of(missed)
        )

    def to_json(self) -> str:
        """The run as JSON text, every figure and bound in it, in English wherever it is."""
        with speaking(SOURCE):
            return self._as_json()

    def _as_json(self) -> str:
        rows = [
            {
                "what": str(c.what),
                "found": None if c.found is None else round(c.found, 4),
                "true": round(c.true, 4),
                "bound": c.bound,
                "unit": c.unit,
                "passed": c.passed,
            }
            for c in self.checks
        ]
        document = {
            "format": "sounding-self-test",
            "version": 1,
            "program": PROGRAM,
            "at": self.at,
            "seed": self.seed,
            "seconds": round(self.seconds, 1),
            "passed": self.passed,
            "sentence": self.sentence,
            "caution": str(NOT_THE_SCANNER),
            "machine": dict(self.machine),
            "checks": rows,
        }
        return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False)


def stent_checks(truth: Mapping[str, Any], fit: StentAxisFit) -> Iterator[Check]:
    """The stent's axis from one click on its filling."""
    first, last = (np.array(truth["stent"][end]) for end in ("occlusal", "gingival"))
    off = turn = None
    if fit.axis is not None:
        off = max(_off(p, first, last) for p in (fit.axis.occlusal, fit.axis.gingival))
        turn = angle_deg(fit.axis.gingival - fit.axis.occlusal, last - first)
    yield Check(what=message("selftest.stent-offset"), found=off, true=0.0,
                bound=AXIS_BOUND_MM)  # fmt: skip
    yield Check(what=message("selftest.stent-direction"), found=turn, true=0.0,
                bound=AXIS_BOUND_DEG, unit="deg")  # fmt: skip


def _off(point: Array, first: Array, last: Array) -> float:
    way = (last - first) / np.linalg.norm(last - first)
    d = point - first
    return float(np.linalg.norm(d - (d @ way) * way))


def this_machine() -> dict[str, str]:
    """System, processor, Python and the parts that compute; nothing that names a person."""
    found = {
        "system": f"{platform.system()} {platform.release()}",
        "processor": platform.machine(),
        "python": ".".join(str(n) for n in sys.version_info[:3]),
    }
    for part in PARTS:
        try:
            found[part] = version(part)
        except PackageNotFoundError:
            found[part] = say("selftest.not-installed")
    return found
