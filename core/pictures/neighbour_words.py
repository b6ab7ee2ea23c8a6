"""What a section beside another one is called."""

from __future__ import annotations

from core.words.catalogue import say


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
