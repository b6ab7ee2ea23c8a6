"""Self-test of a jaw: every kind of row of a ledger against the exact shape that was scanned."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from core.geometry import Array, angle_deg, unit
from core.measurement import Measurement
from core.measurement_kinds import DepthDetails, MeasurementKind
from core.measuring.basis import settled_arch
from core.measuring.ledger import Ledger
from core.measuring.self_test_check import Check, holds
from core.structures import PointMarks
from core.words.catalogue import Words, message
from core.words.values import side_words

_WIDTHS = {"axis": "selftest.width-axis", "up": "selftest.width-up"}

CLEARANCE_BOUND_MM = 0.02
EDGE_BOUND_MM = 0.3
PLATE_BOUND_MM = 0.35
SURFACE_BOUND_MM, REMAINING_BONE_BOUND_MM = 0.2, 0.2
DEPTH_BOUND_MM = 0.2
HOLLOW_BOUND_MM, HOLLOW_BOUND_DEG = 0.2, 8.0
LEAST_PLATE_MM = 0.8
"""Thinner plates are no test of the program at the voxels of the drawn scan."""


def jaw_checks(ledger: Ledger, truth: Mapping[str, Any], jaw: Words) -> Iterator[Check]:
    """Everything in the ledger of a right plan of which the truth is known.

    Parameters
    ----------
    ledger : Ledger
        Its first fixture is the one that the truth is of.
    truth : mapping
        Fields of a sample's truth file; ``tips`` maps rows to clearances with the drill's tip.
    jaw : Words
        Which jaw was drawn.
    """
    right = truth["fixtures"]["right"]
    checks = (
        *_place(ledger, truth),
        *_clearances(ledger, right, truth),
        *_ridge(ledger, right),
        *_bone(ledger, right),
        *_hollow(ledger, truth),
        *_drilling(ledger, right),
        *_marks(ledger, truth),
        *_own_account(ledger),
    )
    for check in checks:
        yield Check(
            what=message("selftest.in-jaw", jaw=jaw, what=check.what),
            found=check.found,
            true=check.true,
            bound=check.bound,
            unit=check.unit,
        )


def value(ledger: Ledger, row: str) -> float | None:
    """Value of a row; None where there is no such row."""
    try:
        return ledger.get(row).value
    except KeyError:
        return None


def _place(ledger: Ledger, truth: Mapping[str, Any]) -> Iterator[Check]:
    """Side, station and directions."""
    fixture, arch = ledger.plan.fixtures[0], settled_arch(ledger.plan)
    left = fixture.tooth[0] in "23"
    yield holds(message("selftest.own-side"), (fixture.platform[0] > 0) == left)
    if ledger.plan.midline is not None:
        way = arch.station(fixture.platform) - arch.station(ledger.plan.midline)
        yield Check(what=message("selftest.station"), found=way,
                    true=float(truth["arch"]["site_station_from_midline_mm"]),
                    bound=0.5)  # fmt: skip
    frame = arch.frame(arch.station(fixture.platform))
    beside = float((fixture.platform - frame.origin) @ frame.travel)
    yield Check(what=message("selftest.own-section"), found=beside, true=0.0, bound=0.2)
    for name, words, found in (
        ("buccal", message("selftest.direction-buccal"), frame.buccal),
        ("travel", message("selftest.direction-travel"), frame.travel),
    ):
        turned = angle_deg(found, np.array(truth["arch"][name]))
        yield Check(what=words, found=turned, true=0.0, bound=3.0,
                    unit="deg")  # fmt: skip


def _clearances(
    ledger: Ledger, right: Mapping[str, Any], truth: Mapping[str, Any]
) -> Iterator[Check]:
    for row, exact in right["clearances"].items():
        yield Check(
            what=message("selftest.clearance", thing=row.split("/")[-1]),
            found=value(ledger, row),
            true=exact["value_mm"],
            bound=CLEARANCE_BOUND_MM,
        )
    for row, exact in truth.get("tips", {}).items():
        yield Check(what=message("selftest.tip-clearance", thing=row.split("/")[-2]),
                    found=value(ledger, row), true=exact, bound=CLEARANCE_BOUND_MM)  # fmt: skip


def _ridge(ledger: Ledger, right: Mapping[str, Any]) -> Iterator[Check]:
    subject = ledger.plan.fixtures[0].id
    for along in ("axis", "up"):
        for width in right[along]["widths"]:
            if width["intervals"] != 1:
                continue
            depth = width["at_depth_mm"]
            row = f"{subject}/ridge_width/{along}/{depth:g}"
            yield Check(what=message(_WIDTHS[along], depth=depth), found=value(ledger, row),
                        true=width["value_mm"], bound=EDGE_BOUND_MM)  # fmt: skip
    heights = [
        m for m in ledger.of(subject) if m.kind is MeasurementKind.RIDGE_HEIGHT and "axis" in m.id
    ]
    found = heights[0].value if heights else None
    yield Check(what=message("selftest.height"), found=found, true=right["axis"]["height_mm"],
                bound=EDGE_BOUND_MM)  # fmt: skip
    # The first width runs from lingual to buccal: their order must be the patient's.
    towards = None
    try:
        reading = ledger.get(f"{subject}/ridge_width/up/3").reading
    except KeyError:
        reading = None
    if reading is not None and reading.witness is not None:
        ends = [np.array(e) for e in right["up"]["widths"][1]["ends"]]
        towards = max(min(float(np.linalg.norm(w - e)) for w in reading.witness) for e in ends)
    yield Check(what=message("selftest.width-ends"), found=towards, true=0.0,
                bound=EDGE_BOUND_MM)  # fmt: skip


def _bone(ledger: Ledger, right: Mapping[str, Any]) -> Iterator[Check]:
    """Plates, walls, surfaces and how deep the platform lies."""
    subject = ledger.plan.fixtures[0].id
    for width in right["axis"]["widths"]:
        depth = width["at_depth_mm"]
        for side in ("buccal", "lingual"):
            true = width.get(f"{side}_plate_mm")
            if depth in (3.0, 5.0, 7.0) and true is not None and true >= LEAST_PLATE_MM:
                row = f"{subject}/plate_thickness/{side}/{depth:g}"
                yield Check(
                    what=message("selftest.plate", side=side_words(side), depth=depth),
                    found=value(ledger, row),
                    true=true,
                    bound=PLATE_BOUND_MM,
                )
    surfaces = right.get("bone_surface", {})
    for side in ("buccal", "lingual"):
        if side in surfaces:
            # Across the axis bone goes on a little further than to its nearest surface.
            yield Check(what=message("selftest.remaining-bone", side=side_words(side)),
                        found=value(ledger, f"{subject}/wall/{side}"),
                        true=surfaces[side] + 0.5 * REMAINING_BONE_BOUND_MM,
                        bound=REMAINING_BONE_BOUND_MM)  # fmt: skip
    for side, true in surfaces.items():
        row = f"{subject}/clearance/bone surface/{side}"
        yield Check(
            what=message("selftest.bone-surface", side=side_words(side)),
            found=value(ledger, row),
            true=true,
            bound=SURFACE_BOUND_MM,
        )
    for side, depth in right["platform_depth_mm"].items():
        yield Check(what=message("selftest.platform-depth", side=side_words(side)),
                    found=value(ledger, f"{subject}/depth/platform/{side}"), true=depth,
                    bound=DEPTH_BOUND_MM)  # fmt: skip


def _hollow(ledger: Ledger, truth: Mapping[str, Any]) -> Iterator[Check]:
    """The lingual undercut, of which the shape holds one by construction."""
    hollow = truth.get("site", {}).get("hollow")
    if hollow is None:
        return
    subject = ledger.plan.fixtures[0].id
    yield Check(what=message("selftest.undercut-depth"),
                found=value(ledger, f"{subject}/undercut_depth/level"), true=hollow["depth_mm"],
                bound=HOLLOW_BOUND_MM)  # fmt: skip
    yield Check(what=message("selftest.undercut-angle"),
                found=value(ledger, f"{subject}/undercut_angle/level"), true=hollow["angle_deg"],
                bound=HOLLOW_BOUND_DEG, unit="deg")  # fmt: skip


def _drilling(ledger: Ledger, right: Mapping[str, Any]) -> Iterator[Check]:
    """Depths to drill: from bone, gum and stent, and rounded down to the drill's marks."""
    fixture = ledger.plan.fixtures[0]
    length, axis = fixture.size.length_mm, fixture.towards_apex
    rims = right["platform_depth_mm"]
    row = f"{fixture.id}/depth/drill/buccal rim"
    yield Check(what=message("selftest.drill-buccal-rim"), found=value(ledger, row),
                true=length + rims["buccal"], bound=DEPTH_BOUND_MM)  # fmt: skip
    apex = fixture.platform + length * axis
    for kind, name, key in (
        ("gum", "gum", "selftest.drill-gum"),
        ("stent_top", "stent top", "selftest.drill-stent-top"),
    ):
        for structure in ledger.plan.structures:
            if isinstance(structure, PointMarks) and structure.kind == kind:
                true = max(float((apex - p) @ axis) for p in structure.points)
                row = f"{fixture.id}/depth/drill/{name}"
                yield Check(what=message(key), found=value(ledger, row),
                            true=true, bound=CLEARANCE_BOUND_MM)  # fmt: skip
    marked = [
        (m.value, m.details.mark_mm)
        for m in ledger.of(fixture.id)
        if isinstance(m.details, DepthDetails)
    ]
    known = [(v, mark) for v, mark in marked if v is not None and mark is not None]
    rounded = all(0 <= v - mark < 0.5 for v, mark in known)
    yield holds(message("selftest.drill-marks"), bool(known) and rounded)


def _marks(ledger: Ledger, truth: Mapping[str, Any]) -> Iterator[Check]:
    """Angle and offset to the stent, room, entry point, rulers: plain geometry of the marks."""
    plan = ledger.plan
    fixture, stent = plan.fixtures[0], plan.stent_axes[0]
    way = unit(stent.gingival - stent.occlusal)
    row = f"{fixture.id}/angle/{stent.id}"
    yield Check(what=message("selftest.stent-angle"), found=value(ledger, row),
                true=angle_deg(fixture.towards_apex, way), bound=0.01, unit="deg")  # fmt: skip
    off = fixture.platform - stent.occlusal
    yield Check(what=message("selftest.stent-platform"),
                found=value(ledger, f"{fixture.id}/offset/{stent.id}/platform"),
                true=float(np.linalg.norm(off - (off @ way) * way)), bound=0.01)  # fmt: skip
    contacts = [
        s.points for s in plan.structures if isinstance(s, PointMarks) and s.kind == "contact"
    ]
    room = value(ledger, f"{fixture.id}/room/neighbours")
    if contacts:
        first, last = _ends(contacts)
        yield Check(what=message("selftest.room"), found=room,
                    true=float(np.linalg.norm(last - first)), bound=0.3)  # fmt: skip
        parts = [value(ledger, f"{fixture.id}/entry/{side}") for side in ("mesial", "distal")]
        both = None if None in parts else float(sum(p for p in parts if p is not None))
        yield Check(what=message("selftest.entry"), found=both,
                    true=float(np.linalg.norm(last - first)), bound=0.3)  # fmt: skip
    for target, (true, measured_in) in truth.get("rulers", {}).items():
        found = next((m.value for m in ledger.measurements if m.target == target), None)
        yield Check(what=message("selftest.by-hand", thing=target), found=found, true=true,
                    bound=0.001, unit=measured_in)  # fmt: skip


def _ends(contacts: list[Array]) -> tuple[Array, Array]:
    together = np.concatenate(contacts)
    return together[0], together[-1]


def _own_account(ledger: Ledger) -> Iterator[Check]:
    """Verdicts, U and *at least* of all rows, worked out a second time."""
    rows = ledger.measurements
    wrong = [m for m in rows if m.limit is not None and m.verdict != _verdict(ledger, m)]
    yield Check(what=message("selftest.verdicts"), found=float(len(wrong)),
                true=0.0, bound=0.0, unit="")  # fmt: skip
    judged = [m for m in rows if m.limit is not None and m.value is not None]
    yield holds(message("selftest.limits-at-all"), len(judged) >= 8)
    without = [m for m in rows if m.value is not None and (m.budget is None or not m.budget.u > 0)]
    yield Check(what=message("selftest.no-uncertainty"), found=float(len(without)), true=0.0,
                bound=0.0, unit="")  # fmt: skip
    off = 0.0
    for m in rows:
        if m.budget is None or m.value is None:
            continue
        u = float(np.sqrt(sum(t.u**2 for t in m.budget.terms)))
        off = max(off, abs(m.budget.expanded - 2 * u))
        if m.kind.row.more_is_safer:
            off = max(off, abs((m.at_least or 0.0) - (m.value - 1.645 * u)))
    yield Check(what=message("selftest.by-terms"), found=off, true=0.0,
                bound=1e-9)  # fmt: skip
    safe = next(
        (m for m in rows if m.kind is MeasurementKind.CLEARANCE and "canal" in m.target), None
    )
    names = set() if safe is None or safe.budget is None else {t.name for t in safe.budget.terms}
    if safe is not None:
        needed = {"placement", "course", "size", "voxel", "scale"}
        yield holds(message("selftest.canal-parts"), names >= needed)


def _verdict(ledger: Ledger, m: Measurement) -> str:
    """The verdict of a row by its own figures."""
    if m.value is None or m.budget is None or m.limit is None:
        return "not assessed"
    least = max(m.limit.value, m.limit.lower_line or 0.0)
    if m.value < least:
        return "below limit"
    stopped = any(
        h.stops == "all" or m.reading.evidence.rests_on == "image"
        for h in ledger.hindrances.get(m.fixture or m.site, ())
    )
    if m.reading.upper_bound or m.reading.evidence.lacking or stopped:
        return "not assessed"
    return "meets limit" if m.value - 1.645 * m.budget.u >= least else "too near to tell"
