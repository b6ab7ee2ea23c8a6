"""The tools of the bench, in the order of their buttons within each group."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

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
from core.words.catalogue import message

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

TOOL: Mapping[str, type[Tool]] = MappingProxyType({tool.name: tool for tool in TOOLS})

GROUP_WORDS = {
    "View": message("tools.names.group-view"),
    "Mark": message("tools.names.group-mark"),
    "Place": message("tools.names.group-place"),
    "Measure": message("tools.names.group-measure"),
}
