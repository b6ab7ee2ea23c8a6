"""Which mark or fixture the mouse is at, in any picture."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from app.pictures.hit import Hit
from app.tools.base import View
from core.fixture import Fixture
from core.geometry import Array
from core.plans.marks import Mark

FixturePart: TypeAlias = Literal["body", "platform", "apex"]

OFF_MM = {"section": 0.75, "neighbour": 0.75, "arch map": 3.0, "panorama": 4.0,
          "front cut": 1.0, "side cut": 1.0}  # fmt: skip
"""How far off a picture a mark may lie to be shown and taken there. In sections it is less than
the smallest step, so that the mark of the section before is not taken by mistake."""

FROM_ABOVE = frozenset({"arch", "midline"})
"""Kinds that the arch map shows and takes whatever their height."""

IN_PLANE_MM = 0.3
"""Marks further off the picture's plane are drawn quietly."""


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """A mark as a picture shows it: where, and how far off it lies."""

    mark: Mark
    at: tuple[float, float]
    off_mm: float


def seen_in(view: View, marks: Iterable[Mark]) -> list[Seen]:
    """The marks that a picture shows."""
    every = list(marks)
    if not every or not view.has_picture:
        return []
    uv = view.uv_mm(np.stack([m.point_mm for m in every]))
    shown: list[Seen] = []
    for mark, (u, v, off) in zip(every, uv, strict=True):
        anyhow = view.kind == "arch map" and mark.kind in FROM_ABOVE
        if anyhow or abs(off) <= OFF_MM[view.kind]:
            away = 0.0 if anyhow else abs(float(off))
            shown.append(Seen(mark, (float(u), float(v)), away))
    return shown


def nearest_mark(view: View, hit: Hit, marks: Iterable[Mark]) -> Mark | None:
    """The mark under the mouse; of several the nearest in the picture, then to its plane."""
    found = [
        (float(np.hypot(s.at[0] - hit.uv_mm[0], s.at[1] - hit.uv_mm[1])), s.off_mm, s.mark)
        for s in seen_in(view, marks)
    ]
    within = [f for f in found if f[0] <= hit.reach_mm]
    return min(within, key=lambda f: (f[0], f[1]))[2] if within else None


def fixture_at(
    view: View, hit: Hit, fixtures: Iterable[Fixture]
) -> tuple[Fixture, FixturePart] | None:
    """The fixture under the mouse and which part of it: an end, or the body.

    On the arch map, which looks along the fixtures, only the body can be taken.
    """
    if not view.has_picture:
        return None
    mouse = np.array(hit.uv_mm)
    for fixture in fixtures:
        platform, apex = view.uv_mm(np.stack([fixture.platform, fixture.apex]))
        radius = fixture.size.diameter_mm / 2
        if view.kind == "arch map":
            if float(np.linalg.norm(platform[:2] - mouse)) <= max(radius, hit.reach_mm):
                return fixture, "body"
            continue
        ends: tuple[tuple[FixturePart, Array], ...] = (("platform", platform), ("apex", apex))
        for part, end in ends:
            near = float(np.linalg.norm(end[:2] - mouse)) <= hit.reach_mm
            if near and abs(float(end[2])) <= radius + OFF_MM[view.kind]:
                return fixture, part
        way = apex - platform
        share = float((mouse - platform[:2]) @ way[:2] / max(float(way[:2] @ way[:2]), 1e-9))
        place = platform + np.clip(share, 0.0, 1.0) * way
        aside = float(np.linalg.norm(place[:2] - mouse))
        if aside <= radius and abs(float(place[2])) <= radius:
            return fixture, "body"
    return None
