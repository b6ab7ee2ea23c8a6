"""What stands in the help: topics, in plain words; what every number means, how the keys work.

Topics are reached from the number they explain by their key, the kind of a row.
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
from core.words.glossary import GLOSSARY
from core.words.sheet import BY_HAND_MEANS, DEFINITIONS, EACH_BY_ITSELF, UNCERTAINTY


@dataclass(frozen=True, slots=True, kw_only=True)
class Topic:
    """One page of help: a title and its paragraphs."""

    title: str
    paragraphs: tuple[str, ...]


_START = Topic(
    title="What a case needs",
    paragraphs=(
        "You can do these steps in any order. The log shows what is still open.",
        (
            "1. The jaw plane. Heights are measured perpendicular to it. Drag its line in a front "
            "and a side cut, click three occlusal surfaces, or use the stent axis or the axes of "
            "the neighbouring roots."
        ),
        (
            "2. The arch. Sections stand across it, so widths are correct only where it follows "
            "the jaw."
        ),
        "3. The side. Compare missing and crowned teeth with the patient or chart, and confirm.",
        (
            "4. The vital structures. Mark canal, foramen, roots and sinus floor. What you cannot "
            "mark, declare with a reason."
        ),
        ("5. A fixture on a section, or only a ridge at a site. Width and height need no fixture."),
        "6. The sheet. It is a DRAFT until somebody signs it.",
    ),
)

_VERDICTS = Topic(
    title="The four verdicts",
    paragraphs=(
        "≥  meets limit: even the smallest plausible value is not below the limit.",
        "≈  too near to tell (borderline): above the limit, but by less than the uncertainty.",
        "<  below limit: the value itself is below the limit.",
        (
            "?  not assessed: something was not marked or not scanned, a tracing ends too early, "
            "or the image has a problem at the site. Treat it like below limit."
        ),
        (
            "A row without a limit has no verdict. The summary counts verdicts. It never means "
            "that it is safe to operate."
        ),
        "Source of the rule: JCGM 106:2012 and ISO 14253-1, guard band 1.645 u, 95 % one-sided.",
    ),
)

_UNCERTAINTY = Topic(
    title="Smallest plausible value and uncertainty",
    paragraphs=(
        (
            "At least: the smallest plausible value. It is the value less 1.645 u. In one case of "
            "twenty the true value is smaller still, from the listed sources of uncertainty alone."
        ),
        (
            "Uncertainty (± U): twice the combined standard uncertainty u (coverage factor k = 2). "
            "Open a row to see its sources: placement (how "
            "exactly marks are set), course (what one person gets wrong along a whole traced "
            "course), edge (how sharply the bone edge is seen), voxel, scale, size (of a canal, as "
            "measured, entered or assumed), fit (of a stent axis that was found in the image)."
        ),
        EACH_BY_ITSELF,
        UNCERTAINTY,
        (
            "Values are rounded down and uncertainties up; verdicts use unrounded values. Source: "
            "JCGM 100:2008."
        ),
    ),
)

_TRUST = Topic(
    title="Checking yourself, the scan and the program",
    paragraphs=(
        (
            "Repeat study (File menu): you place the same marks again on sections in random order, "
            "with nothing drawn on them. The scatter can replace the usual 0.25 mm for your marks, "
            "but is never taken as less than 0.2 mm, because it shows scatter and not bias. One or "
            "two people can take part. The result gives Dahlberg’s error, Bland and Altman’s "
            "limits and intraclass correlations; the order follows a printed seed."
        ),
        (
            "Scale check (File menu): you mark radiopaque objects whose true distance, from centre "
            "to centre, you measured. Any deviation is included in the uncertainty of every "
            "length. If a scan fails the check, the program says so in capitals. The apparent size "
            "of a bright object is never used as a scale."
        ),
        (
            "Self-test (Help menu): the program creates an artificial scan, writes it, reads it "
            "back, measures it, and compares the results with the known truth. This tests the "
            "installation, not your scanner."
        ),
        (
            "Identify tissues (Checks menu): where a scan does not show reliably how bright soft "
            "tissue and bone are, no bone edge is measured. You can then click once in soft "
            "tissue, once in thick cortical bone and once in marrow. The program checks these "
            "clicks against the scan, and uses them only if they agree with it. Every measurement "
            "that depends on them says so and is less certain. Where the scan shows the tissues "
            "by itself, your clicks are not used."
        ),
        (
            "Stent axis: one click on the filling finds it, with its own uncertainty. An end that "
            "you move by hand counts as a hand-placed mark."
        ),
    ),
)

_LIMITS = Topic(
    title="Limits",
    paragraphs=(
        (
            "A limit is a planning margin that allows for errors of imaging and drilling. None is "
            "a proven threshold of harm. Each names its source, or says “common practice, no "
            "source”."
        ),
        (
            "You can change a limit for a plan. Who changed it, when and why is recorded, and the "
            "default is shown beside it in every row and on every sheet. No limit can be set below "
            "its absolute minimum (lower line), because it would be within the error of drilling."
        ),
    ),
)

_BY_HAND = Topic(
    title="If placed by hand",
    paragraphs=(
        BY_HAND_MEANS,
        (
            "The fixture is shifted and tilted by the mean deviations of published series, in the "
            "worst direction. The smallest clearance of all these positions is shown. A single "
            "fixture can deviate by more than the mean."
        ),
    ),
)

_SIDES = Topic(
    title="Left and right",
    paragraphs=(
        (
            "Left and right are the patient’s. They come from the coordinates of the scan, never "
            "from how a picture looks. A mirrored scan looks normal. Only comparing missing and "
            "crowned teeth with the patient or the chart reveals it."
        ),
        "On a section across the arch, buccal is on the right, on both sides of the mouth.",
    ),
)

_KEYS = Topic(
    title="Keys",
    paragraphs=(
        "Wheel, ← →   move along the arch; with Shift five steps",
        "Ctrl + wheel   zooms; hold the middle button to pan",
        "Ctrl + arrow keys   move what is selected 0.1 mm; Alt + arrow keys tilt a fixture 0.5°",
        "Ctrl + Page Up, Page Down   fixture shallower or deeper by 0.1 mm",
        *KEY_LINES,
        "Ctrl + Z, Ctrl + Y   undo and redo everything",
        "Ctrl + C   copies the picture with the focus, without a name; with Shift also the name",
        "F6   goes from panel to panel; Tab within one",
        (
            "In the measurements: Space shows details, S shows the place, M marks, D declares, L "
            "changes the limit, F1 explains"
        ),
        "In the log: Return settles an open point",
    ),
)

_SIZES = Topic(
    title="Sizes in this position",
    paragraphs=(
        (
            "The table tries every size of your list, with its platform in the same place and "
            "along the same axis. It shows how many limits of this plan each size would meet, the "
            "row that limits it, and by how much it is short. The numbers are measured in the same "
            "way as those of the fixture."
        ),
        (
            "“8 of 13”: a limit counts as met only if the smallest plausible value meets it. What "
            "is not assessed or not marked counts as not met. If several limits are not met, one "
            "below its limit is named first, and among those the one that is shortest of its "
            "limit. The missing length is rounded up."
        ),
        (
            "The table keeps the order of your list and recommends no size. The position matters "
            "too, and so does much that is not measured here. While new numbers are being "
            "measured, … is shown."
        ),
        "Click a row, or press Return or Space, to use that size. Undo returns to the old one.",
    ),
)

_PROFILE = Topic(
    title="Ridge profile",
    paragraphs=(
        (
            "The width of the ridge at 1, 3 and 7 mm below its crest, every 2 mm along the traced "
            "arch, perpendicular to the jaw plane. Click to go to a place. There is no line where "
            "there are teeth, metal, more than one stretch of bone, or no clear edge."
        ),
        (
            "The dashed line is the diameter of the selected fixture plus its buccal and lingual "
            "limits: 4.0 + 2.0 + 1.0 mm need 7.0 mm (sum of the margins; sources under Remaining "
            "bone). It applies at the platform and at every level down to the apex."
        ),
        "“To CSV” writes widths at 1, 3, 5 and 7 mm, heights, and the reason where there is none.",
    ),
)

_GREY = Topic(
    title="Grey values",
    paragraphs=(
        (
            "The mean and spread of the grey values within 1 mm of the fixture, by depth. They are "
            "shown only when you ask for them, and never on a sheet."
        ),
        (
            "They are grey values of this scan, not HU. They change with the scanner, the field of "
            "view, the place in it and what lies beside it (Pauwels et al. 2015, Dentomaxillofac "
            "Radiol 44:20140238, from memory; Campos et al. 2014, World J Radiol 6:607). Published "
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
            "under the gingiva."
        ),
        CAUTIONS,
    ),
)

_MORE: dict[str, tuple[str, ...]] = {
    "clearance": (
        (
            "It is measured in space, so the closest place may lie outside the section that you "
            "see. “Show me” turns the section there."
        ),
        (
            "If nobody measured the diameter of a canal, 3.0 mm is assumed, with a larger "
            "uncertainty."
        ),
    ),
    "ridge_width": (
        (
            "Widths along the axis are those that the fixture meets. Widths by the jaw plane "
            "belong to the ridge itself. On a sloping ridge they differ."
        ),
        (
            "If the line crosses more than one stretch of bone, as at a socket, the width is not "
            "assessed. A section that does not stand square to the ridge reads too wide: 10 mm "
            "become 10.15 at 10°, 11.55 at 30° (by trigonometry). The smallest width over ± 10° of "
            "turn is shown beside it. Voxels of 0.3 to 0.4 mm suffice for lengths (Fokas et al. "
            "2018, Clin Oral Implants Res 29(S16):393)."
        ),
    ),
    "ridge_height": (
        "It ends at the near wall of the limiting structure, not at its centre.",
        (
            "Where a tooth stands in the section no crest is found, because its cusp is not bone. "
            "Choose “Crest” under More in Mark and click the edge of the bone beside the tooth. "
            "Height and widths are then counted from there, with the uncertainty of a mark set by "
            "hand. A mark within 1 mm in front of or behind the section is used too, with a larger "
            "uncertainty. The cortical plate is measured only where a marked root is clear of it. "
            "Or mark the root as to be removed: the bone around it then has its own crest."
        ),
    ),
    "plate_thickness": (
        (
            "Plates thinner than about twice the smallest detail of the scan cannot be measured. "
            "The program then says so and gives no number."
        ),
    ),
    "wall": (
        (
            "Gaps, sockets, canals and metal do not count as bone, and bone is counted only up to "
            "a root. A negative value means that the surface of the fixture lies outside the bone "
            "there. Where no edge was found, no bone is drawn."
        ),
        (
            "The “Remaining bone” panel shows it unrolled: depth from the platform down, direction "
            "across, buccal in the middle. Lines are mm of bone; the heavy one is the limit. "
            "Rising hatch: below the limit. Falling hatch: edge not found or not scanned. While "
            "the fixture moves the picture is coarse and dimmed, until it fits the position shown."
        ),
        (
            "Below its limit and open at the crest: possible dehiscence. Closed above and below: "
            "possible fenestration. Both describe the image only: thin plates may be present and "
            "not be seen (Patcas et al. 2012, Am J Orthod Dentofacial Orthop 141:41, from memory). "
            "Beside fixtures plates were read 18 to 68 % wrong at voxels of 0.3 mm, 5 to 23 % at "
            "0.125 mm, worst below 0.8 mm (Razavi et al. 2010, Clin Oral Implants Res 21:718)."
        ),
        (
            "Limits: 2 mm buccal and 1 mm lingual (the rule as Alodadi et al. 2016, J Oral Biol "
            "3(1):7, state it); 1.5 mm buccal at back teeth (Monje et al. 2019, in dogs). No "
            "human study proves a threshold (Albeshri and Greenstein 2021, Compend Contin Educ "
            "Dent 42(9)), and none has asked what the lingual side needs."
        ),
    ),
    "undercut_depth": (
        "A drill that perforates the lingual bone can injure vessels in the floor of the mouth.",
        (
            "By level (Chan et al. 2011, Clin Oral Implants Res 22:201, from memory): U undercut, "
            "where the depth is over 0.5 mm or two voxels, whichever is more; C convex, where the "
            "ridge is wider at the base by more than that; otherwise P parallel. The threshold is "
            "ours, because the paper gives none. By bridge (Parnia et al. 2010, Oral Surg Oral Med "
            "Oral Pathol Oral Radiol Endod 109:e32): I under 2 mm, II 2 to 3 mm, III over 3 mm."
        ),
        "The two differ in direction and level; neither replaces the other. Lower jaw only.",
    ),
    "undercut_angle": (
        "The smaller the angle, the deeper the undercut. There is no angle without an undercut.",
    ),
    "entry": ("For free-hand work: mark the entry point on the crest by these distances.",),
}


def topics() -> dict[str, Topic]:
    """All topics by key, in the order of the contents."""
    pages = {"start": _START, "glossary": _glossary(), "verdicts": _VERDICTS}
    pages |= {"uncertainty": _UNCERTAINTY, "trust": _TRUST, "limits": _LIMITS}
    pages |= {"by hand": _BY_HAND, "sides": _SIDES}
    for kind in MeasurementKind:
        paragraphs = (DEFINITIONS[kind], *_MORE.get(kind, ()))
        pages[kind.value] = Topic(title=kind.row.words, paragraphs=paragraphs)
    pages |= {"ridge profile": _PROFILE, "sizes": _SIZES, "grey values": _GREY}
    pages["table"] = _table()
    return pages | {"keys": _KEYS, "licences": _licences(), "about": _ABOUT}


def _glossary() -> Topic:
    """Every term in the order of the alphabet; a measure's meaning is its definition."""
    terms = GLOSSARY | {kind.row.words: DEFINITIONS[kind] for kind in MeasurementKind}
    return Topic(
        title="Glossary",
        paragraphs=tuple(f"{term} — {terms[term]}" for term in sorted(terms, key=str.casefold)),
    )


def _table() -> Topic:
    """Data dictionary of the table of measurements."""
    return Topic(
        title="Columns of the table",
        paragraphs=(
            (
                "sheet.csv holds one row for each measurement. Points are in patient space (DICOM "
                "LPS), mm; an empty cell means none. In Python one line reads it: "
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
                "'sounding components --out FILE' writes the list for your IT support."
            ),
            *licence_lines(),
        ),
    )
