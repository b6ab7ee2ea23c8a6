"""The keys of the marking tools in plain words, for the help."""

from __future__ import annotations

KEY_LINES = (
    "C   shows a crosshair; Ctrl + arrows move it 0.5 mm, with Shift 5 mm; Space places there",
    "Without a crosshair Ctrl + arrows move the chosen mark 0.1 mm; N chooses the next mark",
    "1, 2, 3   the chosen mark was seen, faint, not seen",
    "L locks and unlocks, F2 names, Delete deletes what is chosen",
    "Enter or a double click ends a curve; a right click takes the last mark back; Esc abandons",
    "[ and ]   how far the section steps on after each mark; B turns the direction round",
    "D   fits the diameter of a canal at the chosen mark, to be confirmed; R: root to be removed",
    "Fixture: Alt + arrows tilt it about its platform, with Shift about its apex",
    "Fixture: Ctrl + page down and page up make it deeper and shallower by 0.1 mm",
    "Fixture: S, J, O lay its axis along stent axis, jaw plane’s normal, nearest other fixture",
    "Jaw plane, in its cuts: Ctrl + ↑ ↓ lift and lower it 0.5 mm, Alt + ↑ ↓ turn its line 0.5°",
    "Jaw plane: S takes it from the stent axis, T from the roots’ axes, Enter as proposed",
    "Ridge: Delete takes away the site that is looked at",
    "Arch: F asks which teeth are in this scan, Enter takes it over as proposed",
)
