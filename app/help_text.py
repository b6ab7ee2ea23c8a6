"""Help in plain words: what every number means, how the keys work, what the program is not.

Topics are reached from the number they explain by their key, the kind of a ledger row.
"""

from __future__ import annotations

from dataclasses import dataclass

from app.tools.key_lines import KEY_LINES
from core.version import PROGRAM
from core.words.cautions import CAUTIONS
from core.words.sheet import BY_HAND_MEANS, DEFINITIONS, UNCERTAINTY


@dataclass(frozen=True, slots=True, kw_only=True)
class Topic:
    """One page of help: a title and its paragraphs."""

    title: str
    paragraphs: tuple[str, ...]


_START = Topic(
    title="What a case needs",
    paragraphs=(
        "Everything here is done in any order; the log says what is still open.",
        (
            "1. The jaw plane. Heights are counted from it and along its up. Its line dragged in a "
            "front and a side cut, three clicks, the stent’s axis, or the neighbours’ axes."
        ),
        "2. The arch. Sections stand across it, so widths are true only where it follows the jaw.",
        "3. The side. Compare missing and crowned teeth with the patient or the chart, and say so.",
        "4. What must not be hit. Canal, foramen, roots, floor: marked, or declared with a reason.",
        "5. A fixture on a section, or only a ridge at a site: width and height need no fixture.",
        "6. The sheet. It is a DRAFT until somebody signs it.",
    ),
)

_VERDICTS = Topic(
    title="The four verdicts",
    paragraphs=(
        "≥  meets limit: even less its doubt, the value is not under the limit.",
        "≈  too near to tell: the value is over the limit, but by less than its doubt.",
        "<  below limit: the value itself is under it.",
        (
            "?  not assessed: nothing was marked, or the place was not scanned, or a mark ends too "
            "near, or the image is in trouble at the site. It weighs as much as below limit."
        ),
        (
            "A row without a limit has no verdict. The summary counts; it never clears anybody for "
            "surgery."
        ),
        "Source of the rule: JCGM 106:2012 and ISO 14253-1, guard band 1.645 u, 95 % one-sided.",
    ),
)

_DOUBT = Topic(
    title="At least, and ± U",
    paragraphs=(
        (
            "at least: the value less 1.645 u. One time in twenty the true value is smaller "
            "still, by the named doubts alone."
        ),
        (
            "± U: twice the combined standard uncertainty u, shown when a row is unfolded, with a "
            "bar for each part: placement (how exactly marks are set), edge (how sharply the "
            "bone’s edge is seen), voxel, scale, size (of a canal that was not measured)."
        ),
        UNCERTAINTY,
        (
            "Values, walls, widths and heights are rounded down, doubts up; verdicts use unrounded "
            "values. Source: JCGM 100:2008."
        ),
    ),
)

_LIMITS = Topic(
    title="Limits",
    paragraphs=(
        (
            "A limit is a planning margin that takes up errors of imaging and drilling. None is a "
            "proven threshold of harm. Each names its source, or says “common practice, no source”."
        ),
        (
            "A plan can change a limit, with who, when and why; the default stays beside it on "
            "every row and every sheet. Nobody can go under the lower line: below it a value is "
            "within the error of drilling."
        ),
    ),
)

_BY_HAND = Topic(
    title="If placed by hand",
    paragraphs=(
        BY_HAND_MEANS,
        (
            "The fixture is moved and leaned by the mean deviations of published series, the "
            "worst way round; the least clearance of all these poses is given. Single fixtures "
            "end up further off than the mean."
        ),
    ),
)

_SIDES = Topic(
    title="Left and right",
    paragraphs=(
        (
            "Left and right are the patient’s, from the scan’s own coordinates, never from how a "
            "picture looks. A scan that was stored mirrored looks like any other: only comparing "
            "missing and crowned teeth with the patient or chart tells."
        ),
        "On a section across the arch buccal is on the right, on both sides of the mouth.",
    ),
)

_KEYS = Topic(
    title="Keys",
    paragraphs=(
        "Wheel, ← →   step along the arch; with Shift five steps",
        "Ctrl + wheel   zoom; the middle button, held, pans",
        "Ctrl + arrows   nudge what is chosen 0.1 mm; Alt + arrows tilt a fixture 0.5°",
        "Ctrl + Page Up, Page Down   fixture shallower or deeper by 0.1 mm",
        *KEY_LINES,
        "Ctrl + Z, Ctrl + Y   undo and redo, everything",
        "Ctrl + C   copies the picture with the focus, without a name; with Shift also the name",
        "F6   from panel to panel; Tab within one",
        (
            "In the ledger: Space unfolds, S shows, M marks, D declares, L changes the limit, "
            "F1 explains"
        ),
        "In the log: Return settles an open point",
    ),
)

_ABOUT = Topic(
    title="About",
    paragraphs=(
        (
            f"{PROGRAM}. To sound a ridge is the trade’s word for feeling out how much bone lies "
            "under the gum."
        ),
        CAUTIONS,
    ),
)

_MORE: dict[str, tuple[str, ...]] = {
    "clearance": (
        (
            "It is measured in space, so the nearest place may lie outside the section that you "
            "look at: “show me” turns the section there."
        ),
        "A canal whose diameter nobody measured counts as 3.0 mm with its doubt.",
    ),
    "ridge_width": (
        (
            "Widths along the axis are those that the fixture meets; widths along up are those of "
            "the ridge as such. On a sloping ridge they differ."
        ),
    ),
    "ridge_height": ("It ends at the limiting structure’s near wall, not at its middle.",),
    "plate_thickness": (
        (
            "Plates thinner than about twice the smallest detail of the scan cannot be measured; "
            "then it says so and gives no number."
        ),
    ),
    "wall": (
        "A gap, a socket and a root are told apart from bone and do not count.",
        "Fold out “Remaining bone” to see it by depth and direction.",
    ),
    "hollow_depth": ("Towards the tongue a drill that leaves the bone meets vessels.",),
    "entry": ("For free-hand work: mark it on the crest by these distances.",),
}

_NAMES = {
    "clearance": "Clearance",
    "ridge_width": "Ridge width",
    "ridge_height": "Ridge height",
    "plate_thickness": "Cortex",
    "wall": "Remaining bone",
    "hollow_depth": "Undercut depth",
    "hollow_angle": "Undercut angle",
    "angle": "Angle",
    "offset": "Offset",
    "room": "Room",
    "entry": "Entry point",
    "depth": "Platform depth",
}


def topics() -> dict[str, Topic]:
    """All topics by key, in the order of the contents."""
    pages = {"start": _START, "verdicts": _VERDICTS, "doubt": _DOUBT, "limits": _LIMITS}
    pages |= {"by hand": _BY_HAND, "sides": _SIDES}
    for kind, words in DEFINITIONS.items():
        title = _NAMES.get(kind, kind.replace("_", " ").capitalize())
        pages[kind] = Topic(title=title, paragraphs=(words, *_MORE.get(kind, ())))
    return pages | {"keys": _KEYS, "about": _ABOUT}
