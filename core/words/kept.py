"""Sentences about: what the program keeps for itself, and who else works on it."""

from __future__ import annotations

SENTENCES: dict[str, str] = {
    "kept-folder": (
        "The folder {path} cannot be made or written to, so nothing can be kept there. Make room "
        "or ask who looks after this computer, and save your plan in another place meanwhile."
    ),
    "kept-unreadable": (
        "The file {path} cannot be read ({reason}), so what is in it was left out. Everything "
        "else works."
    ),
    "kept-set-aside": (
        "The file {path} could not be read ({reason}), so what is in it was left out. It was set "
        "aside as {kept}; everything else works."
    ),
    "nothing-kept": (
        "Nothing will be kept on this computer: {folders} cannot be written to. You can measure, "
        "but cases and settings are lost when the program ends, so save your plan in another "
        "place with Save plan as …"
    ),
    "settings-unread": (
        "The settings could not be read ({reason}), so the practice limits and my sizes are the "
        "shipped ones now. The old file is kept as {kept}; set them again."
    ),
    "settings-partly-unread": (
        "Some settings could not be read and are the shipped ones now: {which}. The old file is "
        "kept as {kept}; set these again."
    ),
    "case-open-elsewhere": (
        "{name} has had this case open since {since} on {host}. Two people who change one case "
        "at the same time would undo each other's work."
    ),
    "case-reading": (
        "Opened for reading: {name} has had this case open since {since}. Nothing can be changed "
        "here. Close the case and open it again to take it over."
    ),
    "case-taken-over": (
        "{name} took this case over at {since}. Your own state is not lost: from now on it is "
        "kept as a case of its own, and it stands as one in the list of recent cases. Compare "
        "the two before you use either."
    ),
    "case-changed-elsewhere": (
        "Another window changed this case at the same time. Your own state is not lost: from now "
        "on it is kept as a case of its own, and it stands as one in the list of recent cases. "
        "Compare the two before you use either."
    ),
    "case-busy": (
        "Another window is writing to {path} and does not finish, so this case is not saved yet. "
        "Close the other window."
    ),
    "pseudonym-left-over": (
        "The file {name} would still hold '{word}' from the scan's header, so the de-identified "
        "set was not written. Rename what carries it (a drill, the text of risks), or do not pass "
        "this case on."
    ),
    "output-plan-moved-on": (
        "{path} was changed since your plan was read from it or saved there (now revision "
        "{revision}, last by {by}), so replacing it would lose that work. Nothing was written. "
        "Save your plan under another name and compare the two."
    ),
}
