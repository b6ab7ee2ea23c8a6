"""From plan and scan to the ledger: the one place where measurements are put together."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial
from typing import TypedDict

import numpy as np

from core.arch import Arch, FixtureFrame, fixture_frame
from core.distances.freehand import Series
from core.errors import PlanError, SoundingError
from core.findings import Finding
from core.fixture import Fixture
from core.geometry import angle_deg
from core.image.sampling import touches_made_up
from core.image.volume import Volume
from core.measurement import Measurement, Note
from core.measurement_kinds import MeasurementKind
from core.measuring.basis import Basis, RowMaker, settled_arch
from core.measuring.depth_rule import with_depths_withheld
from core.measuring.hindrances import hindrances_at, image_faults_at
from core.measuring.ledger import Ledger
from core.measuring.row_cache import ABOUT_THE_WORK, BESIDE_THE_BONE, rests_on
from core.measuring.row_makers import maker_at
from core.measuring.rows_bone import fixture_bone_rows, site_bone_rows
from core.measuring.rows_crown import crown_rows
from core.measuring.rows_danger import DangerRows
from core.measuring.rows_rulers import ruler_rows
from core.measuring.sheet_lacks import needs_midline
from core.plans.case_checks import case_findings
from core.plans.outside import marks_outside
from core.plans.plan import Plan, Site
from core.plans.plan_checks import plan_findings
from core.plans.plan_file import check_scan, plan_fingerprint
from core.plans.plausible import refuse_implausible
from core.plans.side import arch_contradictions, contradictions, places
from core.trust.operator_precision import hand_findings, placement_of
from core.trust.uncertainty import Placement, Scale
from core.trust.verdict import Hindrance
from core.version import PROGRAM
from core.words.numbers import Figure
from core.words.values import row_of

Cancelled = Callable[[], bool]

FROM_MARKS: tuple[Callable[[Plan, Fixture, FixtureFrame, RowMaker], Iterator[Measurement]], ...] = (
    crown_rows,
)
"""Makers of a fixture's rows that rest on marks alone: a further quantity is one more of them."""

FIELD_EDGE_MM = 5.0
TILT_WARNING_DEG = 15.0
SAME_PLACE_MM = 1.0
_MOST_DIGITS = 12


def measure(
    plan: Plan,
    volume: Volume,
    *,
    basis: Basis | None = None,
    fine: bool = True,
    cancelled: Cancelled | None = None,
    made_at: str | None = None,
    placement: Placement | None = None,
    own: Series | None = None,
) -> Ledger:
    """Measure everything that a plan asks for on its scan.

    Parameters
    ----------
    plan : Plan
    volume : Volume
    basis : Basis, optional
        From an earlier call with the same arch on the same scan: saves estimating grey levels.
    fine : bool
        False while something is dragged: without bone rows and lines for placement by hand.
    cancelled : callable, optional
        Asked between rows; True ends the work.
    made_at : str, optional
        ISO 8601; now when left out.
    placement : Placement, optional
        How steady the hand is that set the marks; when left out the one that the plan names, else
        the usual allowance.
    own : Series, optional
        The operator's own mean deviations, from control films (`control_film.own_series`): one
        more line of placement by hand. No verdict rests on it.

    Raises
    ------
    PlanError
        ``plan-other-scan``, ``plan-scan-changed``, ``fixture-outside-scan``, and those of
        `core.measuring.basis.settled_arch`.
    SoundingError
        ``measuring-cancelled``.
    """
    tie = check_scan(plan, volume.identity, fingerprint=volume.fingerprint())
    # Also with a known basis: a tooth that was named since may disagree with the arch.
    settled_arch(plan)
    _refuse_outside(plan, volume)
    refuse_implausible(plan)
    if basis is None or not basis.fits(plan, volume):
        basis = Basis.of(plan, volume)
    stop = cancelled or (lambda: False)
    doubts = _Doubts(placement=placement or placement_of(plan), scale=basis.scale.scale)
    rows: list[Measurement] = []
    for row in _rows(plan, basis, doubts, fine=fine, own=own):
        if stop():
            raise SoundingError("measuring-cancelled")
        rows.append(_marked_made_up(volume, row))
    rows = with_depths_withheld(
        rows,
        jaw=plan.known_jaw,
        side_contradicted=bool(contradictions(plan, basis.arch)),
    )
    when = made_at or moment()
    return Ledger(
        program=PROGRAM,
        made_at=when,
        plan=plan,
        plan_fingerprint=plan_fingerprint(plan),
        scan=volume.identity,
        scan_fingerprint=volume.fingerprint(),
        voxel_mm=volume.voxel_mm,
        findings=(
            *volume.findings,
            *basis.scale.findings,
            *tie,
            *plan_findings(plan),
            *hand_findings(plan),
            *case_findings(plan, volume.identity, made_at=when),
            *_image_findings(plan, basis),
            *_arch_findings(plan, basis),
            *_name_findings(plan, basis.arch),
            *_place_findings(plan, basis, rows),
        ),
        measurements=_in_order(rows),
        hindrances=_hindrances(plan, basis),
    )


def moment() -> str:
    """Now, ISO 8601 with offset; what SOURCE_DATE_EPOCH says where it is set.

    With it the same scan and plan give the same files, byte for byte
    (https://reproducible-builds.org/specs/source-date-epoch).
    """
    asked = os.environ.get("SOURCE_DATE_EPOCH", "")
    if asked.isascii() and asked.isdigit() and len(asked) < _MOST_DIGITS:
        return datetime.fromtimestamp(int(asked), UTC).isoformat(timespec="seconds")
    return datetime.now(UTC).astimezone().isoformat(timespec="seconds")


def _hindrances(plan: Plan, basis: Basis) -> dict[str, tuple[Hindrance, ...]]:
    """By id; a fixture stands in for a site of its name."""
    at_sites = {site.id: hindrances_at(plan, basis, site) for site in plan.sites}
    return at_sites | {f.id: hindrances_at(plan, basis, f) for f in plan.fixtures}


class _Doubts(TypedDict):
    """What every row's budget takes from the operator and from the scan."""

    placement: Placement
    scale: Scale


def _rows(
    plan: Plan, basis: Basis, doubts: _Doubts, *, fine: bool, own: Series | None
) -> Iterator[Measurement]:
    for fixture in plan.fixtures:
        frame = fixture_frame(fixture, basis.arch)
        maker = maker_at(plan, basis, fixture, doubts["placement"])
        danger = DangerRows(
            plan=plan, basis=basis, fixture=fixture, frame=frame, maker=maker, fine=fine, own=own
        )
        name, doubt = fixture.id, tuple(doubts.values())
        yield from basis.kept.rows(
            f"danger/{name}/{fine}",
            rests_on(plan, fixture, own, doubt, maker.hindrances),
            danger.rows,
        )
        for make in FROM_MARKS:
            yield from make(plan, fixture, frame, maker)
        if fine:
            yield from basis.kept.rows(
                f"bone/{name}",
                rests_on(
                    plan,
                    fixture,
                    doubt,
                    maker.hindrances,
                    without=ABOUT_THE_WORK | BESIDE_THE_BONE,
                ),
                partial(fixture_bone_rows, plan, basis, fixture, frame, maker),
            )
    yield from ruler_rows(plan, basis.volume, basis.arch, **doubts)
    if not fine:
        return
    for site in plan.sites:
        if any(site.id == f.id for f in plan.fixtures):
            # A fixture of the same name carries the ridge rows, along its axis and along up.
            continue
        maker = maker_at(plan, basis, site, doubts["placement"])
        yield from basis.kept.rows(
            f"bone/{site.id}",
            rests_on(
                plan,
                site,
                tuple(doubts.values()),
                maker.hindrances,
                without=ABOUT_THE_WORK | BESIDE_THE_BONE,
            ),
            partial(site_bone_rows, plan, basis, site, maker),
        )


def _in_order(rows: list[Measurement]) -> tuple[Measurement, ...]:
    """Danger, roots, bone, information; rows of one group stay in the order they were made."""
    order = ("danger", "roots", "bone", "information")
    return tuple(sorted(rows, key=lambda m: order.index(m.group)))


def _marked_made_up(volume: Volume, row: Measurement) -> Measurement:
    """Say so where the way between the witness points crosses a filled-in slice."""
    if row.reading.witness is None or not volume.made_up.any():
        return row
    first, second = row.reading.witness
    way = first + np.linspace(0, 1, 33)[:, None] * (second - first)
    if not touches_made_up(volume, way).any():
        return row
    notes = (*row.reading.notes, Note("measured-on-filled-slice"))
    return replace(row, reading=replace(row.reading, notes=notes))


def _refuse_outside(plan: Plan, volume: Volume) -> None:
    """Refuse a fixture of which nothing was scanned: the plan cannot be of this scan."""
    for fixture in plan.fixtures:
        along = [fixture.on_axis(share * fixture.size.length_mm) for share in (0.0, 0.5, 1.0)]
        if not volume.scanned_at(np.array(along)).any():
            raise PlanError("fixture-outside-scan", fixture=fixture.id)


def _image_findings(plan: Plan, basis: Basis) -> Iterator[Finding]:
    """Levels that are not proven, and faults of the image, each once."""
    notes = [basis.levels.evidence.levels, basis.levels.pointing]
    subjects: list[Fixture | Site] = [*plan.fixtures, *plan.sites]
    notes += [fault.note for subject in subjects for fault in image_faults_at(basis, subject)]
    told: list[Note] = []
    for note in notes:
        if note is not None and all(n.code != note.code for n in told):
            told.append(note)
            yield Finding(note.code, "caution", note.fields)


def _arch_findings(plan: Plan, basis: Basis) -> Iterator[Finding]:
    """What the traced arch, the teeth's names and the answered side say of each other."""
    yield from arch_contradictions(plan, basis.arch)
    outside = [mark.words() for mark in marks_outside(plan, basis.volume)]
    if outside:
        yield Finding("marks-outside-scan", "caution", {"marks": row_of(outside)})
    for subject, tooth, station in places(plan, basis.arch):
        if not tooth:
            yield Finding("no-tooth-named", "caution", {"subject": subject})
        if basis.arch.frame(station).beyond:
            yield Finding("site-beyond-arch", "caution", {"subject": subject})
    if any(needs_midline(plan, basis.arch, fixture) for fixture in plan.fixtures):
        yield Finding("no-midline", "note")
    for fixture in plan.fixtures:
        tilt = _tilt_deg(fixture, basis)
        if tilt > TILT_WARNING_DEG:
            yield Finding("plane-tilted", "caution", {"fixture": fixture.id, "angle": tilt})


def _name_findings(plan: Plan, arch: Arch) -> Iterator[Finding]:
    """Sites that are not measured because a fixture elsewhere has their name."""
    fixtures = {f.id: f for f in plan.fixtures}
    for site in plan.sites:
        if site.id in fixtures:
            apart = abs(site.station_mm - arch.station(fixtures[site.id].platform))
            if apart > SAME_PLACE_MM:
                fields = {"id": site.id, "mm": Figure(f"{apart:.1f}")}
                yield Finding("site-named-as-fixture", "caution", fields)


def _tilt_deg(fixture: Fixture, basis: Basis) -> float:
    """Angle between axis and the jaw plane's normal; upside down was refused before."""
    angle = angle_deg(fixture.a, basis.arch.level.up)
    return angle if basis.jaw == "lower" else 180.0 - angle


def _place_findings(plan: Plan, basis: Basis, rows: list[Measurement]) -> Iterator[Finding]:
    """Fixtures and ridges within 5 mm of the edge of what was scanned."""
    directions = np.concatenate([np.eye(3), -np.eye(3)]) * FIELD_EDGE_MM
    places = {f.id: [f.platform, f.apex] for f in plan.fixtures}
    for row in rows:
        if row.site and row.kind is MeasurementKind.RIDGE_WIDTH and row.reading.witness is not None:
            places.setdefault(row.site, []).extend(row.reading.witness)
    for subject, points_mm in places.items():
        around = (np.array(points_mm)[:, None] + directions).reshape(-1, 3)
        if not basis.volume.scanned_at(around).all():
            yield Finding("site-near-field-edge", "caution", {"subject": subject})


def run_case(plan_path: str, scan_path: str, *, series: str | None = None) -> Ledger:
    """Read a plan and its scan and measure: pure, picklable, for a batch.

    Parameters
    ----------
    plan_path : str
    scan_path : str
    series : str or None
        UID, where the scan holds more than one.

    Raises
    ------
    ScanError, PlanError
    """
    from core.plans.plan_file import load_plan
    from core.scan import open_scan

    volume = open_scan(scan_path, series=series)
    return measure(load_plan(plan_path), volume)
