"""From a row of the ledger to the picture that shows it, or to the tool that settles it."""

from __future__ import annotations

from app.case.session import Session
from core.arch import fixture_frame
from core.errors import PlanError
from core.kinds import declared_kind
from core.measurement import Measurement
from core.plans.pose import turn_through


def show_row(session: Session, row: Measurement) -> bool:
    """Go to the witness points of a row; False where it has none.

    A fixture's row is shown in the plane through its axis that holds the structure's end of the
    line; a site's row in the section across the arch.
    """
    arch = session.arch
    if row.reading.witness is None or arch is None:
        return False
    first, second = row.reading.witness
    fixture = next((f for f in session.plan.fixtures if f.id == row.fixture), None)
    if fixture is not None and row.kind.row.drawn == "fixture":
        try:
            turn = turn_through(fixture, fixture_frame(fixture, arch), second)
        except PlanError:
            return False
        session.go_to(station_mm=arch.station(fixture.platform), selected=fixture.id, turn_deg=turn)
        return True
    station = arch.station((first + second) / 2)
    session.go_to(station_mm=station, selected=row.fixture or row.site, across=True)
    return True


def mark_tool(structure: str) -> str:
    """Name of the tool that marks a structure that a row misses: the id of its kind."""
    kind = declared_kind(structure)
    if kind is None:
        raise ValueError(f"no structure of that name is expected: {structure!r}")
    return kind.id
