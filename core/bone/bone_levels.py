"""Grey levels of this scan: soft tissue, spongy bone, cortex, the noise and the blur.

Cone-beam grey values are not Hounsfield units: no level is ever assumed. All are taken from
the scan itself, near the traced arch, once (`core.bone.level_learning`), and then hold for every
edge of the scan.
"""

from __future__ import annotations

from dataclasses import dataclass

from core.measurement import Evidence, Note


@dataclass(frozen=True, slots=True, kw_only=True)
class Blur:
    """Gaussian blur of the scan without the voxel.

    Parameters
    ----------
    variance_mm2 : float
        May be a little below zero in a sharpened scan.
    sd_mm : float
        Standard deviation of the whole blur's size.
    seen : bool
        False where the scan did not show it and a usual one stands in.
    through_mm2 : float or None
        The variance through the slices, where that is another one.
    """

    variance_mm2: float
    sd_mm: float
    seen: bool
    through_mm2: float | None = None


_OF_SPONGY, _LEAST_BONE, _MOST_BONE = 0.7, 0.25, 0.3
"""Where bone begins: below spongy bone, and within these shares of the rise to cortex."""

_USUAL_DOUBT, _OF_DOUBT = 0.15, 1.5
"""Of a rise to cortex that is in doubt by more than this share of itself, as where all plates are
thin, that much of the doubt beyond it is left out: a thin plate that is taken for brighter than it
is leaves no trace else."""

USUAL_BLUR = Blur(variance_mm2=0.22**2, sd_mm=0.08, seen=False)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoneLevels:
    """Grey levels that edges are found by; grey values of this scan, not HU.

    Parameters
    ----------
    soft : float
        Level of soft tissue around bone; air is a class of its own, and stands in only where
        nothing else lies around the bone.
    spongy : float
        Typical level inside, away from cortex.
    cortical : float
        Level of cortex, by the model of a blurred plate.
    cortical_sd : float
        Its doubt at any one place.
    noise_sd : float
        Noise of one profile, as sampled.
    voxel_mm : float
        Longest voxel edge.
    trouble : Note or None
        Why no edge can be found with these levels; None where they can be used.
    unproven : Note or None
        Why these levels are not proven to be those of this scan's tissues.
    blur : Blur
        Of the scan, as its clean steps and its plates show it together.
    pointed_sd : float or None
        Doubt of levels that a person pointed at, soft tissue and cortex together; None for levels
        that the scan shows itself.
    pointing : Note or None
        What became of pointing that does not count here.
    together : bool
        True where no plate is wide enough to show its level by itself: the level of cortex is the
        one that describes all thin ones best.
    """

    soft: float
    spongy: float
    cortical: float
    cortical_sd: float
    noise_sd: float
    voxel_mm: float
    trouble: Note | None = None
    unproven: Note | None = None
    blur: Blur = USUAL_BLUR
    pointed_sd: float | None = None
    pointing: Note | None = None
    together: bool = False

    @property
    def evidence(self) -> Evidence:
        """What any edge found by these levels rests on."""
        return Evidence(
            rests_on="image",
            levels=self.trouble or self.unproven,
            levels_from="scan" if self.pointed_sd is None else "person",
        )

    @property
    def thin_mm(self) -> float:
        """Thickness under which such scans are not reliable: max(0.8 mm, 2 voxels).

        0.8 mm: Razavi et al. 2010 (Clin Oral Implants Res 21:718-725); two voxels is a
        sampling argument.
        """
        return max(0.8, 2.0 * self.voxel_mm)

    @property
    def bone_threshold(self) -> float:
        """Grey value above which tissue is taken for bone of some kind, spongy bone included."""
        contrast = self.cortical - self.soft
        contrast -= _OF_DOUBT * max(self.cortical_sd - _USUAL_DOUBT * contrast, 0.0)
        of_spongy = _OF_SPONGY * (self.spongy - self.soft)
        return self.soft + min(max(of_spongy, _LEAST_BONE * contrast), _MOST_BONE * contrast)
