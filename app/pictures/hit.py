"""Where the mouse is, in the picture and in the patient."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import Qt

from core.geometry import Array


@dataclass(frozen=True, slots=True, eq=False)
class Hit:
    """A point of a picture and what was held.

    Parameters
    ----------
    uv_mm : (u, v) mm
        Along the picture's right and up, counted from its middle.
    point_mm : (3,) patient LPS mm
        On the picture's plane; on the arch map: its foot on the jaw plane; on the panorama: on
        the middle of its thickness.
    reach_mm : float
        How near a mark must lie to be taken, in mm of the picture (10 screen pixels).
    button : Qt.MouseButton
        Held while dragging; the one that went down or up otherwise.
    modifiers : Qt.KeyboardModifier
    """

    uv_mm: tuple[float, float]
    point_mm: Array
    reach_mm: float
    button: Qt.MouseButton
    modifiers: Qt.KeyboardModifier
