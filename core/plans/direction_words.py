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
from core.words.catalogue import Words, message
from core.words.values import SIDES, listed

LEAST_WORD_SHARE = float(np.sin(np.radians(22.5)))
"""A direction is called after an axis when it leans this far towards it (22.5 degrees)."""

_SIDEWAYS = (message("things.way.patients-left"), message("things.way.patients-right"))
_UPWARDS = (message("things.way.upwards"), message("things.way.downwards"))
_PATIENT: list[tuple[Array, Words, Words]] = [
    (vector((1, 0, 0)), *_SIDEWAYS),
    (vector((0, 1, 0)), message("things.way.backwards"), message("things.way.forwards")),
    (vector((0, 0, 1)), *_UPWARDS),
]


def direction_words(plan: Plan, arch: Arch | None, fixture: Fixture, direction: ArrayLike) -> Words:
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
    sideways = (SIDES["mesial"], SIDES["distal"]) if frame.named_by_tooth else _SIDEWAYS
    return _called(
        direction,
        [
            (frame.b, SIDES["buccal"], SIDES[inner_side(plan.known_jaw)]),
            (frame.m, *sideways),
            (fixture.towards_apex, SIDES["apical"], message("things.way.coronal")),
        ],
    )


def place_words(plan: Plan, arch: Arch | None, point_mm: ArrayLike, direction: ArrayLike) -> Words:
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
            (frame.buccal, SIDES["buccal"], SIDES[inner_side(plan.known_jaw)]),
            (frame.travel, *_SIDEWAYS),
            (frame.up, *_UPWARDS),
        ],
    )


def _called(direction: ArrayLike, axes: list[tuple[Array, Words, Words]]) -> Words:
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
    return listed(words)
