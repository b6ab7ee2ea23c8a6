"""One picture of a place: its grey values and its chart, made at once or by a worker."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

from app.pictures.chart_painter import Ink
from app.pictures.places import Place
from core.image.volume import Volume
from core.measurement import Measurement
from core.pictures.overlay import Overlay, section_overlay
from core.plans.plan import Plan

SAME_MM = 1e-6

Grey = NDArray[np.float32]
Slab: TypeAlias = tuple[float, bool]
"""Thickness in mm, and True for the maximum of it."""
THIN: Slab = (0.0, False)


@dataclass(frozen=True, slots=True, eq=False)
class Cut:
    """A place with its grey values and its chart; None where they are still to be made."""

    place: Place
    grey: Grey | None
    ink: Ink | None = None
    plan: Plan | None = None
    """Whose lines the chart shows."""
    slab: Slab = THIN
    """What the grey values were taken through."""

    @property
    def made_grey(self) -> Grey:
        """The grey values of a picture that is cut already."""
        if self.grey is None:
            raise RuntimeError("this picture is not cut yet")
        return self.grey


class Stop(Protocol):
    """What work in several steps asks between them."""

    def cancelled(self) -> bool:
        """True once nobody waits for it any more."""
        ...


class _Never:
    """Work that is done at once is not cancelled."""

    def cancelled(self) -> bool:
        return False


NEVER = _Never()


def same_cut(a: Place, b: Place) -> bool:
    """True where two places lie alike to a millionth of a mm: the grey values can be kept."""
    g, h = a.grid, b.grid
    return (
        (g.rows, g.cols, g.pixel_mm) == (h.rows, h.cols, h.pixel_mm)
        and bool(np.abs(g.origin - h.origin).max() < SAME_MM)
        and bool(np.abs(g.right - h.right).max() < SAME_MM)
        and bool(np.abs(g.up - h.up).max() < SAME_MM)
    )


def ink_of(overlay: Overlay) -> Ink:
    """A display list made ready for painting."""
    return Ink(overlay.lines, overlay.dots, overlay.labels)


def charted(
    cuts: tuple[Cut, ...],
    *,
    volume: Volume,
    plan: Plan,
    rows: tuple[Measurement, ...],
    slab: Slab,
    bare: bool,
    drawn_at: float,
) -> Callable[[Stop], list[Cut]]:
    """Work that gives cuts their grey values, where they have none, and their charts.

    Parameters
    ----------
    bare : bool
        Small pictures: outlines without distances and numerals.
    drawn_at : float
        Scale that labels are laid out for.
    """

    def make(task: Stop) -> list[Cut]:
        out: list[Cut] = []
        for cut in cuts:
            if task.cancelled():
                break
            grey = cut.grey
            if grey is None:
                grey = volume.picture(cut.place.grid, slab_mm=slab[0], maximum=slab[1])
            overlay = section_overlay(
                plan, cut.place.grid, rows, bare=bare, drawn_at=drawn_at,
                most_witnesses=0 if bare else 5,
            )  # fmt: skip
            out.append(Cut(cut.place, grey, ink_of(overlay), plan, slab))
        return out

    return make
