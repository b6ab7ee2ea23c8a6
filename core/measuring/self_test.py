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
from core.measuring.ledger import Ledger
from core.version import PROGRAM

NOT_THE_SCANNER = "This does not test your scanner. Use the constancy tests that your law requires."

CLEARANCE_BOUND_MM = 0.02
EDGE_BOUND_MM = 0.3
DEPTH_BOUND_MM = 0.2
AXIS_BOUND_MM = 0.1
AXIS_BOUND_DEG = 0.3
PARTS = ("numpy", "scipy", "numba", "pydicom", "reportlab", "pillow")


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One quantity against its truth.

    Parameters
    ----------
    what : str
        For people.
    found : float or None
        None where nothing was measured: then the check is not passed.
    true, bound : float
        The check is passed while ``abs(found - true) <= bound``.
    unit : {'mm', 'deg', ''}
    """

    what: str
    found: float | None
    true: float
    bound: float
    unit: str = "mm"

    @property
    def passed(self) -> bool:
        """True only where something was found, and near enough."""
        return self.found is not None and abs(self.found - self.true) <= self.bound


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
            return f"All {len(self.checks)} checks are within their bounds."
        return (
            f"{len(missed)} of {len(self.checks)} checks are OUT OF THEIR BOUNDS "
            f"({', '.join(missed)}): do not measure with this installation, and send this page to "
            "whoever maintains it."
        )

    def to_json(self) -> str:
        """The run as JSON text, every figure and bound in it."""
        rows = [
            {
                "what": c.what,
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
            "caution": NOT_THE_SCANNER,
            "machine": dict(self.machine),
            "checks": rows,
        }
        return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False)


def compare(
    ledger: Ledger, truth: Mapping[str, Any], *, expected_fingerprint: str, fit: StentAxisFit
) -> tuple[Check, ...]:
    """Every quantity of which the truth is known.

    Parameters
    ----------
    ledger : Ledger
        Of the right plan, measured on the scan as read back.
    truth : mapping
        Fields of a sample's truth file.
    expected_fingerprint : str
        Of the voxels as they were written.
    fit : StentAxisFit
        From one click on the stent's filling.
    """
    return tuple(_checks(ledger, truth, expected_fingerprint, fit))


def _checks(
    ledger: Ledger, truth: Mapping[str, Any], fingerprint: str, fit: StentAxisFit
) -> Iterator[Check]:
    same = float(ledger.scan_fingerprint == fingerprint)
    yield Check(what="voxels and grid read back as written", found=same, true=1.0, bound=0.0,
                unit="")  # fmt: skip
    right = truth["fixtures"]["right"]
    subject = ledger.plan.fixtures[0]
    yield Check(what="site on the patient's left (+x)", found=float(np.sign(subject.platform[0])),
                true=1.0, bound=0.0, unit="")  # fmt: skip
    for row, exact in right["clearances"].items():
        yield Check(what=f"clearance to {row.split('/')[-1]}", found=_value(ledger, row),
                    true=exact["value_mm"], bound=CLEARANCE_BOUND_MM)  # fmt: skip
    for along in ("axis", "up"):
        for width in right[along]["widths"]:
            depth = width["at_depth_mm"]
            row = f"{subject.id}/ridge_width/{along}/{depth:g}"
            yield Check(what=f"width along {along} at {depth:g} mm", found=_value(ledger, row),
                        true=width["value_mm"], bound=EDGE_BOUND_MM)  # fmt: skip
    row = f"{subject.id}/ridge_height/canal-left/axis"
    yield Check(what="height along the axis, crest to canal", found=_value(ledger, row),
                true=right["axis"]["height_mm"], bound=EDGE_BOUND_MM)  # fmt: skip
    for side, depth in right["platform_depth_mm"].items():
        found = _value(ledger, f"{subject.id}/depth/platform/{side}")
        yield Check(what=f"platform depth, {side} rim", found=found, true=depth,
                    bound=DEPTH_BOUND_MM)  # fmt: skip
    yield from _stent_checks(truth, fit)
    # The plan's first width runs from lingual to buccal: their order must be the patient's.
    reading = ledger.get(f"{subject.id}/ridge_width/up/3").reading
    towards = None
    if reading.witness is not None:
        ends = [np.array(e) for e in right["up"]["widths"][1]["ends"]]
        near = [min(float(np.linalg.norm(w - e)) for w in reading.witness) for e in ends]
        towards = max(near)
    yield Check(what="ends of a width where the geometry has them", found=towards, true=0.0,
                bound=EDGE_BOUND_MM)  # fmt: skip


def _stent_checks(truth: Mapping[str, Any], fit: StentAxisFit) -> Iterator[Check]:
    first, last = (np.array(truth["stent"][end]) for end in ("occlusal", "gingival"))
    off = turn = None
    if fit.axis is not None:
        off = max(_off(p, first, last) for p in (fit.axis.occlusal, fit.axis.gingival))
        turn = angle_deg(fit.axis.gingival - fit.axis.occlusal, last - first)
    yield Check(what="stent axis from one click, offset", found=off, true=0.0,
                bound=AXIS_BOUND_MM)  # fmt: skip
    yield Check(what="stent axis from one click, direction", found=turn, true=0.0,
                bound=AXIS_BOUND_DEG, unit="deg")  # fmt: skip


def _off(point: Array, first: Array, last: Array) -> float:
    way = (last - first) / np.linalg.norm(last - first)
    d = point - first
    return float(np.linalg.norm(d - (d @ way) * way))


def _value(ledger: Ledger, row: str) -> float | None:
    try:
        return ledger.get(row).value
    except KeyError:
        return None


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
            found[part] = "not installed"
    return found
