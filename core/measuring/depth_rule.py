"""One rule for drilling depths: none is given where a vital structure or root is not met.

A depth is the plan's number for the drill. Beside a limit that is not met, or while left and right
may be swapped, it would be drilled all the same; so the ledger holds none there, and what shows a
depth takes it from the ledger or asks here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from core.measurement import Measurement, Note, Reading
from core.measurement_kinds import DepthDetails
from core.trust.verdict import target_words
from core.words.catalogue import Words
from core.words.values import row_of

OF_DRILLING = "drill to the apex"
"""The detail ``of`` of a row that tells how deep the drill goes."""

_GROUPS = ("danger", "roots")


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthRule:
    """What the rule says of one fixture.

    Parameters
    ----------
    obstacles : tuple of Measurement
        Vital structures and roots that are below their limit or not assessed.
    borderline : tuple of Measurement
        Those that are met by less than their uncertainty: the depth is shown with their names.
    side_contradicted : bool
        True while left and right may be swapped.
    """

    obstacles: tuple[Measurement, ...] = ()
    borderline: tuple[Measurement, ...] = ()
    side_contradicted: bool = False

    @property
    def refused(self) -> bool:
        """True where no drilling depth may be shown."""
        return self.side_contradicted or bool(self.obstacles)

    def reason(self, jaw: str | None) -> Note:
        """Why no depth is given, for people."""
        if self.side_contradicted:
            return Note("depth-side-contradicted")
        return Note("depth-withheld", {"what": names_of(self.obstacles, jaw)})


def depth_rule(rows: Iterable[Measurement], *, side_contradicted: bool) -> DepthRule:
    """Apply the rule to the rows of one fixture.

    Parameters
    ----------
    rows : iterable of Measurement
        Of one fixture.
    side_contradicted : bool
    """
    guarded = [m for m in rows if m.group in _GROUPS]
    return DepthRule(
        obstacles=tuple(m for m in guarded if bars_drilling(m)),
        borderline=tuple(m for m in guarded if m.verdict == "too near to tell"),
        side_contradicted=side_contradicted,
    )


def bars_drilling(row: Measurement) -> bool:
    """True for a verdict beside which no depth is given."""
    return row.verdict in ("below limit", "not assessed")


def names_of(rows: Iterable[Measurement], jaw: str | None) -> Words:
    """What rows are to in this jaw, each once."""
    return row_of(list(dict.fromkeys(target_words(m, jaw=jaw) for m in rows)))


def is_drilling_depth(row: Measurement) -> bool:
    """True for a row that tells how deep the drill goes."""
    return isinstance(row.details, DepthDetails) and row.details.of == OF_DRILLING


def with_depths_withheld(
    rows: Iterable[Measurement], *, jaw: str | None, side_contradicted: bool
) -> list[Measurement]:
    """Rows of a whole ledger; a drilling depth that the rule refuses has no number and says why.

    Parameters
    ----------
    rows : iterable of Measurement
        In any order.
    jaw : str or None
        For the names of structures.
    side_contradicted : bool
    """
    rows = list(rows)
    rules: dict[str, DepthRule] = {}
    for row in rows:
        if is_drilling_depth(row) and row.fixture not in rules:
            own = (m for m in rows if m.fixture == row.fixture)
            rules[row.fixture] = depth_rule(own, side_contradicted=side_contradicted)
    return [
        _withheld(row, rules[row.fixture], jaw)
        if is_drilling_depth(row) and rules[row.fixture].refused
        else row
        for row in rows
    ]


def _withheld(row: Measurement, rule: DepthRule, jaw: str | None) -> Measurement:
    reading = Reading(value=None, unit=row.reading.unit, notes=(rule.reason(jaw),))
    return replace(row, reading=reading, budget=None, details=row.details.without_value())
