"""What a header says that limits measuring, a header at a time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from headers import picture

from core.scan.checks import (
    export_findings,
    geometry_findings,
    header_findings,
    refusal,
)
from core.scan.frames import Arrangement
from core.scan.stacks import Stack

SCREEN = "1.2.840.10008.5.1.4.1.1.7"
JPEG = "1.2.840.10008.1.2.4.50"


def stack(count=4, *, text=None, image=None, left_out=0, localizer=False, **frame):
    """Slices that all say the same."""
    pictures = tuple(picture(k, text=text, image=image, **frame) for k in range(count))
    return Stack(pictures=pictures, left_out=left_out, localizer=localizer)


def with_one(**other):
    """The third of four slices says otherwise."""
    plain = stack()
    return replace(plain, pictures=(*plain.pictures[:2], picture(2, **other), plain.pictures[3]))


def codes(found):
    return {f.code: f for f in found}


class TestRefusal:
    @pytest.mark.parametrize(
        ("whole", "code"),
        [
            (stack(), None),
            (stack(localizer=True), "scan_localizer"),
            (stack(text={"SOPClassUID": SCREEN}, image={"bits_allocated": 8, "bits_stored": 8,
                                                        "high_bit": 7}), "scan_screen_picture"),
            (stack(text={"SOPClassUID": SCREEN}), None),
            (stack(text={"SOPClassUID": SCREEN, "Modality": "OT"}), "scan_not_ct"),
            (stack(text={"SOPClassUID": "", "Modality": "ct"}), None),
            (stack(text={"SOPClassUID": "", "Modality": "MR"}), "scan_not_ct"),
            (stack(text={"SOPClassUID": "1.2.840.10008.5.1.4.1.1.4", "Modality": "CT"}),
             "scan_not_ct"),
            (stack(text={"SOPClassUID": "1.2.840.10008.5.1.4.1.1.13.1.2", "Modality": "DX"}), None),
            (with_one(text={"ModalityLUTSequence": "present"}), "scan_scale_not_linear"),
            (with_one(image={"samples": 3}), "scan_colour"),
            (with_one(unreadable=("RescaleSlope",)), "scan_scale_unreadable"),
            (with_one(spacing_mm=(3.0, 3.0)), "scan_spacing_out_of_range"),
        ],
    )  # fmt: skip
    def test_each(self, whole, code):
        found = refusal(whole)
        assert getattr(found, "code", None) == code
        if found is not None:
            assert found.severity == "refused"

    def test_with_what_was_found(self):
        assert refusal(stack(text={"SOPClassUID": "1.2", "Modality": "MR"})).fields == {
            "modality": "MR"
        }
        unknown = stack(text={"SOPClassUID": "1.2", "Modality": ""})
        assert refusal(unknown).fields == {"modality": "unknown"}
        assert refusal(with_one(image={"syntax": "1.9"})).code == "scan_syntax_unknown"


class TestHeader:
    def test_a_plain_one_says_nothing(self):
        assert header_findings(stack()) == []

    @pytest.mark.parametrize(
        ("text", "code", "severity"),
        [
            ({"SOPClassUID": SCREEN}, "scan_secondary_capture", "caution"),
            ({"BurnedInAnnotation": "yes"}, "scan_burned_in", "caution"),
            ({"PatientName": "ANONYMOUS^^"}, "scan_identity_incomplete", "caution"),
            ({"PatientName": " ^ "}, "scan_identity_incomplete", "caution"),
            ({"PatientBirthDate": ""}, "scan_identity_incomplete", "caution"),
            ({"FrameOfReferenceUID": ""}, "scan_no_frame_of_reference", "note"),
            ({"SeriesDescription": "metal artefact reduced"}, "scan_metal_reduced", "caution"),
            ({"ProtocolName": "jaw MAR on"}, "scan_metal_reduced", "caution"),
            ({"ImageComments": "Stitched 2 fields"}, "scan_stitched", "caution"),
            ({"DerivationDescription": "edge-enhanced"}, "scan_sharpened", "caution"),
            ({"SeriesDescription": "MPR 1 mm"}, "scan_reformatted", "caution"),
        ],
    )
    def test_each(self, text, code, severity):
        assert codes(header_findings(stack(text=text)))[code].severity == severity

    @pytest.mark.parametrize("comment", ["12 MAR 2026", "MAR 3", "marrow", "march", "jaw mar"])
    def test_a_month_is_no_reduction_of_metal(self, comment):
        assert header_findings(stack(text={"ImageComments": comment})) == []

    def test_one_slice_is_enough(self):
        for text in ({"BurnedInAnnotation": "YES"}, {"ImageComments": "sharpened"}):
            assert len(header_findings(with_one(text=text))) == 1

    def test_overviews_that_are_left_out_are_counted(self):
        (found,) = header_findings(stack(left_out=3))
        assert (found.code, found.severity, found.fields["count"]) == (
            "scan_localizer_left_out", "note", 3,
        )  # fmt: skip

    @pytest.mark.parametrize(
        ("kind", "text", "severity"),
        [
            ("DERIVED\\PRIMARY\\AXIAL", {}, "note"),
            ("DERIVED\\SECONDARY", {}, "caution"),
            ("derived\\secondary", {}, "caution"),
            ("DERIVED\\PRIMARY\\SECONDARY", {}, "note"),
            ("DERIVED\\PRIMARY", {"DerivationDescription": "x"}, "caution"),
            ("ORIGINAL\\PRIMARY", {"DerivationDescription": "x"}, None),
        ],
    )
    def test_derived_ones(self, kind, text, severity):
        found = codes(header_findings(stack(image_type=kind, text=text)))
        assert getattr(found.get("scan_derived"), "severity", None) == severity


class TestLossy:
    @pytest.mark.parametrize(
        ("said", "syntax", "lossy"),
        [("01", None, True), ("00", None, False), ("", None, False), ("", JPEG, True),
         ("00", JPEG, False), ("01", JPEG, True)],
    )  # fmt: skip
    def test_by_what_is_said_else_by_the_syntax(self, said, syntax, lossy):
        image = {} if syntax is None else {"syntax": syntax}
        found = codes(header_findings(with_one(text={"LossyImageCompression": said}, image=image)))
        assert ("scan_lossy" in found) is lossy

    def test_with_its_ratio_where_that_is_stated(self):
        text = {"LossyImageCompression": "01", "LossyImageCompressionRatio": "15.0"}
        (found,) = header_findings(with_one(text=text))
        assert str(found.fields["ratio"]) == "about 15 : 1"
        (bare,) = header_findings(with_one(text={"LossyImageCompression": "01"}))
        assert str(bare.fields["ratio"]) != str(found.fields["ratio"])


def arrangement(*, voxel=(0.3, 0.3, 0.3), tilt_deg=0.0, order=(0, 1, 2, 3), origin=(-9.0, -8.0, 0),
                steps=None, off=0.0):  # fmt: skip
    matrix = np.diag([*voxel, 1.0])
    matrix[1, 2] = voxel[2] * np.tan(np.radians(tilt_deg))
    matrix[:3, 3] = origin
    return Arrangement(
        order=order, mm_from_ijk=matrix, tilt_deg=tilt_deg,
        steps_mm=(voxel[2], voxel[2]) if steps is None else steps, off_mm=off,
    )  # fmt: skip


def geometry(whole=None, **how):
    return codes(geometry_findings(whole or stack(), arrangement(**how)))


class TestGeometry:
    def test_what_agrees_says_nothing(self):
        assert geometry() == {}

    @pytest.mark.parametrize("axis", [0, 1, 2])
    @pytest.mark.parametrize(("size", "large"), [(0.4, False), (0.41, True)])
    def test_voxels_over_four_tenths(self, axis, size, large):
        voxel = [0.3, 0.3, 0.3]
        voxel[axis] = size
        found = geometry(stack(thickness_mm=voxel[2]), voxel=voxel)
        assert ("scan_voxel_large" in found) is large
        if large:
            assert f"{found['scan_voxel_large'].fields['voxel_mm']}" == "0.41"

    def test_of_tilted_slices_the_step_along_the_normal_counts(self):
        """0.35 along the table at 40 degrees is more than 0.4 in all."""
        assert "scan_voxel_large" not in geometry(
            stack(thickness_mm=0.35), voxel=(0.3, 0.3, 0.35), tilt_deg=40.0
        )

    @pytest.mark.parametrize(
        ("steps", "off", "severity"),
        [((0.3, 0.30009), 0.001, None), ((0.3, 0.30011), 0.001, "note"),
         ((0.29, 0.31), 0.01, "note"), ((0.29, 0.31), 0.011, "caution")],
    )  # fmt: skip
    def test_steps_that_are_not_identical(self, steps, off, severity):
        found = geometry(steps=steps, off=off).get("scan_steps_differ")
        assert getattr(found, "severity", None) == severity
        if severity:
            assert f"{found.fields['least_mm']}" == f"{steps[0]:.4f}"
            assert f"{found.fields['most_mm']}" == f"{steps[1]:.4f}"
            assert f"{found.fields['off_mm']}" == f"{off:.3f}"

    @pytest.mark.parametrize(
        ("stated", "wrong"),
        [("0.3", False), ("-0.3", False), ("0.309", False), ("0.311", True), ("0.289", True),
         ("", False), ("-0.32", True)],
    )  # fmt: skip
    def test_a_step_that_is_stated_otherwise(self, stated, wrong):
        found = geometry(with_one(text={"SpacingBetweenSlices": stated}))
        assert ("scan_spacing_contradicts" in found) is wrong
        if wrong:
            fields = found["scan_spacing_contradicts"].fields
            assert f"{fields['stated_mm']}" == f"{abs(float(stated)):.3f}"
            assert f"{fields['measured_mm']}" == "0.300"

    def test_a_hundredth_of_a_longer_step(self):
        for stated, wrong in (("2.019", False), ("2.021", True)):
            whole = stack(thickness_mm=2.0, text={"SpacingBetweenSlices": stated})
            found = geometry(whole, voxel=(0.3, 0.3, 2.0))
            assert ("scan_spacing_contradicts" in found) is wrong

    def test_a_step_along_a_tilted_table(self):
        along = 0.3 / np.cos(np.radians(20.0))
        text = {"SpacingBetweenSlices": f"{along:.6f}", "GantryDetectorTilt": "20"}
        assert "scan_spacing_contradicts" not in geometry(stack(text=text), tilt_deg=20.0)
        assert "scan_spacing_contradicts" in geometry(stack(text=text))

    @pytest.mark.parametrize(
        ("thickness", "code", "severity"),
        [(0.291, None, None), (0.289, "scan_slices_apart", "caution"), (0.309, None, None),
         (0.311, "scan_slices_overlap", "note"), (0.0, None, None), (None, None, None)],
    )  # fmt: skip
    def test_slices_thinner_or_thicker_than_their_step(self, thickness, code, severity):
        found = geometry(with_one(thickness_mm=thickness))
        assert set(found) == ({code} if code else set())
        if code:
            assert found[code].severity == severity
            assert f"{found[code].fields['stated_mm']}" == f"{thickness:.3f}"

    @pytest.mark.parametrize(("tilt", "shown"), [(0.09, False), (0.11, True)])
    def test_a_tilt_is_told(self, tilt, shown):
        assert ("scan_tilted" in geometry(tilt_deg=tilt)) is shown

    @pytest.mark.parametrize(
        ("stated", "tilt", "odd"),
        [("0.4", 0.0, False), ("0.6", 0.0, True), ("-12", 12.4, False), ("12", 12.6, True),
         ("", 12.0, False), ("0", 12.0, False)],
    )  # fmt: skip
    def test_a_tilt_that_is_stated_otherwise(self, stated, tilt, odd):
        found = geometry(with_one(text={"GantryDetectorTilt": stated}), tilt_deg=tilt)
        assert ("scan_tilt_contradicts" in found) is odd
        if odd:
            fields = found["scan_tilt_contradicts"].fields
            assert f"{fields['stated_deg']}" == f"{float(stated):.1f}"
            assert f"{fields['measured_deg']}" == f"{tilt:.1f}"

    def test_the_first_slice_that_was_made_up(self):
        found = geometry(order=(0, 1, -1, 2, -1, 3))["scan_slice_made_up"]
        assert (found.severity, found.fields["slice"]) == ("caution", 3)

    @pytest.mark.parametrize(
        ("position", "code"),
        [("HFS", None), ("ffdr", None), ("", "scan_patient_position_missing"),
         ("SITTING", "scan_patient_position_unusual")],
    )  # fmt: skip
    def test_how_the_patient_lay(self, position, code):
        found = geometry(stack(text={"PatientPosition": position}))
        assert set(found) == ({code} if code else set())

    @pytest.mark.parametrize(
        ("origin", "told"),
        [((0.0, 0.0, 5.0), True), ((0.0, -1.0, 5.0), False), ((1.0, 0.0, 0.0), False)],
    )
    def test_a_corner_at_nought_may_be_a_default(self, origin, told):
        assert ("scan_orientation_default" in geometry(origin=origin)) is told

    @pytest.mark.parametrize("turned", [0, 1])
    def test_but_not_of_slices_that_lie_otherwise(self, turned):
        whole = arrangement(origin=(0, 0, 0))
        matrix = whole.mm_from_ijk.copy()
        matrix[:, turned] *= -1.0
        found = codes(geometry_findings(stack(), replace(whole, mm_from_ijk=matrix)))
        assert "scan_orientation_default" not in found


class TestExport:
    def test_two_patients_and_two_dates(self):
        one = stack(text={"AcquisitionDate": "20260102"})
        two = stack(text={"AcquisitionDate": "20260105", "PatientID": "2"})
        assert export_findings([one, one]) == []
        found = codes(export_findings([one, two, two]))
        assert found["scan_two_patients"].fields["count"] == 2
        assert found["scan_two_dates"].fields == {"count": 2, "dates": "2026-01-02, 2026-01-05"}
        undated = stack(text={"AcquisitionDate": ""})
        assert export_findings([one, undated]) == []
