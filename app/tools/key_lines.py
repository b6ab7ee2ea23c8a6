"""The keys of the marking tools in plain words, for the help."""

from __future__ import annotations

from core.words.catalogue import message

KEY_LINES = (
    message("tools.key_lines.c-shows-a-crosshair-ctrl"),
    message("tools.key_lines.without-a-crosshair-ctrl-arrows"),
    message("tools.key_lines.1-2-3-the-chosen"),
    message("tools.key_lines.l-locks-and-unlocks-f2"),
    message("tools.key_lines.enter-or-a-double-click"),
    message("tools.key_lines.and-how-far-the-section"),
    message("tools.key_lines.d-fits-the-diameter-of"),
    message("tools.key_lines.room"),
    message("tools.key_lines.plots"),
    message("tools.key_lines.menus"),
    message("tools.key_lines.follow-canal-enter"),
    message("tools.key_lines.confirm-run"),
    message("tools.key_lines.fixture-alt-arrows-tilt-it"),
    message("tools.key_lines.fixture-ctrl-page-down-and"),
    message("tools.key_lines.fixture-s-j-o-lay"),
    message("tools.key_lines.jaw-plane-in-its-cuts"),
    message("tools.key_lines.jaw-plane-s-takes-it"),
    message("tools.key_lines.ridge-delete-takes-away-the"),
    message("tools.key_lines.arch-f-asks-which-teeth"),
)
