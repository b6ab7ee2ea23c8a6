"""Rows of drilling: depth to the apex from each place that can be seen on the day."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from core.distances.drilling import drill_depths, marks_at
from core.fixture import Fixture
from core.measurement import Measurement, Reading
from core.measuring.basis import RowMaker
from core.plans.plan import Plan

OF = "drill to the apex"
"""The detail ``of`` of these rows."""


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
        details: dict[str, object] = {"of": OF, "from": depth.counted_from}
        if depth.mark_mm is not None:
            details["mark_mm"] = depth.mark_mm
        yield maker.row(
            group="information",
            kind="depth",
            parts=("drill", depth.counted_from),
            reading=depth.reading,
            details=details,
        )


def drill_rows_of(rows: Iterable[Measurement]) -> tuple[Measurement, ...]:
    """The drilling rows among rows of one fixture, in the order of `DepthReference`."""
    return tuple(m for m in rows if m.kind == "depth" and m.details.get("of") == OF)
