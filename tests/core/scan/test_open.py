from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile

import make_dicom as make
import numpy as np
import pydicom
import pytest
from pydicom.dataset import Dataset, FileMetaDataset

from core.errors import ScanError
from core.scan import inspect, open_scan, preview
from core.words import sentence

UPRIGHT = (1, 0, 0, 0, 0, -1)
SIDEWAYS = (0, 1, 0, 0, 0, -1)


def codes(report_or_volume):
    return {finding.code for finding in report_or_volume.findings}


def only(path, **options):
    (report,) = inspect(path, **options)
    return report


def refused(path, **options):
    """The code of the refusal, said alike by both doors."""
    with pytest.raises(ScanError) as caught:
        open_scan(path, **options)
    assert str(caught.value)
    report = inspect(path, **options)[0]
    assert not report.usable
    severe = [f for f in report.findings if f.severity == "refused"]
    assert [f.code for f in severe] == [caught.value.code]
    return caught.value.code


def changed(**attributes):
    def change(k, ds):
        for name, value in attributes.items():
            if value is None:
                delattr(ds, name)
            else:
                setattr(ds, name, value)

    return change


def test_a_plain_series_opens_with_its_identity_and_no_finding(tmp_path):
    volume = open_scan(make.write_series(tmp_path))
    assert codes(volume) == set()
    identity = volume.identity
    assert (identity.patient_name, identity.patient_id) == ("Sample^Sam", "P1")
    assert (identity.birth_date, identity.study_date) == ("1970-01-02", "2024-03-05")
    assert identity.series_uid == make.SERIES
    assert identity.study_uid == make.STUDY
    assert identity.frame_of_reference_uid == make.FRAME
    for name in ("StudyID", "AccessionNumber", "ReferringPhysicianName", "StudyTime"):
        assert identity.header[name]
    assert [uid for _, uid in identity.sop_instances] == [f"{make.SERIES}.{k}" for k in range(1, 7)]


def test_the_report_is_what_the_command_line_prints(tmp_path):
    entry = only(make.write_series(tmp_path)).to_json()
    assert entry["uid"] == make.SERIES
    assert (entry["stack"], entry["modality"], entry["description"]) == (0, "CT", "Lower jaw")
    assert entry["shape"] == [6, 20, 24]
    assert entry["voxel_mm"] == [0.25, 0.3, 0.4]
    assert entry["usable"] is True
    assert entry["findings"] == []


@pytest.mark.parametrize("orientation", [make.AXIAL, UPRIGHT, SIDEWAYS, (-1, 0, 0, 0, -1, 0)])
@pytest.mark.parametrize("turned", [False, True], ids=["forward", "reversed"])
def test_a_voxel_lies_where_its_slice_says(tmp_path, orientation, turned):
    values = make.voxels()
    slices = make.series(values, orientation=orientation, step=-0.4 if turned else 0.4)
    volume = open_scan(make.write_series(tmp_path, slices))
    for ds, plane in zip(slices, values, strict=True):
        # C.7.6.2.1-1 for pixel (column 5, row 7), from the slice's own header.
        row, col = np.array(orientation[:3]), np.array(orientation[3:])
        point = np.array(ds.ImagePositionPatient, float) + row * 0.25 * 5 + col * 0.3 * 7
        i, j, k = volume.ijk(point)[0]
        assert (i, j) == pytest.approx((5, 7))
        assert k == pytest.approx(round(k))
        assert volume.voxels[round(k), 7, 5] == plane[7, 5]
    assert np.linalg.det(volume.mm_from_ijk[:3, :3]) > 0


def test_gantry_tilt_is_an_exact_shear(tmp_path):
    step = (0.0, 0.4 * np.tan(np.radians(15)), 0.4)
    slices = make.series(step=step)
    volume = open_scan(make.write_series(tmp_path, slices, change=changed(GantryDetectorTilt=15)))
    np.testing.assert_allclose(volume.mm_from_ijk[:3, 2], step, atol=1e-7)
    assert codes(volume) == {"scan_tilted"}


def test_a_step_stated_along_a_tilted_table_contradicts_nothing(tmp_path):
    # 2.5 mm along a table under a gantry tilted by 16.5 degrees are 2.397 mm along the normal.
    step = 2.5 * np.array([0.0, np.sin(np.radians(16.5)), np.cos(np.radians(16.5))])
    slices = make.series(step=step)
    stated = changed(SpacingBetweenSlices=2.5, GantryDetectorTilt=16.5)
    found = codes(open_scan(make.write_series(tmp_path / "a", slices, change=stated)))
    assert "scan_spacing_contradicts" not in found
    wrong = changed(SpacingBetweenSlices=2.6)
    found = codes(
        open_scan(make.write_series(tmp_path / "b", make.series(step=step), change=wrong))
    )
    assert "scan_spacing_contradicts" in found


def test_the_first_file_does_not_speak_for_all(tmp_path):
    def change(k, ds):
        if k == 0:
            ds.PixelSpacing = [0.3004, 0.2504]
            ds.ImageOrientationPatient = ["1", "0.0005", "0", "-0.0005", "1", "0"]

    volume = open_scan(make.write_series(tmp_path, change=change, names=lambda k: f"I{k}"))
    assert codes(volume) == {"scan_directions_differ", "scan_pixel_sizes_differ"}
    np.testing.assert_allclose(volume.voxel_mm, [0.25, 0.3, 0.4], atol=1e-9)
    np.testing.assert_allclose(volume.mm_from_ijk[:3, 0], [0.25, 0, 0], atol=1e-9)


@pytest.mark.parametrize(
    ("off_mm", "severity"), [(0.00004, None), (0.0002, "note"), (0.009, "note"), (0.012, "caution")]
)
def test_steps_that_are_not_identical_are_told(tmp_path, off_mm, severity):
    def change(k, ds):
        if k == 3:
            x, y, z = map(float, ds.ImagePositionPatient)
            ds.ImagePositionPatient = [x, y, f"{z + off_mm:.6f}"]

    volume = open_scan(make.write_series(tmp_path, make.series(step=1.6), change=change))
    found = [f for f in volume.findings if f.code == "scan_steps_differ"]
    assert [f.severity for f in found] == ([] if severity is None else [severity])
    if found:
        assert found[0].fields["off_mm"] == f"{off_mm:.3f}"
    np.testing.assert_allclose(volume.mm_from_ijk[:3, 2], [0, 0, 1.6], atol=1e-7)


def test_a_tilt_that_one_slice_states_is_held_against_the_places(tmp_path):
    def change(k, ds):
        ds.GantryDetectorTilt = 12 if k == 3 else 0

    assert "scan_tilt_contradicts" in codes(open_scan(make.write_series(tmp_path, change=change)))


def test_another_patient_position_in_one_slice_is_told(tmp_path):
    def change(k, ds):
        if k == 3:
            ds.PatientPosition = "FFP"

    volume = open_scan(make.write_series(tmp_path, change=change))
    (found,) = (f for f in volume.findings if f.code == "scan_mixed")
    assert found.fields == {"names": "PatientPosition"}


@pytest.mark.parametrize(
    "name", ["InstanceNumber", "SliceThickness", "SpacingBetweenSlices", "SliceLocation"]
)
def test_a_number_that_only_some_slices_state_is_told(tmp_path, name):
    def change(k, ds):
        ds.SliceThickness = ds.SpacingBetweenSlices = 0.4
        ds.SliceLocation = f"{0.4 * k:.1f}"
        if k == 3:
            delattr(ds, name)

    volume = open_scan(make.write_series(tmp_path, change=change))
    (found,) = (f for f in volume.findings if f.code == "scan_number_absent")
    assert found.fields == {"names": name}


def test_a_folder_like_a_real_disc(tmp_path):
    make.write_series(tmp_path / "DATA" / "S1", names=lambda k: f"I{k}0")
    (tmp_path / "AUTORUN.INF").write_bytes(b"[autorun]\r\nopen=VIEW.EXE\r\n")
    (tmp_path / "VIEW.EXE").write_bytes(b"MZ\x90\x00" + bytes(3000))
    (tmp_path / "help").mkdir()
    (tmp_path / "help" / "page.html").write_text("<html></html>")
    (tmp_path / "DATA" / "empty").write_bytes(b"")
    volume = open_scan(tmp_path)
    np.testing.assert_array_equal(volume.voxels, make.voxels())
    (finding,) = volume.findings
    assert (finding.code, finding.fields["count"]) == ("scan_files_ignored", 4)


def test_a_zip_reads_like_its_folder(tmp_path):
    make.write_series(tmp_path / "disc", syntax=make.JPEGLSLossless)
    path = shutil.make_archive(str(tmp_path / "export"), "zip", tmp_path / "disc")
    volume = open_scan(path)
    np.testing.assert_array_equal(volume.voxels, make.voxels())
    assert open_scan(tmp_path / "disc").fingerprint() == volume.fingerprint()


@pytest.mark.parametrize("syntax", [make.ExplicitVRLittleEndian, make.JPEGLSLossless])
def test_a_damaged_member_of_a_zip_costs_its_slice(tmp_path, syntax):
    make.write_series(tmp_path / "disc", syntax=syntax, names=lambda k: f"I{k}")
    path = tmp_path / "export.zip"
    with zipfile.ZipFile(path, "w") as archive:
        for file in sorted((tmp_path / "disc").iterdir()):
            archive.write(file, file.name)
    data = bytearray(path.read_bytes())
    end = data.index((tmp_path / "disc" / "I2").read_bytes()[-60:])
    data[end + 20] ^= 0xFF  # the checksum no longer fits
    path.write_bytes(data)
    assert list(np.flatnonzero(open_scan(path).made_up)) == [2]


def test_files_without_preamble_are_read(tmp_path):
    make.write_series(tmp_path, syntax=make.ImplicitVRLittleEndian)
    for path in tmp_path.iterdir():
        data = path.read_bytes()
        start = 132 + 12 + int.from_bytes(data[140:144], "little")
        path.write_bytes(data[start:])
    np.testing.assert_array_equal(open_scan(tmp_path).voxels, make.voxels())


def test_a_directory_file_is_a_hint_only(tmp_path):
    make.write_series(tmp_path / "IMAGES", names=lambda k: f"i{k}")
    directory = Dataset()
    directory.SOPClassUID = "1.2.840.10008.1.3.10"
    directory.SOPInstanceUID = make.ROOT + "9"
    records = []
    for name in ("I0", "I1", "GONE"):
        record = Dataset()
        record.ReferencedFileID = ["IMAGES", name]
        records.append(record)
    directory.DirectoryRecordSequence = records
    directory.file_meta = FileMetaDataset()
    make.write(directory, tmp_path / "DICOMDIR")
    volume = open_scan(tmp_path / "DICOMDIR")
    assert volume.shape == (6, 20, 24)
    (finding,) = volume.findings
    assert (finding.code, finding.fields["count"]) == ("scan_directory_lists_more", 1)


def test_directory_files_further_down_count_from_the_discs_root(tmp_path):
    make.write_series(tmp_path / "DISC" / "IMAGES", names=lambda k: f"I{k}")
    directory = Dataset()
    directory.SOPClassUID = "1.2.840.10008.1.3.10"
    directory.SOPInstanceUID = make.ROOT + "9"
    record = Dataset()
    record.ReferencedFileID = ["IMAGES", "I3"]
    directory.DirectoryRecordSequence = [record]
    make.write(directory, tmp_path / "DISC" / "IMAGES" / "DIRFILE")
    assert codes(open_scan(tmp_path)) == set()


def test_a_localizer_with_the_same_uid_is_no_part_of_the_stack(tmp_path):
    make.write_series(tmp_path)
    overview = make.dataset(make.voxels()[0], k=90, position=(0, -40, 50), orientation=SIDEWAYS)
    overview.ImageType = ["ORIGINAL", "PRIMARY", "LOCALIZER"]
    make.write(overview, tmp_path / "scout")
    report = only(tmp_path)
    assert report.usable
    assert report.shape == (6, 20, 24)
    assert codes(report) == {"scan_localizer_left_out"}
    alone = tmp_path / "alone"
    make.write(overview, alone / "scout")
    assert refused(alone) == "scan_localizer"


def test_stacks_of_one_uid_are_numbered_and_chosen_by_number(tmp_path):
    make.write_series(tmp_path / "a")
    second = make.series(make.voxels((4, 20, 24)), orientation=UPRIGHT)
    make.write_series(tmp_path / "b", second)
    first, other = inspect(tmp_path)
    assert [(r.key, r.shape[0]) for r in (first, other)] == [
        (f"{make.SERIES}:0", 6),
        (f"{make.SERIES}:1", 4),
    ]
    with pytest.raises(ScanError) as caught:
        open_scan(tmp_path)
    assert caught.value.code == "scan_several_series"
    assert caught.value.fields["series"] == (first.key, other.key)
    assert open_scan(tmp_path, other.key).shape == (4, 20, 24)
    with pytest.raises(ScanError) as caught:
        open_scan(tmp_path, make.SERIES)
    assert caught.value.code == "scan_several_series"
    with pytest.raises(ScanError) as caught:
        open_scan(tmp_path, "1.2.3")
    assert caught.value.code == "scan_series_not_found"


def test_two_reconstructions_under_one_uid_are_told_apart(tmp_path):
    make.write_series(tmp_path / "a", change=changed(ConvolutionKernel="soft"))
    sharp = make.series(make.voxels() // 2)
    make.write_series(tmp_path / "b", sharp, change=changed(ConvolutionKernel="hard"))
    assert [(r.usable, r.stack) for r in inspect(tmp_path)] == [(True, 0), (True, 1)]


def test_pictures_that_do_not_fit_their_series_are_said(tmp_path):
    def change(k, ds):
        if k == 5:
            ds.PixelSpacing = [0.31, 0.25]

    make.write_series(tmp_path, change=change)
    volume = open_scan(tmp_path)
    assert volume.shape[0] == 5
    (finding,) = volume.findings
    assert (finding.code, finding.fields["count"]) == ("scan_pictures_left_out", 1)


def test_too_few_slices_left_are_refused(tmp_path):
    make.write_series(tmp_path, make.series(make.voxels((3, 20, 24))), names=lambda k: f"I{k}")
    for k in (0, 2):
        path = tmp_path / f"I{k}"
        path.write_bytes(path.read_bytes()[:-100])
    assert refused(tmp_path) == "scan_truncated"


def test_copies_are_dropped_with_a_finding(tmp_path):
    make.write_series(tmp_path / "a")
    shutil.copytree(tmp_path / "a", tmp_path / "copy")
    volume = open_scan(tmp_path)
    np.testing.assert_array_equal(volume.voxels, make.voxels())
    (finding,) = volume.findings
    assert (finding.code, finding.fields["count"]) == ("scan_copies_dropped", 6)


def test_copies_in_another_transfer_syntax_are_copies_where_their_values_are_the_same(tmp_path):
    make.write_series(tmp_path / "a")
    make.write_series(tmp_path / "packed", syntax=make.JPEGLSLossless)
    volume = open_scan(tmp_path)
    np.testing.assert_array_equal(volume.voxels, make.voxels())
    (finding,) = [f for f in volume.findings if f.code == "scan_copies_dropped"]
    assert finding.fields["count"] == 6
    other = make.voxels()
    other[3, 5, 7] += 1
    make.write_series(tmp_path / "packed", make.series(other), syntax=make.JPEGLSLossless)
    with pytest.raises(ScanError) as told:
        open_scan(tmp_path)
    assert (told.value.code, told.value.fields["count"]) == ("scan_conflicting_slices", 1)


def test_copies_of_a_multi_frame_object_are_dropped(tmp_path):
    make.write(make.multi_frame(make.voxels()), tmp_path / "one")
    shutil.copy(tmp_path / "one", tmp_path / "two")
    volume = open_scan(tmp_path)
    np.testing.assert_array_equal(volume.voxels, make.voxels())
    assert codes(volume) == {"scan_copies_dropped"}


def test_parts_of_a_concatenation_are_one_volume(tmp_path):
    values = make.voxels((8, 20, 24))
    for part, start in enumerate((0, 4)):
        origin = (-30, -40, 50 + 0.4 * start)
        ds = make.multi_frame(values[start : start + 4], origin=origin)
        ds.SOPInstanceUID = f"{make.ROOT}5.{part + 1}"
        ds.ConcatenationUID = make.ROOT + "6"
        make.write(ds, tmp_path / f"part{part}")
    volume = open_scan(tmp_path)
    np.testing.assert_array_equal(volume.voxels, values)
    assert codes(volume) == set()
    assert len(volume.identity.sop_instances) == 2


@pytest.mark.parametrize(
    ("parts", "total", "offsets", "whole"),
    [
        ((1, 2), 2, (0, 4), True),
        ((1, 2), None, (0, 4), True),
        ((1, 2), 2, (None, 4), True),
        ((1, 2), 2, (0, 3), False),
        ((1, 2), 2, (1, 4), False),
        ((1, 2), 3, (0, 4), False),
        ((1, 3), None, (0, 4), False),
        ((2, 3), 2, (0, 4), False),
    ],
)
def test_parts_that_say_which_they_are_follow_one_another(tmp_path, parts, total, offsets, whole):
    """Number, total and offset of the first frame (PS3.3 C.7.6.16.2.2.4)."""
    values = make.voxels((8, 20, 24))
    for k, (part, offset) in enumerate(zip(parts, offsets, strict=True)):
        origin = (-30, -40, 50 + 0.4 * 4 * k)
        ds = make.multi_frame(values[4 * k : 4 * k + 4], origin=origin)
        ds.SOPInstanceUID = f"{make.ROOT}5.{k + 1}"
        ds.ConcatenationUID = make.ROOT + "6"
        ds.InConcatenationNumber = part
        if total is not None:
            ds.InConcatenationTotalNumber = total
        if offset is not None:
            ds.ConcatenationFrameOffsetNumber = offset
        make.write(ds, tmp_path / f"part{k}")
    if whole:
        np.testing.assert_array_equal(open_scan(tmp_path).voxels, values)
    else:
        assert refused(tmp_path) == "scan_part_missing"


def test_different_slices_at_one_place_are_never_chosen_between(tmp_path):
    make.write_series(tmp_path / "a")
    make.write_series(tmp_path / "b", make.series(make.voxels() + 1))
    assert refused(tmp_path) == "scan_conflicting_slices"


@pytest.mark.parametrize(
    ("attributes", "finding"),
    [
        ({"PatientID": "P2"}, "scan_two_patients"),
        ({"PatientName": "Other^Olga"}, "scan_two_patients"),
        ({"StudyDate": "20200101", "AcquisitionDate": "20200101"}, "scan_two_dates"),
    ],
)
def test_two_patients_or_dates_in_one_folder_are_said(tmp_path, attributes, finding):
    make.write_series(tmp_path / "a")
    other = changed(SeriesInstanceUID=make.ROOT + "8", **attributes)
    make.write_series(tmp_path / "b", change=other)
    assert all(finding in codes(report) for report in inspect(tmp_path))
    with pytest.raises(ScanError, match="several series"):
        open_scan(tmp_path)
    assert finding in codes(open_scan(tmp_path, make.SERIES))


def test_two_patients_under_one_series_uid_are_two_stacks(tmp_path):
    make.write_series(
        tmp_path, change=lambda k, ds: setattr(ds, "PatientID", "P2") if k > 2 else None
    )
    assert [report.shape[0] for report in inspect(tmp_path)] == [3, 3]


@pytest.mark.parametrize(
    ("attributes", "code"),
    [
        ({"SOPClassUID": pydicom.uid.MRImageStorage, "Modality": "MR"}, "scan_not_ct"),
        ({"ImagePositionPatient": None}, "scan_no_position"),
        ({"ImagePositionPatient": ["0", "0", "1e400"]}, "scan_no_position"),
        ({"ImagePositionPatient": ["1e300", "0", "0"]}, "scan_no_position"),
        ({"PixelSpacing": None}, "scan_no_spacing"),
        ({"PixelSpacing": [0, 0]}, "scan_no_spacing"),
        ({"ImageOrientationPatient": None}, "scan_no_orientation"),
        ({"ImageOrientationPatient": [0, 0, 0, 0, 0, 0]}, "scan_orientation_broken"),
    ],
)
@pytest.mark.filterwarnings("ignore")
def test_what_cannot_be_measured_on_is_refused(tmp_path, attributes, code):
    make.write_series(tmp_path, change=changed(**attributes))
    assert refused(tmp_path) == code


def test_one_slice_of_a_folder_asks_for_the_folder(tmp_path):
    make.write_series(tmp_path, names=lambda k: f"I{k}")
    assert refused(tmp_path / "I2") == "scan_one_slice"
    assert "folder" in sentence("scan_one_slice")


def test_one_copy_of_a_screen_among_others_refuses_them(tmp_path):
    slices = make.series()
    values = (make.voxels() & 0xFF).astype(np.uint8)
    slices[3] = make.series(values)[3]
    make.write_series(tmp_path, slices, change=changed(SOPClassUID="1.2.840.10008.5.1.4.1.1.7"))
    assert refused(tmp_path) == "scan_screen_picture"


def test_without_positions_too_no_file_speaks_for_the_others(tmp_path):
    def change(k, ds):
        del ds.ImagePositionPatient
        if k == 0:
            ds.PixelSpacing = [0.3004, 0.2504]
            ds.ImageOrientationPatient = ["1", "0.0005", "0", "-0.0005", "1", "0"]

    make.write_series(tmp_path, change=change, names=lambda k: f"I{k}")
    volume = open_scan(tmp_path, spacing_mm=(0.25, 0.3, 0.5))
    np.testing.assert_allclose(volume.mm_from_ijk[:3, :3], np.diag([0.25, 0.3, 0.5]), atol=1e-9)


def test_copies_of_a_screen_are_refused(tmp_path):
    values = (make.voxels() & 0xFF).astype(np.uint8)
    make.write_series(
        tmp_path, make.series(values), change=changed(SOPClassUID="1.2.840.10008.5.1.4.1.1.7")
    )
    assert refused(tmp_path) == "scan_screen_picture"


def test_missing_slices(tmp_path):
    make.write_series(tmp_path, make.series(make.voxels((9, 20, 24))), names=lambda k: f"I{k}")
    (tmp_path / "I4").unlink()
    volume = open_scan(tmp_path)
    assert list(np.flatnonzero(volume.made_up)) == [4]
    assert volume.shape == (9, 20, 24)
    assert codes(volume) == {"scan_slice_made_up"}
    between = np.rint((volume.voxels[3].astype(float) + volume.voxels[5]) / 2)
    np.testing.assert_array_equal(volume.voxels[4], between)
    (tmp_path / "I6").unlink()
    assert refused(tmp_path) == "scan_slices_missing"


def test_uneven_slices_are_refused(tmp_path):
    slices = make.series(make.voxels((9, 20, 24)))
    slices[5].ImagePositionPatient = [-30, -40, 50 + 5 * 0.4 + 0.1]
    assert refused(make.write_series(tmp_path, slices)) == "scan_slices_uneven"


def test_truncated_files(tmp_path):
    make.write_series(tmp_path, names=lambda k: f"I{k}")
    for count, k in enumerate((1, 3, 4), start=1):
        path = tmp_path / f"I{k}"
        path.write_bytes(path.read_bytes()[:-100])
        if count < 3:
            assert "scan_slices_truncated" in codes(only(tmp_path))
            volume = open_scan(tmp_path)
            assert codes(volume) == {"scan_slices_lost"}
            assert int(volume.made_up.sum()) == count
    assert refused(tmp_path) == "scan_truncated"


def test_files_cut_off_in_their_header_are_counted(tmp_path):
    make.write_series(tmp_path, make.series(make.voxels((9, 20, 24))), names=lambda k: f"I{k}")
    path = tmp_path / "I8"
    path.write_bytes(path.read_bytes()[:700])
    volume = open_scan(tmp_path)
    assert volume.shape[0] == 8
    (finding,) = volume.findings
    assert (finding.code, finding.fields["count"]) == ("scan_files_damaged", 1)
    for k in (4, 5, 6, 7):
        path = tmp_path / f"I{k}"
        path.write_bytes(path.read_bytes()[:700])
    (finding,) = open_scan(tmp_path).findings
    assert (finding.fields["count"], finding.fields["names"]) == (5, "I4, I5, I6")


@pytest.mark.parametrize(
    ("attributes", "finding"),
    [
        ({"LossyImageCompression": "01"}, "scan_lossy"),
        ({"PixelSpacing": [0.45, 0.45]}, "scan_voxel_large"),
        ({"ImageType": ["DERIVED", "SECONDARY", "AXIAL"]}, "scan_derived"),
        ({"ImageType": ["DERIVED", "SECONDARY", "MPR"]}, "scan_reformatted"),
        ({"SeriesDescription": "jaw, stitched"}, "scan_stitched"),
        ({"DerivationDescription": "edge enhancement"}, "scan_sharpened"),
        ({"ImageComments": "metal artefact reduction on"}, "scan_metal_reduced"),
        ({"SeriesDescription": "jaw 0.2 MAR"}, "scan_metal_reduced"),
        ({"SpacingBetweenSlices": 0.5}, "scan_spacing_contradicts"),
        ({"SliceThickness": 0.3}, "scan_slices_apart"),
        ({"SliceThickness": 1.0}, "scan_slices_overlap"),
        ({"GantryDetectorTilt": 12}, "scan_tilt_contradicts"),
        ({"PatientPosition": None}, "scan_patient_position_missing"),
        ({"PatientPosition": "SITTING"}, "scan_patient_position_unusual"),
        ({"BurnedInAnnotation": "YES"}, "scan_burned_in"),
        ({"PatientBirthDate": ""}, "scan_identity_incomplete"),
        ({"PatientName": "Anonymous"}, "scan_identity_incomplete"),
        ({"FrameOfReferenceUID": None}, "scan_no_frame_of_reference"),
        ({"SOPClassUID": "1.2.840.10008.5.1.4.1.1.7"}, "scan_secondary_capture"),
    ],
)
def test_what_limits_measuring_is_said(tmp_path, attributes, finding):
    make.write_series(tmp_path, change=changed(**attributes))
    report = only(tmp_path)
    assert report.usable
    assert finding in codes(report)
    assert finding in codes(open_scan(tmp_path))
    assert all(f.message.count(". ") >= 1 for f in report.findings)  # what, and what of it


@pytest.mark.parametrize("text", ["seen 12 MAR 2024", "12MAR2024", "Mar 3", "sharp pain"])
def test_plain_remarks_raise_no_alarm(tmp_path, text):
    make.write_series(tmp_path, change=changed(ImageComments=text, SeriesDescription=text))
    assert codes(only(tmp_path)) == set()


def test_a_position_that_looks_like_a_default_is_said(tmp_path):
    make.write_series(tmp_path, make.series(origin=(0, 0, 0)))
    assert "scan_orientation_default" in codes(open_scan(tmp_path))


def test_dates_that_differ_within_a_series_are_said(tmp_path):
    make.write_series(
        tmp_path,
        change=lambda k, ds: setattr(ds, "AcquisitionDate", "20240301" if k > 3 else "20240305"),
    )
    (finding,) = [f for f in only(tmp_path).findings if f.code == "scan_two_dates_in_series"]
    assert finding.fields["dates"] == "2024-03-01, 2024-03-05"


class TestSpacingByHand:
    def write(self, tmp_path, **attributes):
        attributes = {"ImagePositionPatient": None, **attributes}
        return make.write_series(tmp_path, change=changed(**attributes))

    def test_it_opens_with_the_finding(self, tmp_path):
        self.write(tmp_path)
        volume = open_scan(tmp_path, spacing_mm=(0.25, 0.3, 0.5))
        np.testing.assert_allclose(volume.voxel_mm, [0.25, 0.3, 0.5])
        np.testing.assert_array_equal(volume.voxels, make.voxels())
        (finding,) = [f for f in volume.findings if f.code == "scan_spacing_by_hand"]
        assert finding.message.startswith("Spacing entered by hand (0.25 × 0.3 × 0.5 mm)")

    def test_without_orientation_sides_are_not_known(self, tmp_path):
        self.write(tmp_path, ImageOrientationPatient=None, PixelSpacing=None)
        assert refused(tmp_path) == "scan_no_spacing"
        volume = open_scan(tmp_path, spacing_mm=(0.25, 0.25, 0.25))
        assert {"scan_spacing_by_hand", "scan_orientation_assumed"} <= codes(volume)

    def test_it_never_overrules_the_header(self, tmp_path):
        self.write(tmp_path)
        assert refused(tmp_path, spacing_mm=(0.3, 0.3, 0.5)) == "scan_spacing_not_the_headers"
        assert refused(tmp_path, spacing_mm=(0.25, 0.3, 50)) == "scan_spacing_not_believable"

    def test_without_numbers_there_is_no_order(self, tmp_path):
        self.write(tmp_path, InstanceNumber=1)
        assert refused(tmp_path, spacing_mm=(0.25, 0.3, 0.5)) == "scan_no_order"

    def test_it_is_not_used_where_positions_are_known(self, tmp_path):
        make.write_series(tmp_path)
        volume = open_scan(tmp_path, spacing_mm=(9, 9, 9))
        np.testing.assert_allclose(volume.voxel_mm, [0.25, 0.3, 0.4])


def test_of_a_round_field_it_is_said_how_much_of_a_slice_was_not_scanned(tmp_path):
    size = 80
    values = make.voxels((5, size, size), low=0)
    j, i = np.mgrid[:size, :size] - (size - 1) / 2
    values[:, np.hypot(i, j) > size / 2] = -1000
    volume = open_scan(make.write_series(tmp_path, make.series(values)))
    (told,) = [f for f in volume.findings if f.code == "scan_round_field"]
    # A circle fills a quarter of pi of the square around it.
    assert float(told.fields["percent"]) == pytest.approx(100 * (1 - np.pi / 4), abs=1.0)
    assert told.severity == "note"
    assert volume.field[0, 0] == 0
    assert volume.field[size // 2, size // 2] == 1


def test_nothing_to_read_is_said(tmp_path):
    with pytest.raises(ScanError) as caught:
        inspect(tmp_path)
    assert caught.value.code == "scan_nothing_found"
    (tmp_path / "I1").write_bytes(bytes(128) + b"DICM" + b"\x02\x00")
    with pytest.raises(ScanError) as caught:
        inspect(tmp_path)
    assert caught.value.code == "scan_only_damaged"


def test_the_middle_picture_for_a_chooser(tmp_path):
    make.write_series(tmp_path, syntax=make.JPEGLSLossless)
    picture = preview(tmp_path, only(tmp_path), size=12)
    np.testing.assert_array_equal(picture, make.voxels()[3, ::2, ::2])
    (zipped,) = [shutil.make_archive(str(tmp_path / "z"), "zip", tmp_path)]
    assert zipfile.is_zipfile(zipped)


def test_the_middle_picture_shows_grey_values_by_the_scale_of_its_header(tmp_path):
    make.write_series(tmp_path, change=changed(RescaleSlope=2, RescaleIntercept=-1000))
    picture = preview(tmp_path, only(tmp_path), size=12)
    np.testing.assert_array_equal(picture, 2.0 * make.voxels()[3, ::2, ::2] - 1000.0)
    whole = preview(tmp_path, only(tmp_path), size=24)
    assert whole.shape == make.voxels()[3].shape


def test_names_in_other_scripts(tmp_path):
    def japanese(k, ds):
        ds.SpecificCharacterSet = ["", "ISO 2022 IR 87"]
        ds.PatientName = "Yamada^Tarou=山田^太郎=やまだ^たろう"

    def cyrillic(k, ds):
        ds.SpecificCharacterSet = "ISO_IR 144"
        ds.PatientName = "Люкceмбypг"

    make.write_series(tmp_path / "a", change=japanese)
    name = open_scan(tmp_path / "a").identity.patient_name
    assert name == "Yamada^Tarou=山田^太郎=やまだ^たろう"
    make.write_series(tmp_path / "b", change=cyrillic)
    assert open_scan(tmp_path / "b").identity.patient_name == "Люкceмбypг"


def test_importing_the_reader_loads_no_heavy_library():
    found = subprocess.run(
        [sys.executable, "-c", "import sys, core.scan; print(*sys.modules)"],
        capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip
    heavy = {"pydicom", "imagecodecs", "scipy", "numba", "gdcm", "highdicom"}
    assert heavy.isdisjoint(found.stdout.split())
