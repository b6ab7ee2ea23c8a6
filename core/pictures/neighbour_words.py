"""What a section beside another one is called, the same on screen and sheet."""

from __future__ import annotations

from core.errors import PlanError
from core.identity import Tooth
from core.words.catalogue import say


def way_along(towards_left: bool, tooth: str) -> str:
    """Whether a neighbour lies mesial or distal of a tooth; without one, to which side it lies.

    Parameters
    ----------
    towards_left : bool
        Towards the patient's left, as the arch travels; else towards the right.
    tooth : str
        ISO 3950; empty, or none, where nobody named it.
    """
    try:
        side = Tooth.of(tooth).side
    except PlanError:
        return "leftwards" if towards_left else "rightwards"
    # On the patient's right the midline lies towards the left, on the left towards the right.
    mesial = towards_left if side == "right" else not towards_left
    return "mesial" if mesial else "distal"


def neighbour_words(mm: float, way: str) -> str:
    """Name of a neighbour by how far it stands, and to which side.

    Parameters
    ----------
    mm : float
        How far along the arch; 0: the section itself.
    way : {'mesial', 'distal', 'leftwards', 'rightwards', 'forward', 'back'}
        ``forward`` and ``back`` along the traced arch, where its sides are not settled.
    """
    if not mm:
        return say("pictures.neighbour.here")
    match way:
        case "mesial":
            return say("pictures.neighbour.mesial", mm=mm)
        case "distal":
            return say("pictures.neighbour.distal", mm=mm)
        case "leftwards":
            return say("pictures.neighbour.to-the-left", mm=mm)
        case "rightwards":
            return say("pictures.neighbour.to-the-right", mm=mm)
        case "forward":
            return say("pictures.neighbour.forward", mm=mm)
    return say("pictures.neighbour.back", mm=mm)
