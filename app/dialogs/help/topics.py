"""Help in plain words: what every number means, how the keys work, what the program is not.

Topics are reached from the number they explain by their key, the kind of a ledger row.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from app.components import licence_lines
from app.tools.key_lines import KEY_LINES
from core.measurement_kinds import MeasurementKind
from core.version import PROGRAM
from core.words.cautions import CAUTIONS
from core.words.columns import COLUMNS
from core.words.sheet import BY_HAND_MEANS, DEFINITIONS, EACH_BY_ITSELF, UNCERTAINTY


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
            "bar for each part: placement (how exactly marks are set), course (what one "
            "person gets wrong along a whole traced course), edge (how sharply the "
            "bone’s edge is seen), voxel, scale, size (of a canal, as fitted, entered or assumed), "
            "fit (of a stent axis that was found in the image)."
        ),
        EACH_BY_ITSELF,
        UNCERTAINTY,
        (
            "Values, walls, widths and heights are rounded down, doubts up; verdicts use unrounded "
            "values. Source: JCGM 100:2008."
        ),
    ),
)

_TRUST = Topic(
    title="How sure: your hand, this scan, this program",
    paragraphs=(
        (
            "Repeat study (Case menu): the same marks placed again on shuffled sections with "
            "nothing drawn on them. Its scatter can stand for your marks in place of 0.25 mm; "
            "never under 0.2 mm, since it shows scatter and no bias. One or two people; order by a "
            "printed seed; Dahlberg’s error, Bland and Altman’s limits, intraclass correlations."
        ),
        (
            "Scale check (Case menu): bright objects whose true distance was measured, from middle "
            "to middle. What is found is carried in every length; a scan that fails says so in "
            "capitals. How large a bright object looks is never a scale."
        ),
        (
            "Self-test (Help menu): an invented scan, drawn anew, written, read back, measured and "
            "compared with what is true. It tests this installation, not your scanner."
        ),
        (
            "Tissues (Answers menu): where a scan does not show reliably how "
            "bright soft tissue and bone are, no bone edge is measured. Three clicks, in soft "
            "tissue, in thick cortical bone and in marrow, can show it. They pass the same test as "
            "what a scan shows itself, and must not speak against its plates; else nothing is "
            "measured, with the reason. Every row that rests on them says so and is less sure. "
            "Where the scan shows it itself, that counts and not the pointing."
        ),
        (
            "Stent axis: one click on the filling finds it, with its own doubt. An end that is "
            "moved by hand counts as a hand-placed mark from then on."
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

_SIZES = Topic(
    title="Sizes at this pose",
    paragraphs=(
        (
            "Every size of your own list, with its platform where the fixture’s platform is and "
            "along the same axis, against every limit of this plan: how many limits it would meet, "
            "the one that stops it, and what it lacks there. The numbers are made as those of the "
            "ledger."
        ),
        (
            "“8 of 13”: a limit counts as met only with its doubt; what is not assessed or not "
            "marked counts as not met. Where several are not met, one below its limit is named "
            "first, and among those the one that lacks most. What is lacking is rounded up."
        ),
        (
            "The table keeps your list’s own order, and no size is recommended: the pose, and "
            "much that is not measured here, decide too. While the pose is newer than the "
            "numbers they read …"
        ),
        "A click, or Return or Space on a row, gives the fixture that size; undo takes it back.",
    ),
)

_PROFILE = Topic(
    title="Ridge profile",
    paragraphs=(
        (
            "Width of the ridge at 1, 3 and 7 mm below its crest, every 2 mm along the traced "
            "arch, by the jaw plane; a click looks at that place. No line: teeth, metal, more than "
            "one stretch of bone, or no clear edge."
        ),
        (
            "The dashed line is the chosen fixture’s diameter with its limits to buccal and "
            "lingual: 4.0 + 2.0 + 1.0 mm need 7.0 mm (the margins’ sum; sources under Remaining "
            "bone). It belongs at the platform and at every level down to the apex."
        ),
        "“To CSV” writes widths at 1, 3, 5 and 7 mm, heights, and the reason where there is none.",
    ),
)

_GREY = Topic(
    title="Grey values",
    paragraphs=(
        (
            "Mean and spread of the scan’s grey values within 1 mm of the fixture, by depth. Shown "
            "only when asked for, and never on a sheet."
        ),
        (
            "They are grey values of this scan, not HU: they change with the scanner, the field, "
            "the place in it and what lies beside it (Pauwels et al. 2015, Dentomaxillofac Radiol "
            "44:20140238, from memory; Campos et al. 2014, World J Radiol 6:607). Published "
            "agreement with medical CT runs from r = 0.5 (Dent Med Probl 2022;59:413) to R² = 0.91 "
            "(Razi et al. 2019)."
        ),
        "No class of bone and no density is derived from them. Compare only within one scan.",
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
            "Widths along the axis are those that the fixture meets; those by the jaw plane "
            "belong to the ridge as such. On a sloping ridge they differ."
        ),
        (
            "More than one stretch of bone on the line, as at a socket: not assessed. A section "
            "that stands askew to the ridge reads too wide: 10 mm become 10.15 at 10°, 11.55 at "
            "30° (by trigonometry); the least over ± 10° of turn stands beside it. Voxels of 0.3 "
            "to 0.4 mm suffice for lengths (Fokas et al. 2018, Clin Oral Implants Res 29(S16):393)."
        ),
    ),
    "ridge_height": (
        "It ends at the limiting structure’s near wall, not at its middle.",
        (
            "Where a tooth stands in the section no crest is found: its cusp is not bone. Take "
            "“Crest” under More in Mark and click the edge of the bone beside the tooth: height "
            "and widths count from there, with the doubt of a mark set by hand. A mark within "
            "1 mm before or behind the section counts for it, less surely. Cortex is given only "
            "where a marked root lies clear of it. Or mark the root as to be removed: then the "
            "bone around it has its own crest."
        ),
    ),
    "plate_thickness": (
        (
            "Plates thinner than about twice the smallest detail of the scan cannot be measured; "
            "then it says so and gives no number."
        ),
    ),
    "wall": (
        (
            "A gap, a socket, a canal and metal are told apart from bone and do not count; a ray "
            "stops at a root. Negative: the fixture’s surface lies outside the bone there. Where "
            "no edge was found nothing is drawn as bone."
        ),
        (
            "“Remaining bone”, folded out, lays it flat: depth from the platform down, direction "
            "across, buccal in the middle. Lines are mm of bone; the heavy one is the limit. "
            "Rising hatch: below the limit. Falling hatch: not found or not scanned. While the "
            "fixture moves it is coarse, and dimmed with … until it is of the pose you see."
        ),
        (
            "Below its limit and open at the crest: possible dehiscence; closed above and below: "
            "possible fenestration. Both are words for what the image shows: thin plates may be "
            "there and not be seen (Patcas et al. 2012, Am J Orthod Dentofacial Orthop 141:41, "
            "from memory). Beside fixtures plates were read 18 to 68 % wrong at voxels of 0.3 mm, "
            "5 to 23 % at 0.125 mm, worst below 0.8 mm (Razavi et al. 2010, Clin Oral Implants "
            "Res 21:718)."
        ),
        (
            "Limits: 2 mm buccal and 1 mm lingual (the rule as Alodadi et al. 2016, J Oral Biol "
            "3(1):7, state it); 1.5 mm buccal at back teeth (Monje et al. 2019, in dogs). No "
            "human study proves a threshold (Albeshri and Greenstein 2021, Compend Contin Educ "
            "Dent 42(9)), and none has asked what the lingual side needs."
        ),
    ),
    "hollow_depth": (
        "Towards the tongue a drill that leaves the bone meets vessels.",
        (
            "By level (Chan et al. 2011, Clin Oral Implants Res 22:201, from memory): U undercut, "
            "where the depth is over 0.5 mm or two voxels, whichever is more; C convex, where the "
            "ridge is wider at the base by more than that; else P parallel. The border is ours: "
            "the paper gives none. By bridge (Parnia et al. 2010, Oral Surg Oral Med Oral Pathol "
            "Oral Radiol Endod 109:e32): I under 2 mm, II 2 to 3 mm, III over 3 mm."
        ),
        "The two differ in direction and level; neither replaces the other. Lower jaw only.",
    ),
    "hollow_angle": (
        "The smaller, the deeper the undercut. No angle is given where there is no undercut.",
    ),
    "entry": ("For free-hand work: mark it on the crest by these distances.",),
}


def topics() -> dict[str, Topic]:
    """All topics by key, in the order of the contents."""
    pages = {"start": _START, "verdicts": _VERDICTS, "doubt": _DOUBT, "trust": _TRUST}
    pages["limits"] = _LIMITS
    pages |= {"by hand": _BY_HAND, "sides": _SIDES}
    for kind in MeasurementKind:
        paragraphs = (DEFINITIONS[kind], *_MORE.get(kind, ()))
        pages[kind.value] = Topic(title=kind.row.words, paragraphs=paragraphs)
    pages |= {"ridge profile": _PROFILE, "sizes": _SIZES, "grey values": _GREY}
    pages["table"] = _table()
    return pages | {"keys": _KEYS, "licences": _licences(), "about": _ABOUT}


def _table() -> Topic:
    """Data dictionary of the table of measurements."""
    return Topic(
        title="Columns of the table",
        paragraphs=(
            (
                "sheet.csv holds one row a measurement. Points are in patient space (DICOM LPS), "
                "mm; empty means none. In Python one line reads it: "
                "pandas.read_csv('sheet.csv', dtype={'patient_id': str})."
            ),
            *(f"{name}: {meaning}" for name, meaning in COLUMNS.items()),
            (
                "sheet.csv.schema.json and sheet.ledger.schema.json beside it say the same for "
                "programs (JSON Schema, draft 2020-12)."
            ),
        ),
    )


@lru_cache(maxsize=1)
def _licences() -> Topic:
    """What is installed here, as it says itself."""
    return Topic(
        title="Licences",
        paragraphs=(
            (
                "Sounding is built on the work of others. These parts are installed on this "
                "computer, each with its version and the licence that it states. The command "
                "'sounding components --out FILE' writes the list for your computer people."
            ),
            *licence_lines(),
        ),
    )
