"""Scan checks: what a header says that limits measuring, one function a question."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from core.findings import Finding
from core.scan.agreement import IDENTICAL, images_of, number_refusal, part_refusal, spacing_refusal
from core.scan.decode import LOSSY
from core.scan.frames import STEP_TOLERANCE, STEP_TOLERANCE_MM, Arrangement
from core.scan.header import ImageHeader
from core.scan.pixel_encoding import unreadable_layout
from core.scan.report import scan_date
from core.scan.stacks import Stack, patient_of
from core.words.catalogue import message
from core.words.numbers import Figure

CT_CLASSES = frozenset(
    (
        "1.2.840.10008.5.1.4.1.1.2",  # CT Image
        "1.2.840.10008.5.1.4.1.1.2.1",  # Enhanced CT Image
        "1.2.840.10008.5.1.4.1.1.2.2",  # Legacy Converted Enhanced CT Image
        "1.2.840.10008.5.1.4.1.1.13.1.1",  # X-Ray 3D Angiographic Image
        "1.2.840.10008.5.1.4.1.1.13.1.2",  # X-Ray 3D Craniofacial Image
    )
)
SECONDARY_CAPTURE = "1.2.840.10008.5.1.4.1.1.7"
LARGE_VOXEL_MM = 0.4
"""Above this, details that matter beside a canal or in a thin plate are lost."""
TILT_SHOWN_DEG = 0.1
TILT_TOLERANCE_DEG = 0.5
PLACEHOLDERS = frozenset(("", "anonymous", "anonymized", "anonymised", "unknown", "none"))

# "MAR" in capitals, and not as the month of a date.
_METAL = r"metal[ _-]*(art[ie]fact|reduc|correct)|(?<!\d)\b(?-i:MAR)\b(?![ -]?\d)"
_TREATED = (
    ("scan_metal_reduced", re.compile(_METAL, re.IGNORECASE)),
    ("scan_stitched", re.compile(r"stitch|\bfused\b|mosaic|\bmerged\b", re.IGNORECASE)),
    ("scan_sharpened", re.compile(r"sharpen|edge[ _-]*enhanc|unsharp", re.IGNORECASE)),
    ("scan_reformatted", re.compile(r"\bMPR\b|reformat|resampl|interpolat", re.IGNORECASE)),
)
"""Processing that a header names in plain words; common practice, no source."""


def refusal(stack: Stack) -> Finding | None:
    """The reason why a stack is no volume to measure on, from one header; None if none."""
    image = stack.first
    code = ""
    fields: dict[str, object] = {}
    if stack.localizer:
        code = "scan_localizer"
    elif image.value("SOPClassUID").startswith(SECONDARY_CAPTURE) and any(
        i.bits_allocated == 8 for i in images_of(stack.pictures)
    ):
        code = "scan_screen_picture"
    elif not _is_ct(image):
        code, fields = "scan_not_ct", {"modality": image.value("Modality") or "unknown"}
    elif any("ModalityLUTSequence" in picture.image.text for picture in stack.pictures):
        code = "scan_scale_not_linear"
    else:
        code = next(filter(None, (unreadable_layout(i) for i in images_of(stack.pictures))), "")
        fields = {"syntax": image.syntax}
    if code:
        return Finding(code, "refused", fields)
    questions = (part_refusal, number_refusal, spacing_refusal)
    return next(filter(None, (question(stack.pictures) for question in questions)), None)


def _is_ct(image: ImageHeader) -> bool:
    sop_class, modality = image.value("SOPClassUID"), image.value("Modality").upper()
    if sop_class in CT_CLASSES:
        return True
    if sop_class.startswith(SECONDARY_CAPTURE) or not sop_class:
        return modality == "CT"
    return False


def header_findings(stack: Stack) -> list[Finding]:
    """What the header of a stack says about its making."""
    image = stack.first
    found: list[Finding] = []
    if image.value("SOPClassUID").startswith(SECONDARY_CAPTURE):
        found.append(Finding("scan_secondary_capture", "caution"))
    found += _lossy(stack)
    found += _treated(stack)
    if any(i.value("BurnedInAnnotation").upper() == "YES" for i in images_of(stack.pictures)):
        found.append(Finding("scan_burned_in", "caution"))
    if stack.left_out:
        found.append(Finding("scan_localizer_left_out", "note", {"count": stack.left_out}))
    name, birth = image.value("PatientName"), image.value("PatientBirthDate")
    if name.replace("^", " ").strip().casefold() in PLACEHOLDERS or not birth:
        found.append(Finding("scan_identity_incomplete", "caution"))
    if not image.value("FrameOfReferenceUID"):
        found.append(Finding("scan_no_frame_of_reference", "note"))
    return found


def _lossy(stack: Stack) -> list[Finding]:
    for picture in stack.pictures:
        image = picture.image
        said = image.value("LossyImageCompression")
        if said == "01" or (image.syntax in LOSSY and said != "00"):
            ratio = image.number("LossyImageCompressionRatio")
            about = message("scan.lossy.not-stated")
            if ratio:
                about = message("scan.lossy.about", ratio=ratio)
            return [Finding("scan_lossy", "caution", {"ratio": about})]
    return []


def _treated(stack: Stack) -> list[Finding]:
    names = ("SeriesDescription", "DerivationDescription", "ImageComments", "ProtocolName")
    types = {picture.geometry.image_type for picture in stack.pictures}
    texts = {tuple(i.value(name) for name in names) for i in images_of(stack.pictures)}
    words = {" ".join(kind.split("\\")) for kind in types} | {t for text in texts for t in text}
    said = " | ".join(sorted(words))
    found = [Finding(code, "caution") for code, pattern in _TREATED if pattern.search(said)]
    derived = [kind.upper().split("\\") for kind in types if kind.upper().startswith("DERIVED")]
    if derived:
        secondary = any(parts[1:2] == ["SECONDARY"] for parts in derived)
        # Many scanners write DERIVED\\PRIMARY for their only reconstruction: no alarm for that.
        grave = secondary or any(
            i.value("DerivationDescription") != "" for i in images_of(stack.pictures)
        )
        found.append(Finding("scan_derived", "caution" if grave else "note"))
    return found


def geometry_findings(stack: Stack, arrangement: Arrangement) -> list[Finding]:
    """Contradictions between what the header states and what the positions measure."""
    image = stack.first
    matrix = arrangement.mm_from_ijk[:3, :3]
    voxel = np.linalg.norm(matrix, axis=0)
    normal = np.cross(matrix[:, 0], matrix[:, 1])
    step = float(matrix[:, 2] @ normal / np.linalg.norm(normal))
    found: list[Finding] = []
    largest = max(float(voxel[0]), float(voxel[1]), step)
    if largest > LARGE_VOXEL_MM + 1e-6:
        found.append(Finding("scan_voxel_large", "caution", {"voxel_mm": Figure(f"{largest:.2f}")}))
    found += _uneven_steps(arrangement)
    found += _stated_steps(stack, step, arrangement.tilt_deg)
    found += _tilt(stack, arrangement.tilt_deg)
    made_up = [k for k, index in enumerate(arrangement.order) if index < 0]
    if made_up:
        found.append(Finding("scan_slice_made_up", "caution", {"slice": made_up[0] + 1}))
    found += _patient_position(image, arrangement)
    return found


def _uneven_steps(arrangement: Arrangement) -> list[Finding]:
    """Steps between slices that are not identical: rounding is a note, more of it a caution."""
    least, most = arrangement.steps_mm
    if most - least <= IDENTICAL:
        return []
    fields = {
        "least_mm": Figure(f"{least:.4f}"),
        "most_mm": Figure(f"{most:.4f}"),
        "off_mm": Figure(f"{arrangement.off_mm:.3f}"),
    }
    rounding = arrangement.off_mm <= STEP_TOLERANCE_MM
    return [Finding("scan_steps_differ", "note" if rounding else "caution", fields)]


def _stated_steps(stack: Stack, step: float, tilt_deg: float) -> list[Finding]:
    tolerance = max(STEP_TOLERANCE * step, STEP_TOLERANCE_MM)
    # Of tilted slices some state the step along their normal, others the table's.
    steps = (step, step / float(np.cos(np.radians(tilt_deg))))
    found: list[Finding] = []
    stated = {image.number("SpacingBetweenSlices") for image in images_of(stack.pictures)}
    wrong = [
        abs(value)
        for value in stated
        if value is not None and min(abs(abs(value) - own) for own in steps) > tolerance
    ]
    if wrong:
        fields = {"stated_mm": Figure(f"{max(wrong):.3f}"), "measured_mm": Figure(f"{step:.3f}")}
        found.append(Finding("scan_spacing_contradicts", "caution", fields))
    given = {picture.geometry.thickness_mm for picture in stack.pictures}
    thicknesses = [value for value in given if value is not None and value > 0]
    if thicknesses and min(thicknesses) < step - tolerance:
        fields = {
            "stated_mm": Figure(f"{min(thicknesses):.3f}"),
            "measured_mm": Figure(f"{step:.3f}"),
        }
        found.append(Finding("scan_slices_apart", "caution", fields))
    elif thicknesses and max(thicknesses) > step + tolerance:
        fields = {
            "stated_mm": Figure(f"{max(thicknesses):.3f}"),
            "measured_mm": Figure(f"{step:.3f}"),
        }
        found.append(Finding("scan_slices_overlap", "note", fields))
    return found


def _tilt(stack: Stack, tilt_deg: float) -> list[Finding]:
    given = {image.number("GantryDetectorTilt") for image in images_of(stack.pictures)}
    odd = [
        abs(value)
        for value in given
        if value is not None
        and abs(value) > TILT_TOLERANCE_DEG
        and abs(abs(value) - tilt_deg) > TILT_TOLERANCE_DEG
    ]
    found: list[Finding] = []
    if tilt_deg > TILT_SHOWN_DEG:
        found.append(Finding("scan_tilted", "note", {"angle_deg": Figure(f"{tilt_deg:.1f}")}))
    if odd:
        fields = {
            "stated_deg": Figure(f"{max(odd):.1f}"),
            "measured_deg": Figure(f"{tilt_deg:.1f}"),
        }
        found.append(Finding("scan_tilt_contradicts", "caution", fields))
    return found


def _patient_position(image: ImageHeader, arrangement: Arrangement) -> list[Finding]:
    found: list[Finding] = []
    position = image.value("PatientPosition").upper()
    if not position:
        found.append(Finding("scan_patient_position_missing", "note"))
    elif position not in ("HFS", "HFP", "FFS", "FFP", "HFDR", "HFDL", "FFDR", "FFDL"):
        found.append(Finding("scan_patient_position_unusual", "note", {"found": position[:16]}))
    right, down = arrangement.mm_from_ijk[:3, :2].T
    axial = not right[1:].any() and not down[[0, 2]].any() and right[0] > 0 and down[1] > 0
    corner = arrangement.mm_from_ijk[:2, 3]
    if axial and not corner.any():
        found.append(Finding("scan_orientation_default", "caution"))
    return found


def export_findings(stacks: Sequence[Stack]) -> list[Finding]:
    """Two patients or two dates in one export."""
    found: list[Finding] = []
    patients = {patient_of(stack.first) for stack in stacks}
    if len(patients) > 1:
        found.append(Finding("scan_two_patients", "caution", {"count": len(patients)}))
    dates = {scan_date(stack.first) for stack in stacks} - {""}
    if len(dates) > 1:
        fields = {"count": len(dates), "dates": ", ".join(sorted(dates))}
        found.append(Finding("scan_two_dates", "caution", fields))
    return found
