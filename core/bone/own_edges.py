"""A scan's edges on its own levels, for what one click proposes."""

from __future__ import annotations

from collections.abc import Sequence

from core.arch import Arch
from core.bone.edges import ScanEdges
from core.bone.level_learning import bone_levels
from core.bone.plate_fit import PlateFit
from core.image.volume import Volume
from core.measurement import Note
from core.plans.plan import Jaw, TissuePoint


def own_edges(
    volume: Volume, arch: Arch, jaw: Jaw, points: Sequence[TissuePoint]
) -> ScanEdges | Note:
    """Edges by the levels and plates that a scan teaches.

    Parameters
    ----------
    volume : Volume
    arch : Arch
    jaw : {'lower', 'upper'}
    points : sequence of TissuePoint
        Where a person sees the tissues.

    Returns
    -------
    ScanEdges or Note
        What stands against the scan's tissue levels.
    """
    levels = bone_levels(volume, arch, points)
    if levels.evidence.levels is not None:
        return levels.evidence.levels
    finder = PlateFit.of(volume, arch, jaw, levels)
    return ScanEdges(volume=volume, levels=levels, finder=finder)
