"""The tools of the bench, in the order of their buttons within each group."""

from __future__ import annotations

from app.tools.base import Tool
from app.tools.curves import Canal, Loop, LowerBorder, NasalFloor, SinusFloor, Vessel
from app.tools.find_border import FindBorder
from app.tools.find_floor import FindFloor
from app.tools.find_foramen import FindForamen
from app.tools.find_root import FindRoot
from app.tools.fixture import Adjust, PlaceFixture
from app.tools.follow_canal import FollowCanal
from app.tools.jaw import ArchTool, JawPlane, Midline
from app.tools.move import Move
from app.tools.point_marks import Contact, CrestMark, Cusp, Gum, Note, Opponent, PointMark, StentTop
from app.tools.rulers import AngleTool, Ridge, RulerTool
from app.tools.scale import ScaleObject
from app.tools.stent import StentAxisTool
from app.tools.teeth import Existing, ForamenTool, Root
from app.tools.tissues import PointAtTissues
from app.tools.turn import Turn
from app.tools.window import Window

TOOLS: tuple[type[Tool], ...] = (
    Move,
    Window,
    Turn,
    Canal,
    FollowCanal,
    FindForamen,
    ForamenTool,
    Loop,
    FindRoot,
    Root,
    FindFloor,
    SinusFloor,
    NasalFloor,
    Vessel,
    FindBorder,
    LowerBorder,
    Existing,
    StentAxisTool,
    PointMark,
    Gum,
    StentTop,
    Cusp,
    Contact,
    Opponent,
    CrestMark,
    PointAtTissues,
    Note,
    JawPlane,
    ArchTool,
    Midline,
    PlaceFixture,
    Adjust,
    RulerTool,
    AngleTool,
    Ridge,
    ScaleObject,
)

FOLDED = frozenset(
    {
        "Foramen",
        "Loop",
        "Root",
        "Mark",
        "Sinus floor",
        "Nasal floor",
        "Vessel",
        "Find lower border",
        "Lower border",
        "Existing implant or metal",
        "Gum",
        "Stent top",
        "Cusp",
        "Contact",
        "Opponent",
        "Crest",
        "Tissues",
        "Note",
        "Scale object",
    }
)
"""Names of tools that are wanted rarely: under "More" at the end of their group."""
