"""Coded concepts of the structured report: published codes where one exists, else the program's.

Sources: DICOM PS3.16 annex D (DCM); SNOMED CT codes of teeth as listed, tooth by tooth with its
ISO 3950 number, in the crosswalk of the HL7 implementation guide *Dental Data Exchange*
(appendix D1). What has no published code that could be checked carries the private designator
99SOUNDING (PS3.16 section 8: private coding schemes begin with 99). Its codes are written out
once, in `OWN` or in the row of their kind, and never change their meaning; words for people stand
beside them as text.
"""

from __future__ import annotations

from pydicom.sr.coding import Code

from core.identity import Tooth, inner_side
from core.kinds import KINDS, Concept, StructureKind, declared_kind
from core.measurement import Measurement
from core.measurement_kinds import ROWS, MeasurementKind
from core.structures import Structure, Tapered, kind_of

PRIVATE = "99SOUNDING"
VERSION = "2"
"""Of the private scheme; raised when a code is added, together with the sum beside it in the test
of this module."""

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
LENGTH = Code("410668003", "SCT", "Length")
DIAMETER = Code("81827009", "SCT", "Diameter")
COMMENT = Code("121106", "DCM", "Comment")
MILLIMETER = Code("mm", "UCUM", "millimeter")

OWN: dict[str, tuple[str, str]] = {
    "planned-fixture": (
        "Planned dental implant fixture",
        "Finding type of a group: an implant of a generic size, planned and not placed.",
    ),
    "planned-site": (
        "Site measured for a dental implant",
        "Finding type of a group: a place along the arch at which the ridge was measured.",
    ),
    "not-assessed": (
        "Not assessed",
        "Name of an evaluation whose value is the quantity that could not be measured.",
    ),
    "upper-bound": (
        "Upper bound only",
        (
            "Name of an evaluation whose value is a quantity of which only an upper bound is "
            "known: the truth can be smaller, so it is no measured value."
        ),
    ),
    "at-most": ("At most", "The figure of an upper bound."),
    "value-kind": ("Kind of value", "Whether a number was measured or is a least value."),
    "measured": ("Measured", "Kind of value: edge, mark or surface was found at its end."),
    "least-value": (
        "Least value",
        "Kind of value: bone was seen up to there, and the truth can only be larger.",
    ),
    "at-least": (
        "At least, one-sided 95 %",
        "Value less 1.645 standard uncertainties (JCGM 106:2012).",
    ),
    "coverage-factor": (
        "Coverage factor",
        "Factor k from standard to expanded uncertainty (JCGM 100:2008).",
    ),
    "limit": ("Least allowed value", "What the value is held against; no verdict is coded."),
    "limit-source": ("Source of the limit", "Author, journal and year, or common practice."),
    "crest-depth": (
        "Depth below the crest",
        "Where a width or thickness was measured, along the direction used.",
    ),
    "apex-width": ("Diameter at the apex", "Of the planned fixture."),
    "platform-width": ("Diameter of the platform", "Of the planned fixture."),
    "buccal": ("Buccal", "Towards the cheek."),
    "lingual": ("Lingual", "Towards the tongue."),
    "palatal": ("Palatal", "Towards the palate."),
    "apical": ("Apical", "Beyond the apex."),
    "m-space": (
        "Shortest distance in space",
        "Exact geometry between the fixture, apex included, and the outside of the structure.",
    ),
    "m-edge": (
        "Between edges found in the image",
        "Half-way between the grey levels of this scan's own tissues, or a blurred plate fitted.",
    ),
    "m-marks": ("Between marks set by hand", "Straight distance or angle."),
}
"""Code of the private scheme → (meaning, definition)."""


def own(code: str) -> Code:
    """A concept of the private scheme; only those of `OWN` exist."""
    return Code(code, PRIVATE, OWN[code][0])


FIXTURE, SITE = own("planned-fixture"), own("planned-site")
NOT_ASSESSED, UPPER_BOUND = own("not-assessed"), own("upper-bound")

_SIDES = ("buccal", "lingual", "apical")


def name_of(kind: MeasurementKind) -> Code:
    """What a measurement measures: a kind of the ledger's rows."""
    return _coded(kind.row.concept)


def method_of(kind: MeasurementKind) -> Code:
    """How a kind of the ledger's rows is measured."""
    return own(kind.row.method)


def side_of(measurement: Measurement, jaw: str) -> Code | None:
    """Side of a row, where its kind has one of ours; the inner side is called by the jaw."""
    side = measurement.details.side
    if side not in _SIDES:
        return None
    return own(inner_side(jaw) if side == "lingual" else side)


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
    """What a measurement goes to: a tooth, a cavity, the jaw's bone, or a private concept.

    Parameters
    ----------
    measurement : Measurement
    structures : dict of str to Structure
        By id.
    jaw : {'lower', 'upper'}
    """
    bone = MAXILLA if jaw == "upper" else MANDIBLE
    structure = structures.get(measurement.target)
    if structure is not None:
        kind = kind_of(structure)
        tooth = structure.tooth if isinstance(structure, Tapered) else ""
        if kind.of_neighbours and tooth in TEETH:
            return tooth_code(tooth)
        if (code := _code(kind)) is not None:
            return code
    expected = declared_kind(measurement.target)
    if expected is None:
        return bone
    tooth = measurement.target.rsplit("-", 1)[-1]
    if expected.of_neighbours and tooth in TEETH:
        return tooth_code(tooth)
    return _code(expected) or bone


def scheme() -> dict[str, tuple[str, str]]:
    """Every code of the private scheme: those of `OWN`, and those of the kinds of both tables."""
    kinds = [kind.concept for kind in KINDS if kind.concept is not None]
    kinds += [row.concept for row in ROWS.values()]
    return OWN | {c.code: (c.meaning, c.definition or "As marked.") for c in kinds if not c.scheme}


def _code(kind: StructureKind) -> Code | None:
    return None if kind.concept is None else _coded(kind.concept)


def _coded(concept: Concept) -> Code:
    return Code(concept.code, concept.scheme or PRIVATE, concept.meaning)
