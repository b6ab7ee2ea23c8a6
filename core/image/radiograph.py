"""The check radiograph: what the film with a pin in the hole should show, and what a film says.

Definitions: the picture is the line integral of (grey - soft tissue), where positive, from a
point source to each place of a film plane; magnification at a depth is the distance from source
to film over that from source to object (geometry: M = SID / (SID - OID)). The reverse: a length
on the real film becomes a true depth by a pin of known length that lies in the same place.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.arch import FixtureFrame
from core.errors import OutputError
from core.fixture import Fixture
from core.geometry import Array, PictureGrid, unit, vector
from core.image import sampling
from core.image.section import upwards
from core.image.volume import Volume
from core.measurement import Budget, Reading, Term
from core.words.catalogue import message

SOURCE_TO_FILM_MM = 300.0
OBJECT_TO_FILM_MM = 10.0
"""Long cone, paralleling technique: M about 1.05 (3-8 %, textbook, from memory)."""

FILM_MM = (31.0, 41.0)
"""Width and height of a film of size 2, standing (ISO 3665, from memory)."""

READ_OFF_U_MM = 0.3
"""Standard uncertainty of one edge read off a film (common practice, no source)."""

LARGEST_GAP_MM = 1.0
"""A ray that grazes the stepped edge of a round field leaves it for a voxel or two."""

_STEP_SHARE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Tube:
    """How the tube stands, from its ideal place: square to film and fixture.

    Parameters
    ----------
    source_to_film_mm : float
        SID.
    object_to_film_mm : float
        From the fixture's axis to the film, OID.
    up_deg : float
        Tilt about the mesio-distal direction; + looks from above down.
    mesial_deg : float
        Turn about the axis; + looks from mesial.
    shift_up_mm, shift_mesial_mm : float
        Of the film, in its own plane.

    Raises
    ------
    OutputError
        ``film-source-inside``, ``film-number``.
    """

    source_to_film_mm: float = SOURCE_TO_FILM_MM
    object_to_film_mm: float = OBJECT_TO_FILM_MM
    up_deg: float = 0.0
    mesial_deg: float = 0.0
    shift_up_mm: float = 0.0
    shift_mesial_mm: float = 0.0

    def __post_init__(self) -> None:
        numbers = (
            self.source_to_film_mm, self.object_to_film_mm, self.up_deg, self.mesial_deg,
            self.shift_up_mm, self.shift_mesial_mm,
        )  # fmt: skip
        if not np.isfinite(numbers).all() or max(abs(self.up_deg), abs(self.mesial_deg)) > 60:
            raise OutputError(
                "film-number",
                what=message("image.film.tube-setting"),
                found=numbers,
                wanted=message("image.film.angles"),
            )
        if not 0 <= self.object_to_film_mm < self.source_to_film_mm:
            raise OutputError("film-source-inside", distance=f"{self.source_to_film_mm:g}")

    @property
    def magnification(self) -> float:
        """M = SID / (SID - OID), at the fixture's axis."""
        return self.source_to_film_mm / (self.source_to_film_mm - self.object_to_film_mm)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Film:
    """A film plane and the point source before it.

    Parameters
    ----------
    grid : PictureGrid
        Of the film; its reader looks from the source's side.
    source_mm : (3,) patient LPS mm
    """

    grid: PictureGrid
    source_mm: Array

    def project(self, points_mm: Array) -> Array:
        """(n, 3) patient points → (n, 2) uv_mm on the film, along the rays from the source."""
        p = np.atleast_2d(np.asarray(points_mm, dtype=np.float64))
        normal = self.grid.toward_viewer
        height = float((self.source_mm - self.grid.origin) @ normal)
        above = (p - self.grid.origin) @ normal
        share = height / (height - above)
        on_film = self.source_mm + share[:, None] * (p - self.source_mm)
        return self.grid.uv_mm(on_film)[:, :2]


def film_at(
    fixture: Fixture,
    frame: FixtureFrame,
    tube: Tube,
    *,
    size_mm: tuple[float, float] = FILM_MM,
    pixel_mm: float = 0.1,
) -> Film:
    """Film lingual of the fixture, source buccal of it; upright, seen from the source.

    The film lies parallel to the fixture's axis and to mesial, `object_to_film_mm` behind the
    axis; the middle of the fixture is on its middle. Turning the tube moves the source only.

    Parameters
    ----------
    fixture : Fixture
    frame : FixtureFrame
    tube : Tube
    size_mm : (width, height) mm, optional
    pixel_mm : float, optional
        mm.
    """
    buccal, up = frame.b, upwards(frame)
    right = unit(np.cross(up, buccal))  # of a reader who looks from the source
    middle = fixture.on_axis(fixture.size.length_mm / 2)
    on_film = middle - tube.object_to_film_mm * buccal
    tilt, turn = np.radians(tube.up_deg), np.radians(tube.mesial_deg)
    way = (
        np.cos(tilt) * np.cos(turn) * buccal
        + np.cos(tilt) * np.sin(turn) * frame.m
        + np.sin(tilt) * up
    )
    source = middle + (tube.source_to_film_mm - tube.object_to_film_mm) * way
    origin = on_film + tube.shift_up_mm * up + tube.shift_mesial_mm * frame.m
    grid = PictureGrid.of_size(
        origin=origin, right=right, up=up, size_mm=size_mm, pixel_mm=pixel_mm
    )
    return Film(grid=grid, source_mm=vector(source))


def radiograph(
    volume: Volume, film: Film, *, soft: float, step_mm: float | None = None
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Line integrals of (grey - soft)+ from the source to each pixel, grey value times mm.

    Parameters
    ----------
    volume : Volume
    film : Film
    soft : float
        Grey level of soft tissue (`core.bone.bone_levels`): what lies below counts nothing.
    step_mm : float, optional
        Along each ray; half the smallest voxel edge when left out.

    Returns
    -------
    picture : (rows, cols) float64
    whole : (rows, cols) bool
        False where a ray leaves the scanned region for more than 1 mm between its first and last
        scanned sample, or never meets it.
    """
    step = step_mm or _STEP_SHARE * float(volume.voxel_mm.min())
    grid = film.grid
    rows, cols = np.indices((grid.rows, grid.cols))
    u = (cols.ravel() - (grid.cols - 1) / 2) * grid.pixel_mm
    v = -(rows.ravel() - (grid.rows - 1) / 2) * grid.pixel_mm
    ends = grid.origin + u[:, None] * grid.right + v[:, None] * grid.up
    way = ends - film.source_mm
    length = np.linalg.norm(way, axis=1)
    way /= length[:, None]
    near, far = _through_box(volume, film.source_mm, way, length)
    count = max(2, int(np.ceil(float((far - near).max(initial=0.0)) / step)) + 1)
    total = np.zeros(len(way))
    whole = np.zeros(len(way), dtype=bool)
    # A few thousand rays at a time: the samples of a whole film would fill the memory.
    for part in np.array_split(np.arange(len(way)), max(1, len(way) * count // 4_000_000)):
        starts = film.source_mm + near[part, None] * way[part]
        samples = sampling.lines(volume, starts, way[part] * step, count).astype(np.float64)
        inside = np.arange(count) * step <= (far - near)[part, None]
        seen = np.isfinite(samples) & inside
        total[part] = np.where(seen, np.clip(samples - soft, 0.0, None), 0.0).sum(axis=1) * step
        first = seen.argmax(axis=1)
        last = count - 1 - seen[:, ::-1].argmax(axis=1)
        gap = (last - first + 1 - seen.sum(axis=1)) * step
        whole[part] = seen.any(axis=1) & (gap <= LARGEST_GAP_MM)
    shape = (grid.rows, grid.cols)
    return total.reshape(shape), whole.reshape(shape)


def _through_box(volume: Volume, source: Array, way: Array, length: Array) -> tuple[Array, Array]:
    """Where rays enter and leave the hull of the voxel centres, mm from the source."""
    k, j, i = volume.shape
    start = volume.ijk(source)[0]
    step = way @ volume.ijk_from_mm[:3, :3].T
    with np.errstate(divide="ignore", invalid="ignore"):
        low = (0.0 - start) / step
        high = (np.array([i - 1, j - 1, k - 1]) - start) / step
    near = np.nanmax(np.minimum(low, high), axis=1)
    far = np.minimum(np.nanmin(np.maximum(low, high), axis=1), length)
    near = np.clip(near, 0.0, length)
    return near, np.maximum(far, near)


def depth_from_film(
    on_film_mm: float,
    *,
    pin_true_mm: float,
    pin_on_film_mm: float,
    read_off_u_mm: float = READ_OFF_U_MM,
    pin_u_mm: float = 0.05,
) -> tuple[Reading, Budget]:
    """True length of something that lies where the pin lies: L = l · P / p.

    Foreshortening and magnification are the same for both only while both lie along the same
    line; a length beside the pin is not measured by this.

    Parameters
    ----------
    on_film_mm : float
        The length on the film, mm or pixels.
    pin_true_mm, pin_on_film_mm : float
        The pin, really and on the film, in the unit of `on_film_mm`.
    read_off_u_mm : float
        Standard uncertainty of reading one length on the film.
    pin_u_mm : float
        Standard uncertainty of the pin's length.

    Returns
    -------
    Reading, Budget
        u² = (P/p)² u_r² + (l P / p²)² u_r² + (l/p)² u_P² (JCGM 100:2008, 5.1.2).

    Raises
    ------
    OutputError
        ``film-number`` unless all lengths are positive and the doubts not negative.
    """
    lengths = (
        (message("image.film.length"), on_film_mm),
        (message("image.film.pin-true"), pin_true_mm),
        (message("image.film.pin-on-film"), pin_on_film_mm),
    )
    for what, value in lengths:
        if not (np.isfinite(value) and 0 < value < 1e5):
            wanted = message("image.film.positive")
            raise OutputError("film-number", what=what, found=value, wanted=wanted)
    for value in (read_off_u_mm, pin_u_mm):
        if not (np.isfinite(value) and value >= 0):
            raise OutputError(
                "film-number",
                what=message("image.film.uncertainty"),
                found=value,
                wanted=message("image.film.zero-or-more"),
            )
    scale = pin_true_mm / pin_on_film_mm
    reading = on_film_mm * scale
    read = np.hypot(scale * read_off_u_mm, reading / pin_on_film_mm * read_off_u_mm)
    terms = (
        Term(name="edge", u=float(read), source=message("image.film.read-off")),
        Term(
            name="size", u=float(reading / pin_true_mm * pin_u_mm), source=message("image.film.pin")
        ),
    )
    return Reading(value=float(reading)), Budget(terms=terms)
