"""A look at a site in space: jaw surface, canals, roots and fixtures, seen from one side.

For orientation only: nothing is measured in it, and nothing on it bears a number. The jaw's surface
is glass before what lies in it, with a line each 2 mm of height, as a chart shows a relief.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import trimesh
from numpy.typing import NDArray

from core.arch import Arch, fixture_frame
from core.bone.bone_levels import BoneLevels
from core.distances.tubes import tubes_of
from core.drawing import patient_letters
from core.errors import OutputError
from core.fixture import Fixture
from core.geometry import Array, unit
from core.image.volume import Volume
from core.measurement import Measurement
from core.pictures.ink import DARK, IVORY, STROKES
from core.plans.plan import Plan
from core.sheet.jaw_surface import jaw_surface
from core.sheet.mesh import fixture_mesh, swept
from core.sheet.space_kernels import draw_triangles
from core.structures import Course, Tapered, kind_of

NEAR_MM = 24.0
"""Marked things further from the site are left out."""

RELIEF_MM = 2.0
"""Between two lines of height on the jaw's surface."""

GLASS = 0.42
"""How much of the jaw's surface stands before what lies behind it."""

SURFACE_MM = 0.8
"""Step of the jaw's surface: coarser than that for a laboratory, so that it turns in time."""

_LINE_SHARE = 0.07
_LIGHT = (-0.35, 0.45, 0.82)
"""Over the left shoulder of who looks: right, up, towards the eye."""
_TUBE_STEP_MM = 0.5
_LEAST_LETTER = 0.3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Body:
    """A closed or open surface.

    Parameters
    ----------
    style : str
        Key of `core.pictures.ink.STROKES`; empty for the jaw.
    points : (n, 3) patient LPS mm
    normals : (n, 3)
        Unit, outwards.
    triangles : (m, 3) int
    """

    style: str
    points: Array
    normals: Array
    triangles: NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Segment:
    """A measured distance: its two ends, and whether it is below its limit."""

    ends: Array
    below: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SiteScene:
    """What is seen of a site.

    Parameters
    ----------
    middle : (3,) patient LPS mm
        What is turned about.
    up, buccal : (3,)
        Unit; at first the look goes against *buccal*.
    bodies : tuple of Body
    jaw : Body or None
    why_no_jaw : str
        The sentence that says why there is no surface of the jaw; empty where there is one.
    distances : tuple of Segment
    """

    middle: Array
    up: Array
    buccal: Array
    bodies: tuple[Body, ...]
    jaw: Body | None
    why_no_jaw: str
    distances: tuple[Segment, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Eye:
    """From where it is seen.

    Parameters
    ----------
    turned : (3, 3)
        Rows: right, up and towards the eye, as patient directions.
    px_per_mm : float
    size : (width, height)
        Of the picture, px.
    """

    turned: Array
    px_per_mm: float
    size: tuple[int, int]

    def places(self, points_mm: Array, middle: Array) -> Array:
        """(n, 3) patient points → (n, 3): column, row, and mm away from the eye."""
        seen = (points_mm - middle) @ self.turned.T
        width, height = self.size
        return np.stack(
            [
                (width - 1) / 2 + seen[:, 0] * self.px_per_mm,
                (height - 1) / 2 - seen[:, 1] * self.px_per_mm,
                -seen[:, 2],
            ],
            axis=1,
        )


def site_scene(
    plan: Plan,
    volume: Volume,
    arch: Arch,
    *,
    levels: BoneLevels | None,
    fixture: Fixture,
    rows: Iterable[Measurement] = (),
) -> SiteScene:
    """Everything that is seen around a fixture.

    Parameters
    ----------
    plan : Plan
    volume : Volume
    arch : Arch
    levels : BoneLevels or None
        Tissue levels of the scan, for the jaw's surface.
    fixture : Fixture
    rows : iterable of Measurement
        Whose measured distances are drawn, as far as they are this fixture's.
    """
    jaw, why = None, ""
    try:
        mesh = jaw_surface(replace(plan, fixtures=(fixture,)), volume, levels, finest_mm=SURFACE_MM)
        jaw = _body("", mesh)
    except OutputError as refusal:
        why = str(refusal)
    middle = 0.5 * (fixture.platform + fixture.apex)
    bodies = [_body("fixture", fixture_mesh(f)) for f in plan.fixtures if _near(f.platform, middle)]
    for structure in plan.structures:
        if isinstance(structure, Course | Tapered):
            bodies += _tubes(structure, middle)
    distances = [
        Segment(ends=np.stack(m.reading.witness), below=m.verdict == "below limit")
        for m in rows
        if m.fixture == fixture.id and m.reading.witness is not None and m.limit is not None
    ]
    frame = fixture_frame(fixture, arch)
    return SiteScene(
        middle=middle,
        up=arch.level.up,
        buccal=unit(frame.b - (frame.b @ arch.level.up) * arch.level.up),
        bodies=tuple(bodies),
        jaw=jaw,
        why_no_jaw=why,
        distances=tuple(distances),
    )


def looking(scene: SiteScene, *, turn_deg: float, lift_deg: float) -> Array:
    """(3, 3) rows right, up, towards the eye of a look at a scene.

    Parameters
    ----------
    scene : SiteScene
    turn_deg : float
        About *up*, from the buccal side on; positive: the eye goes to its right.
    lift_deg : float
        Of the eye over the level of what is looked at.
    """
    side = np.cross(scene.up, scene.buccal)
    turn, lift = np.radians(turn_deg), np.radians(lift_deg)
    level = np.cos(turn) * scene.buccal + np.sin(turn) * side
    toward = np.cos(lift) * level + np.sin(lift) * scene.up
    right = unit(np.cross(scene.up, level))
    return np.stack([right, np.cross(toward, right), toward])


def space_picture(scene: SiteScene, eye: Eye) -> NDArray[np.uint8]:
    """The picture, (height, width, 3).

    Parameters
    ----------
    scene : SiteScene
    eye : Eye
    """
    width, height = eye.size
    picture = np.empty((height, width, 3), dtype=np.float64)
    picture[:] = np.array(DARK.ground) * 0.62
    nearest = np.full((height, width), np.inf)
    for body in scene.bodies:
        depth, shades, _ = _drawn(body, eye, scene, nearest)
        seen = depth < nearest
        colour = np.array(STROKES[body.style].on_dark)
        picture[seen] = shades[seen, None] * colour
        nearest = np.minimum(nearest, depth)
    if scene.jaw is not None:
        depth, shades, heights = _drawn(scene.jaw, eye, scene)
        seen = np.isfinite(depth)
        relief = np.abs(heights / RELIEF_MM - np.round(heights / RELIEF_MM)) < _LINE_SHARE
        bone = shades * np.where(relief, 0.55, 0.82)
        glass = seen & (depth < nearest) & np.isfinite(nearest)
        only = seen & ~np.isfinite(nearest)
        ivory = np.array(IVORY)
        picture[only] = bone[only, None] * ivory
        picture[glass] = (1 - GLASS) * picture[glass] + GLASS * bone[glass, None] * ivory
    return np.asarray(np.clip(picture * 255.0, 0, 255), dtype=np.uint8)


def side_letters(eye: Eye) -> tuple[tuple[str, float, float], ...]:
    """Letters of the patient's directions and where they lie in the picture: right and up, -1 to 1.

    A direction that runs nearly to or from the eye has none.
    """
    found = []
    for axis in np.vstack([np.eye(3), -np.eye(3)]):
        across = eye.turned[:2] @ axis
        if float(np.linalg.norm(across)) >= _LEAST_LETTER:
            found.append((patient_letters(axis), float(across[0]), float(across[1])))
    return tuple(found)


def _drawn(
    body: Body, eye: Eye, scene: SiteScene, before: Array | None = None
) -> tuple[Array, Array, Array]:
    """Depth, shade and height of a body at each pixel; depth infinite where it is not."""
    width, height = eye.size
    places = eye.places(body.points, scene.middle)
    light = unit(np.array(_LIGHT)) @ eye.turned
    facing = np.abs(body.normals @ eye.turned[2])
    shade = 0.28 + 0.52 * np.clip(body.normals @ light, 0.0, 1.0) + 0.2 * facing
    above = (body.points - scene.middle) @ scene.up
    depth = np.full((height, width), np.inf) if before is None else before.copy()
    shades, heights = np.zeros((height, width)), np.zeros((height, width))
    draw_triangles(places, body.triangles, shade, above, depth, shades, heights)
    return depth, shades, heights


def _near(point_mm: Array, middle: Array) -> bool:
    return float(np.linalg.norm(point_mm - middle)) <= NEAR_MM


def _tubes(structure: Course | Tapered, middle: Array) -> list[Body]:
    drawn = kind_of(structure).drawn
    style = "root" if drawn is None else drawn.style
    found = []
    for tube in tubes_of(structure):
        count = max(2, round(tube.length_mm / _TUBE_STEP_MM) + 1)
        centres, radii = tube.at(np.linspace(0.0, tube.length_mm, count))
        near = np.linalg.norm(centres - middle, axis=1) <= NEAR_MM
        if near.sum() >= 2:
            found.append(_body(style, swept(centres[near], radii[near])))
    return found


def _body(style: str, mesh: trimesh.Trimesh) -> Body:
    return Body(
        style=style,
        points=np.asarray(mesh.vertices, dtype=np.float64),
        normals=np.asarray(mesh.vertex_normals, dtype=np.float64),
        triangles=np.asarray(mesh.faces, dtype=np.int64),
    )
