"""What a tool wants drawn over one picture while it works, handles included."""

from __future__ import annotations

from dataclasses import dataclass

from core.drawing import Dot, Label, Line


@dataclass(frozen=True, slots=True, kw_only=True)
class Handle:
    """A mark that can be taken with the mouse, drawn in screen size.

    Parameters
    ----------
    at : (u, v) mm
    chosen : bool
        The one that keys act on: drawn filled.
    quiet : bool
        Off the picture's plane, faint or not seen: drawn dashed.
    """

    at: tuple[float, float]
    chosen: bool = False
    quiet: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """What a tool wants drawn over one picture while it works; places are uv_mm of that view.

    Parameters
    ----------
    compares : bool
        What it draws is to be compared with the image: no distance line may lie over either.
    """

    lines: tuple[Line, ...] = ()
    dots: tuple[Dot, ...] = ()
    labels: tuple[Label, ...] = ()
    handles: tuple[Handle, ...] = ()
    compares: bool = False


NOTHING = Draft()
