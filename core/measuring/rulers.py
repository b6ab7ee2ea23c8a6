"""Rulers and angles between hand-placed marks: what they read, and how pictures show them.

Definitions: a ruler reads the straight distance between its two marks; an angle reads the angle
between two arms at their common corner, 0 to 180 degrees. Both rest on marks alone: no edge is
looked for.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from core.drawing import Dot, Label, Line
from core.geometry import Array, PictureGrid, angle_deg, unit
from core.measurement import MARKED, MarkInfluence, Note, Reading
from core.plans.plan import Plan
from core.structures import AngleMark, Ruler
from core.trust.figures import down, nearest

NEAR_PICTURE_MM = 1.5
"""Marks further off a picture's plane are not drawn on it: their line would look shorter."""

_LEAST_MM = 1e-6
_ASIDE_MM = 1.5


def ruler_reading(ruler: Ruler) -> Reading:
    """Distance between both marks, mm."""
    first, second = ruler.points
    way = second - first
    length = float(np.linalg.norm(way))
    if length < _LEAST_MM:
        return Reading(value=None, notes=(Note("ruler-no-length"),))
    along = way / length
    return Reading(
        value=length,
        witness=(first, second),
        marks=(
            MarkInfluence(mark=f"{ruler.id}/0", gradient=-along),
            MarkInfluence(mark=f"{ruler.id}/1", gradient=along),
        ),
        evidence=MARKED,
    )


def angle_reading(angle: AngleMark) -> Reading:
    """Angle at the corner, degrees; derivatives by the three marks in degrees per mm.

    An arm's end moves the angle by 1 / (length of the arm) radians a mm, away from the other arm;
    the corner by the opposite of both ends together, since shifting all three changes nothing.
    """
    first, corner, second = angle.points
    one, two = first - corner, second - corner
    by_first, by_second = _opening(one, two), _opening(two, one)
    return Reading(
        value=angle_deg(one, two),
        unit="deg",
        marks=(
            MarkInfluence(mark=f"{angle.id}/0", gradient=by_first),
            MarkInfluence(mark=f"{angle.id}/1", gradient=-by_first - by_second),
            MarkInfluence(mark=f"{angle.id}/2", gradient=by_second),
        ),
        evidence=MARKED,
    )


def _opening(arm: Array, other: Array) -> Array:
    """Derivative of the angle by the end of an arm, degrees per mm."""
    along = unit(arm)
    away = -(other - along * float(along @ other))
    if float(np.linalg.norm(away)) < _LEAST_MM:
        # Arms on one line: either way across them changes the angle alike.
        away = np.cross(along, np.eye(3)[int(np.argmin(np.abs(along)))])
    return np.asarray(unit(away) * np.degrees(1.0 / float(np.linalg.norm(arm))))


@dataclass(frozen=True, slots=True)
class RulerInk:
    """Lines, ends and figures of the rulers and angles on one picture."""

    lines: tuple[Line, ...]
    dots: tuple[Dot, ...]
    labels: tuple[Label, ...]


def ruler_ink(
    plan: Plan, grid: PictureGrid, *, withheld: Collection[str] = frozenset()
) -> RulerInk:
    """Rulers and angles whose marks lie near a picture's plane, with their figures.

    Parameters
    ----------
    plan : Plan
    grid : PictureGrid
    withheld : ids of those whose rows have no value
    """
    lines: list[Line] = []
    labels: list[Label] = []
    for ruler in plan.rulers:
        uv = _near(grid, ruler.points)
        value = ruler_reading(ruler).value
        if uv is not None and value is not None:
            lines.append(Line(style="mark", points=uv))
            text = "–" if ruler.id in withheld else f"{down(value, 1)} mm"
            labels.append(_label(text, (uv[0] + uv[1]) / 2, uv[1] - uv[0]))
    for angle in plan.angles:
        uv = _near(grid, angle.points)
        value = angle_reading(angle).value
        if uv is not None and value is not None:
            lines.append(Line(style="mark", points=uv))
            text = "–" if angle.id in withheld else f"{nearest(value, 1)}°"
            labels.append(_label(text, uv[1], uv[2] - uv[0]))
    dots = tuple(Dot(at=(float(u), float(v))) for line in lines for u, v in line.points)
    return RulerInk(tuple(lines), dots, tuple(labels))


def _near(grid: PictureGrid, marks: Array) -> Array | None:
    uv = grid.uv_mm(marks)
    return None if float(np.abs(uv[:, 2]).max()) > NEAR_PICTURE_MM else np.asarray(uv[:, :2])


def _label(text: str, at: Array, along: Array) -> Label:
    """A figure beside a line, above it, so that it does not cover what was measured."""
    aside = np.array([-along[1], along[0]]) / max(float(np.linalg.norm(along)), _LEAST_MM)
    if aside[1] < 0:
        aside = -aside
    u, v = at + aside * (_ASIDE_MM + 1.5 * abs(aside[0]))  # words are wider than high
    return Label(text=text, at=(float(u), float(v)), style="witness")
