"""Meshes for the laboratory: fixture envelope, axis rod, canal, arch and a letter R, as STL.

Patient space, DICOM LPS, mm. STL knows neither units nor axes, so both stand in every file's
name and in its header; the letter R, a body of its own, stands at the patient's right and reads
the right way round from in front, so that a mirrored import shows at once.
"""

from __future__ import annotations

import numpy as np
import trimesh
from numpy.typing import NDArray

from core.arch import Arch
from core.distances.solid import FixtureSolid
from core.distances.tubes import tubes_of
from core.fixture import Fixture
from core.geometry import Array, across, unit, vector
from core.plans.plan import Plan
from core.structures import Course, kind_of

SUFFIX = "_LPS-mm.stl"
SECTIONS = 128
"""Corners of a round; an inscribed one of 128 has 0.04 % less area than its circle."""

AXIS_RADIUS_MM = 0.25
AXIS_BEYOND_MM = 8.0
"""How far the rod stands out of the platform, so that it can be seen and gripped on."""

ARCH_RADIUS_MM = 0.5
_STEP_MM = 0.5
_ARCH_STEP_MM = 1.0
_CELL_MM = 1.0
_THICK_MM = 2.0
_LETTER = ("111110", "110011", "110011", "111110", "110110", "110011", "110011")


def planned_bodies(plan: Plan) -> dict[str, trimesh.Trimesh]:
    """Fixtures and canals by name: what an archive keeps in the scan's own space."""
    return {name: mesh for name, mesh in meshes(plan, None).items() if not name.startswith("axis-")}


def meshes(plan: Plan, arch: Arch | None) -> dict[str, trimesh.Trimesh]:
    """Bodies by name: ``fixture-ID``, ``axis-ID``, the id of a canal, ``arch``, ``letter-R``."""
    found: dict[str, trimesh.Trimesh] = {}
    for fixture in plan.fixtures:
        found[f"fixture-{fixture.id}"] = fixture_mesh(fixture)
        found[f"axis-{fixture.id}"] = axis_mesh(fixture)
    for structure in plan.structures:
        if isinstance(structure, Course) and kind_of(structure).in_mesh:
            found[structure.id] = canal_mesh(structure)
    if arch is not None:
        found["arch"] = arch_mesh(arch)
        found["letter-R"] = letter_mesh(arch)
    return found


def stl(mesh: trimesh.Trimesh, name: str) -> bytes:
    """Binary STL whose header says what it is, in which axes and unit."""
    # A header that begins with "solid" would be taken for the text form.
    text = f"Sounding: {name}; patient space DICOM LPS; unit mm"
    header = text.encode("ascii", "replace")[:80].ljust(80)
    data: bytes = trimesh.exchange.stl.export_stl(mesh)
    return header + data[80:]


def fixture_mesh(fixture: Fixture) -> trimesh.Trimesh:
    """The solid that clearances are taken to: convex hull of the profile, turned on its axis."""
    profile = FixtureSolid.of(fixture).profile
    return _turned(fixture.platform, fixture.towards_apex, profile)


def axis_mesh(fixture: Fixture) -> trimesh.Trimesh:
    """A thin rod from above the platform to the apex."""
    depths = (-AXIS_BEYOND_MM, fixture.size.length_mm)
    profile = np.array([(d, AXIS_RADIUS_MM) for d in depths])
    return _turned(fixture.platform, fixture.towards_apex, profile)


def canal_mesh(canal: Course) -> trimesh.Trimesh:
    """The canal's outside along its course, flat at both ends."""
    (tube,) = tubes_of(canal)
    count = max(2, round(tube.length_mm / _STEP_MM) + 1)
    centres, radii = tube.at(np.linspace(0.0, tube.length_mm, count))
    return swept(centres, radii)


def arch_mesh(arch: Arch) -> trimesh.Trimesh:
    """The traced arch as a rod in the jaw plane."""
    count = max(2, round(arch.length_mm / _ARCH_STEP_MM) + 1)
    line = np.stack([arch.frame(s).origin for s in np.linspace(0.0, arch.length_mm, count)])
    return swept(line, np.full(count, ARCH_RADIUS_MM))


def swept(centres: Array, radii: Array) -> trimesh.Trimesh:
    """Rounds across a polyline joined to a closed tube.

    Parameters
    ----------
    centres : (n, 3) patient LPS mm, n >= 2
    radii : (n,) mm
    """
    tangents = np.gradient(centres, axis=0)
    side = across(np.eye(3)[int(np.argmin(np.abs(unit(tangents[0]))))], tangents[0])
    rings: list[Array] = []
    turns = np.linspace(0.0, 2 * np.pi, SECTIONS, endpoint=False)
    for centre, radius, tangent in zip(centres, radii, tangents, strict=True):
        # Carried along without twist: what it was, less its part along the way.
        side = across(side, tangent)
        other = np.cross(unit(tangent), side)
        ring = np.outer(np.cos(turns), side) + np.outer(np.sin(turns), other)
        rings.append(centre + radius * ring)
    return _closed(np.stack(rings), centres[0], centres[-1])


def _turned(origin: Array, axis: Array, profile: Array) -> trimesh.Trimesh:
    """Solid of revolution of (depth, radius) rows about an axis."""
    side = across(np.eye(3)[int(np.argmin(np.abs(axis)))], axis)
    other = np.cross(axis, side)
    turns = np.linspace(0.0, 2 * np.pi, SECTIONS, endpoint=False)
    ring = np.outer(np.cos(turns), side) + np.outer(np.sin(turns), other)
    rings = np.stack([origin + depth * axis + radius * ring for depth, radius in profile])
    ends = origin + np.outer(profile[[0, -1], 0], axis)
    return _closed(rings, ends[0], ends[1])


def _closed(rings: Array, first: Array, last: Array) -> trimesh.Trimesh:
    """Triangles between (n, m, 3) rings that wind about the way, with flat ends."""
    n, m, _ = rings.shape
    corners = np.concatenate([rings.reshape(-1, 3), [first, last]])
    here = np.arange(m)
    beside = (here + 1) % m
    faces = []
    for row in range(n - 1):
        low, high = row * m, (row + 1) * m
        faces.append(np.stack([low + here, low + beside, high + here], axis=1))
        faces.append(np.stack([low + beside, high + beside, high + here], axis=1))
    start, end = n * m, n * m + 1
    faces.append(np.stack([np.full(m, start), beside, here], axis=1))
    top = (n - 1) * m
    faces.append(np.stack([np.full(m, end), top + here, top + beside], axis=1))
    return trimesh.Trimesh(vertices=corners, faces=np.concatenate(faces), process=False)


def letter_mesh(arch: Arch) -> trimesh.Trimesh:
    """A raised R at the patient's right, upright, readable from in front of the patient."""
    up = arch.level.up
    right = across((1.0, 0.0, 0.0), up)  # of a reader in front: towards the patient's left
    toward_reader = np.cross(right, up)
    width = len(_LETTER[0]) * _CELL_MM
    line = np.stack([arch.frame(s).origin for s in np.linspace(0.0, arch.length_mm, 33)])
    rightmost = line[int(np.argmin(line @ right))]
    corner = rightmost - (width + 4.0) * right
    return letter(corner, right, up, vector(toward_reader))


def letter(corner: Array, right: Array, up: Array, toward: Array) -> trimesh.Trimesh:
    """The letter as the outside of its cells; `corner` is its lower left, at the back.

    Parameters
    ----------
    corner : (3,) patient LPS mm
    right : (3,) unit direction, patient LPS
    up : (3,) unit direction, patient LPS
    toward : (3,) unit direction, patient LPS
    """
    filled = np.array([[c == "1" for c in row] for row in reversed(_LETTER)])  # row 0 lowest
    padded = np.pad(filled, 1)
    quads: list[NDArray[np.float64]] = []
    for row, col in np.argwhere(filled):
        x0, x1, y0, y1 = col, col + 1, row, row + 1
        quads.append(np.array([(x0, y0, 1), (x1, y0, 1), (x1, y1, 1), (x0, y1, 1)], float))
        quads.append(np.array([(x0, y0, 0), (x0, y1, 0), (x1, y1, 0), (x1, y0, 0)], float))
        sides = (
            (0, -1, ((x0, y0), (x0, y1))),
            (0, 1, ((x1, y1), (x1, y0))),
            (-1, 0, ((x1, y0), (x0, y0))),
            (1, 0, ((x0, y1), (x1, y1))),
        )
        for down, along, (start, stop) in sides:
            if not padded[row + 1 + down, col + 1 + along]:
                wall = [(*start, 0), (*start, 1), (*stop, 1), (*stop, 0)]
                quads.append(np.array(wall, float))
    cells = np.concatenate(quads) * (_CELL_MM, _CELL_MM, _THICK_MM)
    corners = corner + cells @ np.stack([right, up, toward])
    four = np.arange(0, len(corners), 4)[:, None]
    faces = np.concatenate([four + np.array(half) for half in ((0, 1, 2), (0, 2, 3))])
    mesh = trimesh.Trimesh(vertices=corners, faces=faces, process=False)
    mesh.merge_vertices()
    return mesh
