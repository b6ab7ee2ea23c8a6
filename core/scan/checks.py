"""Scan checks: what a header says that limits measuring, one function a question."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from core.findings import Finding
from core.scan.decode import LOSSY
from core.scan.frames import STEP_TOLERANCE, STEP_TOLERANCE_MM, Arrangement
from core.scan.header import ImageHeader
from core.scan.report import scan_date
from core.scan.stacks import Picture, Stack, patient_of
from core.scan.stored import unreadable_layout

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
    elif image.value("SOPClassUID").startswith(SECONDARY_CAPTURE) and image.bits_allocated == 8:
        code = "scan_screen_picture"
    elif not _is_ct(image):
        code, fields = "scan_not_ct", {"modality": image.value("Modality") or "unknown"}
    elif "ModalityLUTSequence" in image.text:
        code = "scan_scale_not_linear"
    else:
        code = next(filter(None, (unreadable_layout(p.image) for p in stack.pictures)), "")
        fields = {"syntax": image.syntax}
    return Finding(code, "refused", fields) if code else None


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
    found += _treated(image, stack.pictures[0].geometry.image_type)
    if image.value("BurnedInAnnotation").upper() == "YES":
        found.append(Finding("scan_burned_in", "caution"))
    if stack.left_out:
        found.append(Finding("scan_localizer_left_out", "note", {"count": stack.left_out}))
    name, birth = image.value("PatientName"), image.value("PatientBirthDate")
    if name.replace("^", " ").strip().casefold() in PLACEHOLDERS or not birth:
        found.append(Finding("scan_identity_incomplete", "caution"))
    if not image.value("FrameOfReferenceUID"):
        found.append(Finding("scan_no_frame_of_reference", "note"))
    dates = {scan_date(picture.image) for picture in stack.pictures}
    if len(dates) > 1:
        listed = ", ".join(sorted(filter(None, dates)))
        found.append(Finding("scan_two_dates_in_series", "caution", {"dates": listed}))
    return found


def _lossy(stack: Stack) -> list[Finding]:
    for picture in stack.pictures:
        image = picture.image
        said = image.value("LossyImageCompression")
        if said == "01" or (image.syntax in LOSSY and said != "00"):
            ratio = image.number("LossyImageCompressionRatio")
            about = f" (about {ratio:.0f} : 1)" if ratio else ""
            return [Finding("scan_lossy", "caution", {"ratio": about})]
    return []


def _treated(image: ImageHeader, image_type: str) -> list[Finding]:
    names = ("SeriesDescription", "DerivationDescription", "ImageComments", "ProtocolName")
    said = " | ".join([image_type.replace("\\", " "), *(image.value(name) for name in names)])
    found = [Finding(code, "caution") for code, words in _TREATED if words.search(said)]
    parts = image_type.upper().split("\\")
    if parts[0] == "DERIVED":
        secondary = len(parts) > 1 and parts[1] == "SECONDARY"
        # Many scanners write DERIVED\\PRIMARY for their only reconstruction: no alarm for that.
        grave = secondary or image.value("DerivationDescription") != ""
        found.append(Finding("scan_derived", "caution" if grave else "note"))
    return found


def geometry_findings(stack: Stack, arrangement: Arrangement) -> list[Finding]:
    """Contradictions between what the header states and what the positions measure."""
    image, geometry = stack.first, stack.pictures[0].geometry
    matrix = arrangement.mm_from_ijk[:3, :3]
    voxel = np.linalg.norm(matrix, axis=0)
    normal = np.cross(matrix[:, 0], matrix[:, 1])
    step = float(matrix[:, 2] @ normal / np.linalg.norm(normal))
    found: list[Finding] = []
    largest = max(float(voxel[0]), float(voxel[1]), step)
    if largest > LARGE_VOXEL_MM + 1e-6:
        found.append(Finding("scan_voxel_large", "caution", {"voxel_mm": f"{largest:.2f}"}))
    found += _stated_steps(image, geometry.thickness_mm, step)
    found += _tilt(image, arrangement.tilt_deg)
    made_up = [k for k, index in enumerate(arrangement.order) if index < 0]
    if made_up:
        found.append(Finding("scan_slice_made_up", "caution", {"slice": made_up[0] + 1}))
    found += _patient_position(image, stack.pictures, arrangement)
    return found


def _stated_steps(image: ImageHeader, thickness: float | None, step: float) -> list[Finding]:
    tolerance = max(STEP_TOLERANCE * step, STEP_TOLERANCE_MM)
    found: list[Finding] = []
    stated = image.number("SpacingBetweenSlices")
    if stated is not None and abs(abs(stated) - step) > tolerance:
        fields = {"stated_mm": f"{abs(stated):.3f}", "measured_mm": f"{step:.3f}"}
        found.append(Finding("scan_spacing_contradicts", "caution", fields))
    if thickness is not None and thickness > 0:
        fields = {"stated_mm": f"{thickness:.3f}", "measured_mm": f"{step:.3f}"}
        if thickness < step - tolerance:
            found.append(Finding("scan_slices_apart", "caution", fields))
        elif thickness > step + tolerance:
            found.append(Finding("scan_slices_overlap", "note", fields))
    return found


def _tilt(image: ImageHeader, tilt_deg: float) -> list[Finding]:
    stated = abs(image.number("GantryDetectorTilt") or 0.0)
    found: list[Finding] = []
    if tilt_deg > TILT_SHOWN_DEG:
        found.append(Finding("scan_tilted", "note", {"angle_deg": f"{tilt_deg:.1f}"}))
    if abs(stated - tilt_deg) > TILT_TOLERANCE_DEG and stated > TILT_TOLERANCE_DEG:
        fields = {"stated_deg": f"{stated:.1f}", "measured_deg": f"{tilt_deg:.1f}"}
        found.append(Finding("scan_tilt_contradicts", "caution", fields))
    return found


def _patient_position(
    image: ImageHeader, pictures: Sequence[Picture], arrangement: Arrangement
) -> list[Finding]:
    found: list[Finding] = []
    position = image.value("PatientPosition").upper()
    if not position:
        found.append(Finding("scan_patient_position_missing", "note"))
    elif position not in ("HFS", "HFP", "FFS", "FFP", "HFDR", "HFDL", "FFDR", "FFDL"):
        found.append(Finding("scan_patient_position_unusual", "note", {"found": position[:16]}))
    axial = pictures[0].geometry.orientation == (1.0, 0.0, 0.0, 0.0, 1.0, 0.0)
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
