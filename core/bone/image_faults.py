"""Faults of the image itself, found in its grey values: what each means for edges found in it.

A person's own judgement of the image adds to these and never replaces them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from core.arch import Arch
from core.bone.bone_levels import BoneLevels
from core.bone.movement import doubled_mm
from core.bone.rings import rings_of
from core.bone.shading import shaded_share
from core.bone.streaks import FAR_SD_MM, NEAR_MM, REACH_MM, Streaks
from core.bone.tissue_classes import Profiles, tissue_classes
from core.geometry import Array
from core.image.volume import Volume
from core.measurement import Note
from core.words.numbers import Figure

_FEW_LEVELS, _TOO_FEW_LEVELS = 150.0, 12.0
"""Steps of the grey scale between soft tissue and cortex: told, and too few to measure by."""

_SEEN_STEPS = 200_000
_EDGE_RISE_MM = 0.7
"""Length over which a usual edge rises; a grey step moves the edge by its share of it."""

_SMOOTH_FWHM_MM = 0.9
_AT_FLOOR_NOISES = 2.0
_SOFT_CUT_SD_MM = 0.05
_MOVED_MM, _MOVED_SURE, _MOVED_TOO_FAR_MM = 0.4, 1.8, 0.8
_SHADED, _SHADED_EDGE_MM = 0.35, 0.3
"""Change of soft tissue over the scan, as a share of the contrast, that brings it well above what
counts as bone (the sample scans, whose edges are where they should be, change by up to 0.29; in
reconstructed scans of 38 mm surfaces went astray from 0.37 on); and what an edge moves by all of
the contrast: half of a usual edge's rise."""

_RINGS, _TOO_STRONG_RINGS, _RINGS_SURE = 0.02, 0.12, 2.0
"""Rings, root mean square as a share of the contrast: told, and too strong to measure by; and how
much more than by chance."""

_MOVED_SHARE = 0.25
"""Of the distance between double edges, what an edge may lie off: half of the half."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ImageFault:
    """One fault of the image.

    Parameters
    ----------
    note : Note
        What it is, and what it means for measuring.
    stops : bool
        True where no limit can be met on edges found in this image.
    edge_sd_mm : float
        What it adds to the standard uncertainty of each value that rests on edges.
    """

    note: Note
    stops: bool
    edge_sd_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ImageFaults:
    """Faults of a scan: those of all of it, and those of a place.

    Parameters
    ----------
    everywhere : tuple of ImageFault
    streaks : Streaks or None
    """

    everywhere: tuple[ImageFault, ...] = ()
    streaks: Streaks | None = None

    @classmethod
    def of(cls, volume: Volume, arch: Arch, levels: BoneLevels) -> ImageFaults:
        """Look for faults of a scan with the levels that were learnt from it.

        Parameters
        ----------
        volume : Volume
        arch : Arch
        levels : BoneLevels
        """
        if levels.trouble is not None:
            return cls()
        found = (
            _few_levels(volume, levels),
            _soft_at_the_floor(volume, levels),
            _smoothed(levels),
            _pointed(levels),
            _moved(volume, arch, levels),
            _shaded(volume, arch, levels),
            _ringed(volume, levels),
        )
        return cls(
            everywhere=tuple(fault for fault in found if fault is not None),
            streaks=Streaks.of(volume, levels),
        )

    def at(self, volume: Volume, points_mm: Array) -> tuple[ImageFault, ...]:
        """Faults at a place alone.

        Parameters
        ----------
        points_mm : (n, 3) patient LPS mm
            Along a fixture's axis, or a ridge from the crest down.
        """
        if self.streaks is None:
            return ()
        away = self.streaks.nearest_mm(volume, points_mm)
        if away > REACH_MM:
            return ()
        note = Note("image_streaks", {"mm": f"{away:.0f}"})
        return (ImageFault(note=note, stops=away < NEAR_MM, edge_sd_mm=FAR_SD_MM),)


def _few_levels(volume: Volume, levels: BoneLevels) -> ImageFault | None:
    """Steps of the grey scale that are not small against what tells bone from soft tissue."""
    every = max(1, volume.voxels.size // _SEEN_STEPS)
    stored = np.unique(volume.voxels.reshape(-1)[::every]).astype(np.float64)
    grey = stored * volume.slope + volume.intercept
    low, high = sorted((levels.soft, levels.cortical))
    between = np.sort(grey[(grey >= low) & (grey <= high)])
    if not len(between):
        return None
    contrast = high - low
    steps = float(len(between))
    if steps >= _FEW_LEVELS:
        return None
    step = contrast / steps
    return ImageFault(
        note=Note("image_few_levels", {"steps": round(steps)}),
        stops=steps < _TOO_FEW_LEVELS,
        edge_sd_mm=_EDGE_RISE_MM * step / contrast / float(np.sqrt(12.0)),
    )


def _soft_at_the_floor(volume: Volume, levels: BoneLevels) -> ImageFault | None:
    """Soft tissue that lies at the darkest value of all was cut off there."""
    inside = volume.voxels
    if volume.field is not None:
        inside = inside[:, volume.field.astype(bool)]
    ends = float(inside.min()), float(inside.max())
    lowest = min(end * volume.slope + volume.intercept for end in ends)
    if levels.soft - lowest > _AT_FLOOR_NOISES * levels.noise_sd + 0.01 * (
        levels.cortical - levels.soft
    ):
        return None
    return ImageFault(note=Note("image_soft_cut"), stops=False, edge_sd_mm=_SOFT_CUT_SD_MM)


def _smoothed(levels: BoneLevels) -> ImageFault | None:
    """A filter that smooths: edges are found with its blur, and thin plates fade in it."""
    fwhm = 2.3548 * float(np.sqrt(max(levels.blur.variance_mm2, 0.0)))
    if not levels.blur.seen or fwhm < _SMOOTH_FWHM_MM:
        return None
    fields = {"blur": Figure(f"{fwhm:.1f}")}
    return ImageFault(note=Note("image_smoothed", fields), stops=False, edge_sd_mm=0.0)


def _pointed(levels: BoneLevels) -> ImageFault | None:
    """Levels that a person pointed at move every edge by their doubt."""
    if levels.pointed_sd is None:
        return None
    share = levels.pointed_sd / (levels.cortical - levels.soft)
    sd = 0.5 * share * _EDGE_RISE_MM
    return ImageFault(note=Note("levels_pointed"), stops=False, edge_sd_mm=sd)


def _moved(volume: Volume, arch: Arch, levels: BoneLevels) -> ImageFault | None:
    """Edges that stand double in the slices' plane."""
    size, sd = doubled_mm(volume, arch, levels)
    if size < _MOVED_MM or size < _MOVED_SURE * sd:
        return None
    return ImageFault(
        note=Note("image_moved", {"mm": Figure(f"{size:.1f}")}),
        stops=size > _MOVED_TOO_FAR_MM,
        edge_sd_mm=_MOVED_SHARE * size,
    )


def _shaded(volume: Volume, arch: Arch, levels: BoneLevels) -> ImageFault | None:
    """Soft tissue that is as bright at one place as spongy bone at another."""
    profiles = Profiles.across(volume, arch)
    classes = tissue_classes(profiles, Profiles.upright(volume, arch))
    if classes is None:
        return None
    share = shaded_share(volume, profiles, classes, levels.cortical)
    if share < _SHADED:
        return None
    note = Note("image_shaded", {"percent": f"{100.0 * share:.0f}"})
    return ImageFault(note=note, stops=True, edge_sd_mm=_SHADED_EDGE_MM * share)


def _ringed(volume: Volume, levels: BoneLevels) -> ImageFault | None:
    """Rings around the axis of rotation: each moves the edges that it crosses."""
    rings = rings_of(volume, levels)
    share = rings.sd / (levels.cortical - levels.soft)
    if share < _RINGS or rings.sd < _RINGS_SURE * rings.chance:
        return None
    return ImageFault(
        note=Note("image_rings", {"percent": f"{100.0 * share:.0f}"}),
        stops=share > _TOO_STRONG_RINGS,
        edge_sd_mm=_EDGE_RISE_MM * share,
    )
