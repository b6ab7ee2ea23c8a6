"""Coded concepts of the structured report: published codes where one exists, else the program's.

Sources: DICOM PS3.16 annex D (DCM); SNOMED CT codes of teeth as listed, tooth by tooth with its
ISO 3950 number, in the crosswalk of the HL7 implementation guide *Dental Data Exchange*
(appendix D1). What has no published code that could be checked carries the private designator
99SOUNDING (PS3.16 section 8: private coding schemes begin with 99).
"""

from __future__ import annotations

import hashlib

from pydicom.sr.coding import Code

from core.identity import Tooth
from core.kinds import KIND, StructureKind
from core.measurement import Measurement
from core.structures import Structure, Tapered, kind_of

PRIVATE = "99SOUNDING"

TEETH: dict[str, str] = {
    "18": "68085002", "17": "7121006", "16": "5140004", "15": "36492000",
    "14": "57826002", "13": "80647007", "12": "11712009", "11": "22120004",
    "21": "31982000", "22": "25748002", "23": "72876007", "24": "61897005",
    "25": "23226009", "26": "23427002", "27": "66303006", "28": "87704003",
    "38": "74344005", "37": "48402004", "36": "89625000", "35": "24573005",
    "34": "2400006", "33": "39844006", "32": "77130001", "31": "113278005",
    "41": "15422005", "42": "82628004", "43": "47055002", "44": "80140008",
    "45": "8873007", "46": "28480000", "47": "40005008", "48": "38994002",
}  # fmt: skip
"""ISO 3950 number → SNOMED CT code of that permanent tooth."""

MANDIBLE = Code("91609006", "SCT", "Mandible")
MAXILLA = Code("70925003", "SCT", "Maxilla")
CONE_BEAM = Code("717193008", "SCT", "Cone beam computed tomography")
LEFT = Code("7771000", "SCT", "Left")
RIGHT = Code("24028007", "SCT", "Right")

FIXTURE = Code("planned-fixture", PRIVATE, "Planned dental implant fixture")
SITE = Code("planned-site", PRIVATE, "Site measured for a dental implant")
NOT_ASSESSED = Code("not-assessed", PRIVATE, "Not assessed")
UPPER_BOUND = Code("upper-bound", PRIVATE, "Upper bound only, traced too short")

_DISTANCE = Code("121206", "DCM", "Distance")
_NAMES: dict[str, Code] = {
    "clearance": _DISTANCE,
    "ruler": _DISTANCE,
    "angle": Code("1483009", "SCT", "Angle"),
    "hollow_angle": Code("1483009", "SCT", "Angle"),
    "ridge_width": Code("103355008", "SCT", "Width"),
    "depth": Code("131197000", "SCT", "Depth"),
    "hollow_depth": Code("131197000", "SCT", "Depth"),
    "ridge_height": Code("ridge-height", PRIVATE, "Ridge height"),
    "plate_thickness": Code("cortex", PRIVATE, "Thickness of the cortex"),
    "wall": Code("remaining-bone", PRIVATE, "Remaining bone"),
    "offset": Code("axis-offset", PRIVATE, "Offset of two axes"),
    "room": Code("room", PRIVATE, "Room"),
    "entry": Code("entry-point", PRIVATE, "Distance of the entry point"),
}


def name_of(kind: str) -> Code:
    """What a measurement measures; a kind without a row gets a private code of its own name."""
    return _NAMES.get(kind) or Code(kind[:16], PRIVATE, kind.replace("_", " ").capitalize()[:64])


def tooth_code(iso: str) -> Code:
    """A permanent tooth; its meaning holds the ISO 3950 number too.

    Raises
    ------
    PlanError
        ``tooth-unknown`` or ``tooth-deciduous``.
    """
    tooth = Tooth.of(iso)
    return Code(TEETH[tooth.iso], "SCT", f"Tooth {tooth.iso}, {tooth.name}")


def target_code(measurement: Measurement, structures: dict[str, Structure], jaw: str) -> Code:
    """What a measurement goes to: a tooth, a cavity, the jaw's bone, or a private concept."""
    bone = MAXILLA if jaw == "upper" else MANDIBLE
    structure = structures.get(measurement.target)
    if structure is not None:
        kind = kind_of(structure)
        tooth = structure.tooth if isinstance(structure, Tapered) else ""
        if kind.of_neighbours and tooth in TEETH:
            return tooth_code(tooth)
        if (code := _code(kind)) is not None:
            return code
    expected = measurement.target.split("-", 1)
    if expected[0] == "root" and expected[-1] in TEETH:
        return tooth_code(expected[-1])
    named = KIND.get(expected[0])
    return (named and _code(named)) or bone


def _code(kind: StructureKind) -> Code | None:
    concept = kind.concept
    if concept is None:
        return None
    return Code(concept.code, concept.scheme or PRIVATE, concept.meaning)


def worded(words: str) -> Code:
    """A private code for words; the same words always have the same code."""
    digest = hashlib.sha256(words.encode("utf-8")).hexdigest()[:12]
    return Code(f"w-{digest}", PRIVATE, words if len(words) <= 64 else f"{words[:61]}...")
