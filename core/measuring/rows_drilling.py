"""Rows of drilling: depth to the apex from each place that can be seen on the day."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from core.distances.drilling import drill_depths, marks_at
from core.fixture import Fixture
from core.measurement import Measurement, Reading
from core.measurement_kinds import DepthDetails, MeasurementKind
from core.measuring.basis import RowMaker
from core.measuring.depth_rule import OF_DRILLING, is_drilling_depth
from core.plans.plan import Plan
from core.trust.figures import plain


def drilling_rows(
    plan: Plan, fixture: Fixture, platform_depths: Mapping[str, Reading], maker: RowMaker
) -> Iterator[Measurement]:
    """Depth from the buccal rim and the highest rim; from gum and stent top where marked.

    Parameters
    ----------
    platform_depths : mapping of side to Reading
        Those of the same ledger, so that both count from the same bone.
    """
    gum = marks_at(fixture, plan.structures, "gum")
    stent_top = marks_at(fixture, plan.structures, "stent_top")
    absent = {name for name, marks in (("gum", gum), ("stent top", stent_top)) if marks is None}
    for depth in drill_depths(
        fixture, platform_depths=platform_depths, gum=gum, stent_top=stent_top
    ):
        if depth.counted_from in absent:
            continue
        yield maker.row(
            group="information",
            kind=MeasurementKind.DEPTH,
            parts=("drill", depth.counted_from),
            reading=depth.reading,
            details=DepthDetails(
                of=OF_DRILLING, counted_from=depth.counted_from, mark_mm=depth.mark_mm
            ),
        )


def drill_rows_of(rows: Iterable[Measurement]) -> tuple[Measurement, ...]:
    """The drilling rows among rows of one fixture, in the order of `DepthReference`."""
    return tuple(m for m in rows if is_drilling_depth(m))


def counted_from(row: Measurement) -> str:
    """Where a drilling row is counted from; empty for other rows."""
    return row.details.counted_from if isinstance(row.details, DepthDetails) else ""


def mark_words(row: Measurement) -> str:
    """The drill's mark of a drilling row; ``–`` where it has none."""
    mark = row.details.mark_mm if isinstance(row.details, DepthDetails) else None
    return "–" if mark is None else plain(mark)
