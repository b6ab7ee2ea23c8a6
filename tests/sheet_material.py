"""An invented round jaw for pictures and sheets: every distance in it can be worked out by hand.

The arch is a circle of 26 mm around the origin, patient's right first; the jaw plane lies at
z = 30; the canal runs below the arch at z = 5 with a diameter of 3 mm.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from core.arch import Arch
from core.distances.clearance import clearance
from core.fixture import Fixture, FixtureSize
from core.image.volume import ScanIdentity, Volume
from core.level import Level
from core.measurement import Budget, Measurement, Note, Reading, Term
from core.measurement_kinds import WidthDetails
from core.measuring.ledger import Ledger
from core.plans.limits import limit_for
from core.plans.plan import Plan, SideCheck, Site
from core.structures import Course, Tapered, kind_of
from core.trust.verdict import judge

RADIUS_MM = 26.0
CANAL_Z_MM = 5.0
IDENTITY = ScanIdentity(
    patient_name="QUARRY^Sample",
    patient_id="S-0107",
    birth_date="1961-04-02",
    study_date="2026-09-14",
    series_uid="2.25.1",
    study_uid="2.25.2",
    frame_of_reference_uid="2.25.3",
)
MADE_AT = "2026-11-24T10:00:00+00:00"
DOUBT = Budget(
    terms=(
        Term(name="placement", u=0.2, source="common practice, no source"),
        Term(name="scale", u=0.05, source="common practice, no source"),
    )
)


def on_arch(degrees: float, z_mm: float) -> np.ndarray:
    """Point of the circle; 0 lies at the patient's left, 90 in front, 180 at the right."""
    turn = np.radians(degrees)
    return np.array([RADIUS_MM * np.cos(turn), -RADIUS_MM * np.sin(turn), z_mm])


def fixture_at(degrees: float, tooth: str, *, depth_mm: float = 0.0, **size: float) -> Fixture:
    shape = {"diameter_mm": 4.0, "length_mm": 8.0, "apical_diameter_mm": 3.0} | size
    return Fixture(
        id=tooth,
        tooth=tooth,
        platform=on_arch(degrees, 20.0 - depth_mm),
        towards_apex=(0.0, 0.0, -1.0),
        size=FixtureSize(**shape),
    )


def plan_with(*fixtures: Fixture, jaw: str = "lower", **more: object) -> Plan:
    canal = np.stack([on_arch(a, CANAL_Z_MM) for a in np.linspace(-30.0, 210.0, 49)])
    root = np.stack([on_arch(38.0, 22.0), on_arch(38.0, 12.0)])
    return Plan(
        jaw=jaw,
        level=Level(origin=(0.0, 0.0, 30.0), up=(0.0, 0.0, 1.0)),
        arch_points=np.stack([on_arch(a, 30.0) for a in np.linspace(180.0, 0.0, 25)]),
        midline=on_arch(90.0, 30.0),
        structures=(
            Course(id="canal-left", kind="canal", points=canal, diameter_mm=3.0),
            Tapered(id="root-35", kind="root", tooth="35", points=root, diameters_mm=(5.0, 2.0)),
        ),
        fixtures=fixtures,
        side_check=SideCheck(side="left", against="chart", by="LM", at="2026-09-15T10:30"),
        **more,
    )


def arch_of(plan: Plan) -> Arch:
    return Arch.trace(plan.arch_points, level=plan.level)


def round_jaw(*, voxel_mm: float = 0.8) -> Volume:
    """Bone between two cylinders, air above it, soft tissue around it; 68 x 60 x 36 mm."""
    shape = (int(36 / voxel_mm), int(60 / voxel_mm), int(68 / voxel_mm))
    affine = np.diag([voxel_mm, voxel_mm, voxel_mm, 1.0])
    affine[:3, 3] = (-34.0, -36.0, -2.0)
    k, j, i = np.indices(shape, sparse=True)
    x, y, z = i * voxel_mm - 34.0, j * voxel_mm - 36.0, k * voxel_mm - 2.0
    off = np.abs(np.hypot(x, y) - RADIUS_MM)
    grey = np.where(z > 24.0, -1000, 40) + 0 * off
    grey = np.where((off < 6.0) & (z < 20.0), 600, grey)
    grey = np.where((off < 6.0) & (off > 4.5) & (z < 20.0), 1500, grey)
    rng = np.random.default_rng(7)
    noisy = grey + rng.normal(0.0, 30.0, grey.shape)
    return Volume(
        voxels=noisy.astype(np.int16),
        mm_from_ijk=affine,
        made_up=np.zeros(shape[0], dtype=bool),
        identity=IDENTITY,
    )


def ledger_of(plan: Plan, *, identity: ScanIdentity = IDENTITY, unmarked: bool = True) -> Ledger:
    """Clearances of every fixture, and rows of the kinds that need a picture to measure.

    With a vessel that nobody marked, where it is not left out: beside it no depth is given.
    """
    rows: list[Measurement] = []
    for fixture in plan.fixtures:
        for structure in plan.structures:
            kind = kind_of(structure)
            limit = limit_for(kind.limit, plan) if kind.limit else None
            reading = clearance(fixture, structure)
            budget = DOUBT if reading.value is not None else None
            rows.append(
                Measurement(
                    id=f"{fixture.id}/clearance/{structure.id}",
                    group=kind.group,
                    fixture=fixture.id,
                    kind="clearance",
                    target=structure.id,
                    reading=reading,
                    budget=budget,
                    limit=limit,
                    verdict=judge(reading, budget, limit),
                )
            )
        if unmarked:
            rows.append(not_marked(fixture.id, plan))
    for site in plan.sites:
        rows += [ridge_width(site, depth) for depth in (1.0, 3.0)]
    return Ledger(
        program="Sounding 0.0",
        made_at=MADE_AT,
        plan=plan,
        plan_fingerprint="sha256:0123456789abcdef",
        scan=identity,
        voxel_mm=np.array([0.8, 0.8, 0.8]),
        findings=(),
        measurements=tuple(rows),
    )


def not_marked(fixture: str, plan: Plan) -> Measurement:
    reading = Reading(value=None, notes=(Note("traced_too_short", {"id": "vessel"}),))
    return Measurement(
        id=f"{fixture}/clearance/vessel",
        group="danger",
        fixture=fixture,
        kind="clearance",
        target="vessel",
        reading=reading,
        limit=limit_for("vessel", plan),
        verdict="not assessed",
    )


def ridge_width(site: Site, depth_mm: float) -> Measurement:
    return Measurement(
        id=f"{site.id}/ridge_width/up/{depth_mm:g}",
        group="bone",
        site=site.id,
        kind="ridge_width",
        reading=Reading(value=11.987, edge_sd_mm=(0.1, 0.1)),
        budget=DOUBT,
        details=WidthDetails(at_depth_mm=depth_mm, along="up"),
    )


def angle_without_meaning(fixture: str) -> Measurement:
    """A row without a limit that cannot have a value: beside a flat plate there is no angle."""
    return Measurement(
        id=f"{fixture}/undercut_angle/level",
        group="bone",
        fixture=fixture,
        kind="undercut_angle",
        reading=Reading(value=None, unit="deg", notes=(Note("undercut_angle_flat"),)),
        verdict="not assessed",
    )


def named(volume: Volume, **changes: str) -> Volume:
    """The same scan of somebody else."""
    return replace(volume, identity=replace(volume.identity, **changes))
