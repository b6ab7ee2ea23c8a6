"""What is drawn for one case: site, shape, tissues, scanner, filter, fault, hand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SCALES = {
    # name: (factor, offset, low, high) of the stored values
    "usual": (1.0, 0.0, -1024, 3095),
    "air 0, bone 900": (0.36, 360.0, 0, 4095),
    "12 bit unsigned": (0.62, 1000.0, 0, 4095),
    "negative": (1.0, -3000.0, -4500, 500),
    "wide": (8.0, 9000.0, -32768, 32767),
}
FILTERS = ("none", "smoothed", "median", "sharpened")
FAULTS = ("none", "clipped", "8 bit", "field cut", "metal")


@dataclass(frozen=True, kw_only=True)
class Choices:
    """Everything by which a report can be split; lengths in mm, greys before the scale."""

    seed: int
    jaw: str
    tooth: str
    ridge: str
    buccal_plate: float
    lingual_plate: float
    width: float
    over_crest: str
    marrow: str
    teeth: str
    voxel: float
    blur_fwhm: float
    noise: float
    correlated: float
    filter: str
    scale: str
    fault: str
    along: float
    across: float
    height: float

    @property
    def faultless(self) -> bool:
        """True where nothing is wrong with the image."""
        return self.fault == "none"


def choices(seed: int) -> Choices:
    """The conditions of a case; its shape follows from the same seed."""
    rng = np.random.default_rng([seed, 1])
    jaw = str(rng.choice(["lower", "upper"], p=[0.62, 0.38]))
    position = int(rng.integers(1, 8))
    right = bool(rng.integers(2))
    quadrant = {("upper", True): 1, ("upper", False): 2, ("lower", False): 3, ("lower", True): 4}
    voxel = float(
        rng.choice([0.1, 0.15, 0.2, 0.25, 0.3, 0.4], p=[0.02, 0.05, 0.19, 0.24, 0.25, 0.25])
    )
    ridge = str(rng.choice(["even", "knife", "undercut", "broad"], p=[0.35, 0.2, 0.25, 0.2]))
    width = {
        "even": rng.uniform(5.0, 9.0), "knife": rng.uniform(2.0, 4.5),
        "undercut": rng.uniform(5.0, 10.0), "broad": rng.uniform(8.0, 14.0),
    }[ridge]  # fmt: skip
    thin = rng.random() < 0.4
    plates = rng.uniform(0.3, 0.8, 2) if thin else 0.3 + 2.7 * rng.beta(1.4, 2.4, 2)
    # Small voxels come with small fields, as on real scanners.
    along = 26.0 if voxel < 0.25 else float(rng.choice([26.0, 30.0, 42.0], p=[0.5, 0.3, 0.2]))
    fault = str(rng.choice(FAULTS, p=[0.86, 0.05, 0.03, 0.03, 0.03]))
    scale = str(rng.choice(list(SCALES), p=[0.5, 0.13, 0.13, 0.12, 0.12]))
    return Choices(
        seed=seed,
        jaw=jaw,
        tooth=f"{quadrant[jaw, right]}{position}",
        ridge=ridge,
        buccal_plate=float(plates[0]),
        lingual_plate=float(plates[1]),
        width=float(width),
        over_crest=str(rng.choice(["air", "gum", "soft"], p=[0.3, 0.4, 0.3])),
        marrow=str(
            rng.choice(["usual", "fatty", "sparse", "sclerotic"], p=[0.55, 0.17, 0.15, 0.13])
        ),
        teeth=str(rng.choice(["none", "one", "two", "at the site"], p=[0.4, 0.2, 0.34, 0.06])),
        voxel=voxel,
        blur_fwhm=float(max(rng.uniform(0.25, 0.75), 1.1 * voxel)),
        noise=float(45.0 * 2.0 ** rng.uniform(-1.0, 2.0)),
        correlated=float(rng.uniform(0.0, 0.8)),
        filter=str(rng.choice(FILTERS, p=[0.55, 0.17, 0.08, 0.2])),
        scale=scale,
        fault=fault,
        along=along,
        across=32.0,
        height=30.0,
    )
