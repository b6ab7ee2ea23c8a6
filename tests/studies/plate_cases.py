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
}  # fmt: skip
CASES = [("a", 0.25, 0.9, 1), ("b", 0.25, 0.9, 2), ("a", 0.3, 0.6, 3), ("b", 0.3, 1.0, 4)]


def bodies(name: str, *, thick_mm: float = 2.2) -> list[Body]:
    """The bones of a scan; each is thick above and below its thin middle."""
    return [
        Body(shape=shape, centre=centre, thin_mm=t, thick_mm=t if shape == "ball" else thick_mm)
        for shape, centre, t in BODIES[name]
    ]
