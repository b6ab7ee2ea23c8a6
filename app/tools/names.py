"""What the tools and their groups are called on their buttons; their own names are keys."""

from __future__ import annotations

from core.words.catalogue import message

TOOL_WORDS = {
    "Canal": message("tools.names.canal"),
    "Follow canal": message("tools.names.follow-canal"),
    "Loop": message("tools.names.loop"),
    "Vessel": message("tools.names.vessel"),
    "Lower border": message("tools.names.lower-border"),
    "Find floor": message("tools.names.find-floor"),
    "Sinus floor": message("tools.names.sinus-floor"),
    "Nasal floor": message("tools.names.nasal-floor"),
    "Fixture": message("tools.names.fixture"),
    "Adjust": message("tools.names.adjust"),
    "Jaw plane": message("tools.names.jaw-plane"),
    "Arch": message("tools.names.arch"),
    "Midline": message("tools.names.midline"),
    "Move": message("tools.names.move"),
    "Mark": message("tools.names.mark"),
    "Gum": message("tools.names.gum"),
    "Stent top": message("tools.names.stent-top"),
    "Cusp": message("tools.names.cusp"),
    "Contact": message("tools.names.contact"),
    "Opponent": message("tools.names.opponent"),
    "Crest": message("tools.names.crest"),
    "Note": message("tools.names.note"),
    "Ruler": message("tools.names.ruler"),
    "Angle": message("tools.names.angle"),
    "Ridge": message("tools.names.ridge"),
    "Scale object": message("tools.names.scale-object"),
    "Stent axis": message("tools.names.stent-axis"),
    "Find foramen": message("tools.names.find-foramen"),
    "Find lower border": message("tools.names.find-border"),
    "Find root": message("tools.names.find-root"),
    "Foramen": message("tools.names.foramen"),
    "Root": message("tools.names.root"),
    "Existing implant or metal": message("tools.names.existing-implant-or-metal"),
    "Tissues": message("tools.names.tissues"),
    "Turn": message("tools.names.turn"),
    "Window": message("tools.names.window"),
}
GROUP_WORDS = {
    "View": message("tools.names.group-view"),
    "Mark": message("tools.names.group-mark"),
    "Place": message("tools.names.group-place"),
    "Measure": message("tools.names.group-measure"),
}
