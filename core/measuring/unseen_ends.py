"""Why the bone beside a fixture may end nearer than any edge shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from core.bone.ridge import RidgeResult
from core.measurement import Measurement, Note, Reading
from core.measuring.basis import Basis
from core.plans.limits import SurfaceSide

_SHADED, _ONE_PLATE = "image_shaded", {"ridge_one_plate", "ridge_narrows_suddenly"}
_RIM_MM = 0.1
"""An edge that was read so much too far out, as by a level that is off, deceives on all sides: on a
real jaw 3.4 mm of lingual bone were read for none, where the platform was 0.17 ± 0.14 mm deep."""


def unseen_end(ridge: RidgeResult, basis: Basis) -> Note | None:
    """Why the bone may end nearer than any edge shows, for the rows beside a fixture.

    Gum as bright as bone, or a plate that no voxel shows: a width is as thin as the other.

    Parameters
    ----------
    ridge : RidgeResult
        At the fixture.
    basis : Basis
    """
    shaded = (fault.note for fault in basis.faults.everywhere if fault.note.code == _SHADED)
    plates = (note for width in ridge.widths for note in width.reading.notes)
    one = (note for note in plates if note.code in _ONE_PLATE)
    return next(shaded, next(one, None))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UnseenEnds:
    """Why the bone beside a fixture may end nearer than any edge shows.

    Parameters
    ----------
    everywhere : Note or None
        Gum as bright as bone, or a plate that no voxel shows.
    rims : mapping of place to Measurement
        How deep the platform stands below the bone's edge around it.
    """

    everywhere: Note | None = None
    rims: Mapping[str, Measurement] = field(default_factory=dict)

    def bounded(
        self,
        reading: Reading,
        side: SurfaceSide,
        *,
        at_rim: bool = True,
        else_by: Note | None = None,
    ) -> Reading:
        """The reading as an upper bound where what ends the bone on that side may not show at all.

        Parameters
        ----------
        reading : Reading
            Bone beside a fixture, mm; below zero the fixture stands out of it.
        side : {'buccal', 'lingual', 'apical'}
        at_rim : bool, optional
            Whether the platform's height is among what it speaks of.
        else_by : Note, optional
            A further reason, if there is no other.
        """
        hidden = self.everywhere or (self._rim(reading, side) if at_rim else None) or else_by
        if hidden is None or reading.value is None:
            return reading
        if side == "apical" and hidden.code in _ONE_PLATE:
            return reading
        return replace(
            reading,
            lower_bound=False,
            upper_bound=True,
            evidence=replace(reading.evidence, nearer=hidden),
            notes=(*reading.notes, hidden),
        )

    def _rim(self, reading: Reading, side: SurfaceSide) -> Note | None:
        """Where the platform may stand out of the bone on a side, it may end at the platform."""
        rim = self.rims.get(side)
        if rim is None or rim.value is None or rim.budget is None:
            return None
        if reading.value is None or reading.value <= 0.0:
            return None
        surely = rim.value - rim.budget.expanded > _RIM_MM
        return None if surely else Note("wall_rim_at_edge")
