"""The bones and scans of `reconstructed_plates`: exact shapes, no toolkit needed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

THIN_HALF_MM = 2.2


@dataclass(frozen=True, kw_only=True)
class Body:
    """One bone: its shape, its place and the thickness of its cortex by direction."""

    shape: str
    centre: tuple[float, float, float]
    thin_mm: float
    thick_mm: float

    def distance(self, p):
        """Signed distance to the outer surface, negative inside."""
        q = p - np.array(self.centre)
        if self.shape == "ball":
            return np.linalg.norm(q, axis=1) - 6.0
        if self.shape == "cylinder":
            return np.hypot(q[:, 0], q[:, 1]) - 6.0
        turned = np.stack([q[:, 0] + 0.3 * q[:, 1], q[:, 1] - 0.3 * q[:, 0]], 1) / np.sqrt(1.09)
        return np.abs(turned).max(axis=1) - 5.5

    def thickness(self, p):
        """Thickness of the cortex: thick, and thin in the middle of the field's height."""
        z = p[:, 2] - self.centre[2]
        return np.where(np.abs(z) < THIN_HALF_MM, self.thin_mm, self.thick_mm)


BODIES = {
    "a": [("cylinder", (-12.0, 12.0, 0.0), 0.4), ("box", (12.0, 12.0, 0.0), 0.7),
          ("cylinder", (-12.0, -12.0, 0.0), 1.0), ("ball", (12.0, -12.0, 0.0), 1.5)],
    "b": [("cylinder", (-12.0, 12.0, 0.0), 0.3), ("box", (12.0, 12.0, 0.0), 0.5),
          ("cylinder", (-12.0, -12.0, 0.0), 0.8), ("cylinder", (12.0, -12.0, 0.0), 3.0)],
    "c": [("box", (-12.0, 12.0, 0.0), 0.6), ("cylinder", (12.0, 12.0, 0.0), 0.5),
          ("cylinder", (-12.0, -12.0, 0.0), 1.2), ("ball", (12.0, -12.0, 0.0), 1.1)],
    "d": [("cylinder", (-12.0, 12.0, 0.0), 0.7), ("box", (12.0, 12.0, 0.0), 1.0),
          ("box", (-12.0, -12.0, 0.0), 0.35), ("cylinder", (12.0, -12.0, 0.0), 0.9)],
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Case:
    """One reconstructed scan.

    Parameters
    ----------
    key : str
        Name of its arrays.
    bones : str
        Of `BODIES`.
    hann : float
        Cut of the reconstruction filter.
    scatter : float
        Scattered share of the signal.
    held_out : bool
        Made and read after the method was settled; it decided nothing.
    never_thick : bool
        The same thin plates, nowhere thick.
    one_energy : bool
        A beam of one energy, without scatter and noise: nothing hardens.
    """

    key: str
    bones: str
    voxel: float
    hann: float
    seed: int
    thick_mm: float = 2.2
    scatter: float = 0.12
    held_out: bool = False
    never_thick: bool = False
    one_energy: bool = False

    @property
    def usual(self) -> bool:
        """One of those that the targets are held against."""
        return not (self.held_out or self.never_thick or self.one_energy)

    @property
    def bodies(self) -> list[Body]:
        """The bones of the scan; each is thick above and below its thin middle."""
        return [
            Body(
                shape=shape,
                centre=centre,
                thin_mm=t,
                thick_mm=t if shape == "ball" or self.never_thick else self.thick_mm,
            )
            for shape, centre, t in BODIES[self.bones]
        ]


CASES = (
    Case(key="0", bones="a", voxel=0.25, hann=0.9, seed=1),
    Case(key="1", bones="b", voxel=0.25, hann=0.9, seed=2),
    Case(key="2", bones="a", voxel=0.3, hann=0.6, seed=3),
    Case(key="3", bones="b", voxel=0.3, hann=1.0, seed=4),
    Case(key="4", bones="c", voxel=0.25, hann=0.75, seed=5, thick_mm=1.8, held_out=True),
    Case(key="5", bones="d", voxel=0.3, hann=0.9, seed=6, thick_mm=2.6, held_out=True),
    Case(key="6", bones="c", voxel=0.3, hann=0.7, seed=8, scatter=0.2, held_out=True),
    Case(key="7", bones="d", voxel=0.25, hann=1.0, seed=9, thick_mm=2.0, scatter=0.05,
         held_out=True),
    Case(key="_one_a", bones="a", voxel=0.25, hann=0.9, seed=1, one_energy=True),
    Case(key="_one_b", bones="b", voxel=0.25, hann=0.9, seed=2, one_energy=True),
    Case(key="_thin", bones="a", voxel=0.25, hann=0.9, seed=7, never_thick=True),
)  # fmt: skip
