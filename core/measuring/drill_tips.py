"""What a drill's tip comes near to beyond the apex: every clearance of the ledger once more."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from core.arch import Arch, fixture_frame
from core.distances.clearance import clearance
from core.distances.drilling import UNKNOWN_TIP_MM
from core.distances.fixture_pair import between_fixtures
from core.fixture import Fixture
from core.identity import Tooth
from core.image.volume import Volume
from core.measurement import Measurement, Note, Reading
from core.measurement_kinds import ClearanceDetails, MeasurementKind
from core.measuring.basis import RowMaker
from core.measuring.ledger import Ledger
from core.plans.limits import deep_limit_key, zones_of
from core.plans.plan import Plan
from core.structures import KnownObject, kind_of
from core.trust.figures import plain
from core.trust.operator_precision import placement_of
from core.trust.scale_check import scale_check


def tip_rows(  # noqa: PLR0917 - the order is that of the chain plan → scan → ledger
    fixture: Fixture, plan: Plan, volume: Volume, ledger: Ledger, arch: Arch, tip_mm: float
) -> tuple[Measurement, ...]:
    """Clearances to all that the ledger measured, with a tip beyond the apex; none without one.

    Parameters
    ----------
    tip_mm : float
        How far the drill is counted to reach beyond its mark.
    """
    if tip_mm <= 0:
        return ()
    maker = RowMaker(
        plan=plan,
        volume=volume,
        subject=fixture.id,
        is_fixture=True,
        tooth=Tooth.of(fixture.tooth) if fixture.tooth else None,
        hindrances=ledger.hindrances.get(fixture.id, ()),
        platform=fixture.platform,
        placement=placement_of(plan),
        scale=scale_check(plan, volume).scale,
    )
    frame = fixture_frame(fixture, arch)
    measured = {m.target for m in ledger.of(fixture.id) if m.kind is MeasurementKind.CLEARANCE}
    rows: list[Measurement] = []
    for structure in plan.structures:
        key = deep_limit_key(structure, length_mm=fixture.size.length_mm)
        if key is None or structure.id not in measured or isinstance(structure, KnownObject):
            continue
        others = tuple(s for s in plan.structures if s is not structure)
        reading: Reading = clearance(fixture, structure, frame=frame, others=others, tip_mm=tip_mm)
        rows.append(
            maker.row(
                group=kind_of(structure).group, kind=MeasurementKind.CLEARANCE,
                target=structure.id, parts=("drill",), reading=reading, limit_key=key,
                details=ClearanceDetails(with_tip_mm=tip_mm),
            )
        )  # fmt: skip
    rows += [
        maker.row(
            group="roots", kind=MeasurementKind.CLEARANCE, target=other.id, parts=("drill",),
            reading=between_fixtures(fixture, other, tip_mm=tip_mm),
            limit_key=zones_of("fixture", fixture.size.length_mm)[-1].key,
            details=ClearanceDetails(with_tip_mm=tip_mm, of="fixture"),
        )
        for other in plan.fixtures
        if other.id != fixture.id
    ]  # fmt: skip
    return (*rows, *_apical_rows(fixture, ledger, maker, tip_mm))


def _apical_rows(
    fixture: Fixture, ledger: Ledger, maker: RowMaker, tip_mm: float
) -> Iterator[Measurement]:
    """The outer bone surface beyond the apex, from the ledger's row with a tip of 1.5 mm.

    A shorter tip comes no nearer. One that is longer by d comes nearer by d at most, so the
    row's value less d is what it has at least: a lower bound, and said to be one.
    """
    name = f"{fixture.id}/clearance/bone surface/apical/tip"
    found = next((m for m in ledger.of(fixture.id) if m.id == name), None)
    if found is None:
        return
    longer = tip_mm - UNKNOWN_TIP_MM
    if longer <= 0 or found.value is None:
        yield found
        return
    note = Note("tip-longer", {"tip": plain(tip_mm), "counted": plain(UNKNOWN_TIP_MM)})
    reading = replace(
        found.reading, value=found.value - longer, witness=None,
        notes=(*found.reading.notes, note),
    )  # fmt: skip
    yield maker.row(
        group=found.group,
        kind=MeasurementKind.CLEARANCE,
        target="bone surface",
        parts=("apical", "drill"),
        reading=reading,
        limit_key=None if found.limit is None else found.limit.key,
        details=ClearanceDetails(side=found.details.side, with_tip_mm=tip_mm),
    )


def misses_more(row: Measurement, ledger: Ledger) -> bool:
    """True where a tip misses a limit that the fixture itself meets."""
    if row.verdict in (None, "meets limit"):
        return False
    wanted = row.id.rsplit("/", 1)[0]
    # Of a root, or another fixture, the other zone is a row of its own: both must be met.
    names = (wanted, f"{wanted}/shoulder", f"{wanted}/deep")
    bare = [m for m in ledger.measurements if m.id in names]
    return bool(bare) and all(m.verdict in (None, "meets limit") for m in bare)
