"""What a direction in the patient is called, for people who move something by hand."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from core.arch import Arch, fixture_frame
from core.errors import PlanError
from core.fixture import Fixture
from core.geometry import Array, unit, vector
from core.identity import inner_side
from core.plans.plan import Plan

LEAST_WORD_SHARE = float(np.sin(np.radians(22.5)))
"""A direction is called after an axis when it leans this far towards it (22.5 degrees)."""

_SIDEWAYS = ("towards the patient’s left", "towards the patient’s right")
_PATIENT: list[tuple[Array, str, str]] = [
    (vector((1, 0, 0)), *_SIDEWAYS),
    (vector((0, 1, 0)), "backwards", "forwards"),
    (vector((0, 0, 1)), "upwards", "downwards"),
]


def direction_words(plan: Plan, arch: Arch | None, fixture: Fixture, direction: ArrayLike) -> str:
    """What a direction is called at a fixture: ``buccal``, ``mesial and apical`` ...

    Along the axis: apical (towards its apex) or coronal. Without an arch, or where buccal has
    no meaning, by the patient's own directions.

    Parameters
    ----------
    plan : Plan
    arch : Arch or None
    fixture : Fixture
    direction : (3,) direction, patient LPS
    """
    try:
        frame = None if arch is None else fixture_frame(fixture, arch)
    except PlanError:
        frame = None
    if frame is None:
        return _called(direction, _PATIENT)
    sideways = ("mesial", "distal") if frame.named_by_tooth else _SIDEWAYS
    return _called(
        direction,
        [
            (frame.b, "buccal", inner_side(plan.known_jaw)),
            (frame.m, *sideways),
            (fixture.towards_apex, "apical", "coronal"),
        ],
    )


def place_words(plan: Plan, arch: Arch | None, point_mm: ArrayLike, direction: ArrayLike) -> str:
    """What a direction is called at a place of the jaw: ``buccal``, ``upwards`` ...

    Parameters
    ----------
    plan : Plan
    arch : Arch or None
    point_mm : (3,) patient LPS mm
    direction : (3,) direction, patient LPS
    """
    if arch is None:
        return _called(direction, _PATIENT)
    frame = arch.frame(arch.station(point_mm))
    return _called(
        direction,
        [
            (frame.buccal, "buccal", inner_side(plan.known_jaw)),
            (frame.travel, *_SIDEWAYS),
            (frame.up, "upwards", "downwards"),
        ],
    )


def _called(direction: ArrayLike, axes: list[tuple[Array, str, str]]) -> str:
    """The one or two axes that a direction leans to most."""
    way = unit(direction)
    shares = sorted(
        ((float(way @ axis), plus, minus) for axis, plus, minus in axes), key=lambda s: -abs(s[0])
    )
    words = [
        plus if share > 0 else minus
        for share, plus, minus in shares[:2]
        if abs(share) > LEAST_WORD_SHARE
    ]
    return " and ".join(words)
