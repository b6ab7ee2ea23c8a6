"""Lays measured distances, distance lines and their numerals so that none covers another."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from core.distances.outline import distance_lines
from core.drawing import Dot, Label, LabelStyle, Line
from core.geometry import Array, PictureGrid
from core.measurement import Measurement
from core.measuring.ledger import worst_first
from core.plans.plan import Plan
from core.trust.figures import labelled

DISTANCE_LINE = "distance line"
DISTANCES_MM = (1.0, 2.0, 3.0)
ON_PLANE_MM = 0.5
NEAR_PLANE_MM = 3.0
"""A line whose end is further off the picture's plane is not drawn on it."""

_LABEL_HEIGHT_MM: dict[LabelStyle, float] = {
    "numeral": 1.8, "witness": 2.3, "scale": 1.9, "name": 2.2,
}  # fmt: skip
SIDE_BY_SIDE_MM = 1.2
MISREAD, COVERED = 4.0, 100.0
"""What a numeral costs that stands nearer to another line than to its own, or over another one."""
EDGE_WORDS_MM, LONG_EDGE_WORDS_MM = 3.8, 17.0
"""Room on paper for the letters and words at the edges of a picture."""

_TOUCHING_MM = 0.3
"""Plates that overlap by less hide no part of a numeral: so wide is their rim."""

LONGEST_MM, LONGEST_RIDGE_MM = 12.0, 40.0
"""Longer distances only clutter a picture; the ledger has them."""


def label_height_mm(style: LabelStyle) -> float:
    """Height of a label's letters on paper at 1 : 1."""
    return _LABEL_HEIGHT_MM[style]


@dataclass
class Desk:
    """Where labels are laid so that none covers another.

    Parameters
    ----------
    grid : PictureGrid
    drawn_at : float
        Scale of the print that the letters are sized for; letters keep their size on paper.
    """

    grid: PictureGrid
    drawn_at: float = 1.0
    labels: list[Label] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    dots: list[Dot] = field(default_factory=list)

    @property
    def half(self) -> Array:
        """Half width and half height of the picture."""
        return np.array([self.grid.cols, self.grid.rows]) * self.grid.pixel_mm / 2

    def put(
        self,
        text: str,
        style: LabelStyle,
        places: Iterable[Array],
        *,
        below: bool = False,
        own: Line | None = None,
        may_be_left_out: bool = False,
    ) -> bool:
        """Lay a label on the place where it covers least; the first of equals. True where it lies.

        A label that belongs to a line of its `own` keeps off places that lie nearer to another.

        Parameters
        ----------
        text : str
        style : LabelStyle
        places : iterable of (2,) uv_mm
            The best one first.
        below : bool, optional
            True where it stands for a measurement below its limit.
        own : Line or None
        may_be_left_out : bool, optional
            True: it is not laid where it would cover another label at every place.
        """
        found = np.array(list(places), dtype=np.float64)
        size = self._size(text, style)
        costs = self._costs(size, found)
        if own is not None:
            costs += MISREAD * self._nearer_to_another(size, found, own)
        covers = self._covers(size, found)
        if may_be_left_out and covers.all():
            return False
        best = found[int(np.argmin(costs + COVERED * covers))]
        self.labels.append(
            Label(text=text, at=(float(best[0]), float(best[1])), style=style, below=below)
        )
        return True

    def witnesses(self, rows: Iterable[Measurement], *, most: int) -> None:
        """Measured distances that lie in or near the plane, the worst first, one a target.

        One whose numeral would hide another's is left to the table.
        """
        chosen: list[tuple[Measurement, Line]] = []
        targets: set[str] = set()
        shown_here = [m for m in rows if m.group != "information" and not m.details.of]
        for m in sorted(shown_here, key=_order):
            line = self._witness_line(m)
            if line is None or m.target in targets or len(chosen) == most:
                continue
            targets.add(m.target or m.id)
            chosen.append((m, line))
        self.lines += [line for _, line in chosen]
        for m, line in chosen:
            text = labelled(m)
            half = self._size(text, "witness") / 2
            places = _beside(line.points, 2.4 / self.drawn_at, half)
            laid = self.put(
                text, "witness", places, below=line.below, own=line, may_be_left_out=True
            )
            if not laid:
                self.lines = [other for other in self.lines if other is not line]
                continue
            self.dots += [Dot(at=(float(u), float(v)), below=line.below) for u, v in line.points]

    def distances(self, plan: Plan, target: Array) -> list[Line]:
        """Distance lines with their numerals, off the straight way to the target (2,)."""
        drawn = distance_lines(plan.structures, self.grid, DISTANCES_MM)
        for distance, line in drawn:
            if len(line) < 8:
                continue
            far = np.argsort(np.linalg.norm(line - target, axis=1), kind="stable")
            places = [line[far[int(k)]] for k in np.linspace(len(line) // 4, len(line) - 1, 12)]
            # One unit says what all three are: keys 1, 2, 3 mean something else on the bench.
            unit = " mm" if distance == DISTANCES_MM[-1] else ""
            self.put(f"{distance:g}{unit}", "numeral", places)
        return [Line(style=DISTANCE_LINE, points=line) for _, line in drawn]

    def _witness_line(self, m: Measurement) -> Line | None:
        if m.reading.witness is None:
            return None
        ends = self.grid.uv_mm(np.stack(m.reading.witness))
        off = float(np.abs(ends[:, 2]).max())
        length = float(np.linalg.norm(ends[1] - ends[0]))
        ridge = m.kind.row.drawn == "ridge"
        # A width belongs to its own section: on another it would be read as that one's.
        too_far = off > (ON_PLANE_MM if ridge else NEAR_PLANE_MM)
        too_long = length > (LONGEST_RIDGE_MM if ridge else LONGEST_MM)
        if too_far or too_long or (np.abs(ends[:, :2]) > self.half).any():
            return None
        style = "witness" if off <= ON_PLANE_MM else "witness off plane"
        return Line(style=style, points=ends[:, :2], below=m.verdict == "below limit")

    def _costs(self, size: Array, places: Array) -> Array:
        """(n, 2) places → (n,) how much a label there leaves the picture and covers."""
        over = np.maximum(np.abs(places) + size / 2 - (self.half - 1.0), 0.0).sum(axis=1) * 20
        for label in self.labels:
            apart = np.abs(places - np.array(label.at))
            gap = ((size + self._size(label.text, label.style)) / 2 - apart).min(axis=1)
            over += np.where(gap > 0, gap + 1.0, 0.0)
            # Side by side two numerals read as one number.
            over += 0.5 * (gap > -SIDE_BY_SIDE_MM / self.drawn_at)
        for middle, room in self._taken():
            gap = ((size + room) / 2 - np.abs(places - middle)).min(axis=1)
            over += np.where(gap > 0, gap + 1.0, 0.0)
        if self.lines:
            ends = np.stack([line.points[[0, -1]] for line in self.lines])
            steps = np.linspace(ends[:, 0], ends[:, 1], 12).reshape(-1, 2)
            covered = (np.abs(places[:, None] - steps) < size / 2).all(axis=2)
            over += 0.2 * covered.sum(axis=1)
        return np.asarray(over)

    def _covers(self, size: Array, places: Array) -> Array:
        """(n, 2) places → (n,) True where a label there would lie over another."""
        covers = np.zeros(len(places), dtype=bool)
        for label in self.labels:
            apart = np.abs(places - np.array(label.at))
            room = (size + self._size(label.text, label.style)) / 2
            covers |= (apart < room - _TOUCHING_MM / self.drawn_at).all(axis=1)
        return covers

    def _taken(self) -> list[tuple[Array, Array]]:
        """Middle and size of what a picture always carries: words at its edges, and the bar."""
        half, across = self.half, EDGE_WORDS_MM / self.drawn_at
        letter = np.array([across, across])
        upright = np.array([across, LONG_EDGE_WORDS_MM / self.drawn_at])
        edges = [
            (np.array([0.0, s * (half[1] - across / 2)]), letter) for s in (1, -1)
        ] + [(np.array([s * (half[0] - across / 2), 0.0]), upright) for s in (1, -1)]  # fmt: skip
        bar = (np.array([half[0] - 7.0, -half[1] + 3.0]), np.array([11.0, 4.5]))
        return [*edges, bar]

    def _nearer_to_another(self, size: Array, places: Array, own: Line) -> Array:
        """(n, 2) places → (n,) True where a label there would be read as another line's."""
        others = [line for line in self.lines if line is not own]
        if not others:
            return np.zeros(len(places), dtype=bool)
        apart = [_apart(size, places, line) for line in others]
        return np.asarray(np.min(apart, axis=0) <= _apart(size, places, own))

    def _size(self, text: str, style: LabelStyle) -> Array:
        """Width and height of a label and its plate, in mm of the picture."""
        height = _LABEL_HEIGHT_MM[style]
        return np.array([0.62 * height * len(text) + 0.9, height + 0.8]) / self.drawn_at


def _order(m: Measurement) -> tuple[int, float]:
    return worst_first(m), np.inf if m.value is None else m.value


def _apart(size: Array, places: Array, line: Line) -> Array:
    """(n,) shortest way in mm from labels' plates of one size at (n, 2) places to a line."""
    steps = np.linspace(line.points[0], line.points[-1], 24)
    off = np.maximum(np.abs(places[:, None] - steps) - size / 2, 0.0)
    return np.asarray(np.hypot(off[..., 0], off[..., 1]).min(axis=1))


def _beside(ends: Array, off_mm: float, half: Array) -> list[Array]:
    """Places for a numeral: beside the middle of a line, on either side, then beyond its ends.

    `half` (2,) is half of the numeral's plate: beyond an end the plate just clears the line.
    """
    middle = ends.mean(axis=0)
    along = ends[1] - ends[0]
    length = float(np.linalg.norm(along))
    along = along / length if length > 1e-9 else np.array([1.0, 0.0])
    side = np.array([-along[1], along[0]])
    places = [middle + s * r * off_mm * side for r in (1.0, 1.6) for s in (1, -1)]
    clear = float(half @ np.abs(along)) + 0.15 * off_mm
    places += [ends[1] + clear * along, ends[0] - clear * along]
    places += [
        end + s * r * off_mm * side for r in (1.0, 1.8, 2.6, 3.4) for end in ends for s in (1, -1)
    ]
    return places
