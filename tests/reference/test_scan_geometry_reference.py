"""Transform and voxels against SimpleITK, highdicom and dcm2niix, three independent readers.

On invented oblique and tilted series, and on a real scanner's export where it is at hand.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from core.scan import inspect, open_scan

sys.path.insert(0, str(Path(__file__).parents[1] / "core" / "scan"))
import make_dicom as make

REAL = Path(__file__).parents[3] / "shared" / "real_scan"
OBLIQUE = tuple(
    Rotation.from_euler("xyz", (20, -35, 50), degrees=True).as_matrix()[:, :2].T.ravel()
)
TILT = 0.3 * np.array([0.0, np.tan(np.radians(12)), 1.0])

SITK = pytest.importorskip("SimpleITK", reason="SimpleITK is not installed")


def real_scan():
    if not REAL.is_dir():
        pytest.skip("the real scanner's export lies outside this repository and is not here")
    return REAL


@pytest.fixture(scope="module", params=["axial", "oblique", "coronal", "tilted", "real"])
def scan(request, tmp_path_factory):
    """(name, files of the series in slice order, volume)."""
    if request.param == "real":
        folder = real_scan()
    else:
        folder = tmp_path_factory.mktemp(request.param)
        values = make.voxels((9, 20, 24))
        options = {
            "axial": {"step": 0.3},
            "oblique": {"orientation": OBLIQUE, "step": 0.3},
            "coronal": {"orientation": (1, 0, 0, 0, 0, -1), "step": -0.3},
            "tilted": {"step": TILT},
        }[request.param]
        make.write_series(folder, make.series(values, **options))
    volume = open_scan(folder)
    return request.param, series_files(folder, volume), volume


def series_files(folder, volume):
    import pydicom

    found = {}
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        try:
            ds = pydicom.dcmread(path, specific_tags=["SOPInstanceUID"])
        except pydicom.errors.InvalidDicomError:
            continue
        found[ds.get("SOPInstanceUID")] = path
    return [found[uid] for _, uid in volume.identity.sop_instances]


def test_simpleitk(scan):
    name, files, volume = scan
    reader = SITK.ImageSeriesReader()
    reader.SetFileNames([str(path) for path in files])
    image = reader.Execute()
    stored = (SITK.GetArrayFromImage(image) - volume.intercept) / volume.slope
    np.testing.assert_array_equal(stored, volume.voxels)
    if name == "tilted":
        # ITK keeps no shear: only what it can say is compared, the first slice's transform.
        corners = [(0, 0, 0), (23, 0, 0), (0, 19, 0)]
    else:
        k, j, i = (n - 1 for n in volume.shape)
        corners = [(0, 0, 0), (i, 0, 0), (0, j, 0), (0, 0, k), (i, j, k)]
    theirs = [image.TransformContinuousIndexToPhysicalPoint(tuple(map(float, c))) for c in corners]
    np.testing.assert_allclose(volume.mm(corners), theirs, atol=1e-4)


def test_simpleitk_agrees_on_each_slice_of_a_tilted_stack(scan):
    _, files, volume = scan
    for k in (0, len(files) // 2, len(files) - 1):
        reader = SITK.ImageFileReader()
        reader.SetFileName(str(files[k]))
        image = reader.Execute()
        theirs = image.TransformContinuousIndexToPhysicalPoint((7.0, 5.0, 0.0))
        np.testing.assert_allclose(volume.mm([[7, 5, k]])[0], theirs, atol=1e-4)


def test_highdicom(scan):
    import highdicom
    import pydicom

    name, files, volume = scan
    datasets = [pydicom.dcmread(path) for path in files]
    if name == "tilted":
        # highdicom refuses stacks that lean; its single-slice mapping is compared instead.
        for k, ds in enumerate(datasets):
            mapper = highdicom.spatial.ImageToReferenceTransformer(
                ds.ImagePositionPatient, ds.ImageOrientationPatient, ds.PixelSpacing
            )
            # Its image coordinates have the first pixel's centre at (0.5, 0.5).
            theirs = mapper(np.array([[7.5, 5.5], [0.5, 19.5]]))
            np.testing.assert_allclose(volume.mm([[7, 5, k], [0, 19, k]]), theirs, atol=1e-6)
        return
    theirs = highdicom.get_volume_from_series(datasets, apply_real_world_transform=False)
    k, j, i = (n - 1 for n in volume.shape)
    ijk = np.array([(0, 0, 0), (i, 0, 0), (0, j, 0), (0, 0, k), (i, j, k), (3, 5, 2)])
    # highdicom's index order is (slice, row, column), and its slices may run the other way.
    indices = theirs.map_reference_to_indices(volume.mm(ijk))
    np.testing.assert_allclose(indices, np.round(indices), atol=1e-3)
    for (ci, rj, sk), index in zip(ijk, np.round(indices).astype(int), strict=True):
        grey = volume.voxels[sk, rj, ci] * volume.slope + volume.intercept
        assert theirs.array[tuple(index)] == grey


@pytest.mark.skipif(shutil.which("dcm2niix") is None, reason="dcm2niix is not installed")
def test_dcm2niix(scan, tmp_path):
    name, files, volume = scan
    folder = tmp_path / "in"
    folder.mkdir()
    for k, path in enumerate(files):
        shutil.copy(path, folder / f"{k:04}.dcm")
    subprocess.run(
        ["dcm2niix", "-z", "n", "-f", "out", "-o", tmp_path, folder],
        check=True, capture_output=True,
    )  # fmt: skip
    theirs, array = nifti(tmp_path / "out.nii")
    if name == "real":
        k, j, i = (n - 1 for n in volume.shape)
        corners = [(0, 0, 0), (i, 0, 0), (0, j, 0), (0, 0, k), (i, j, k), (200, 300, 70)]
    else:
        corners = list(np.ndindex(*volume.shape[::-1]))
    # Its rows and slices may run the other way, so places are compared through patient space:
    # the same point must hold the same value.
    ijk = np.array(corners)
    points = np.column_stack([volume.mm(ijk), np.ones(len(ijk))])
    found = (points @ np.linalg.inv(theirs).T)[:, :3]
    places = np.round(found).astype(int)
    np.testing.assert_allclose(found, places, atol=5e-3)
    grey = volume.voxels[ijk[:, 2], ijk[:, 1], ijk[:, 0]] * volume.slope + volume.intercept
    np.testing.assert_array_equal(array[places[:, 2], places[:, 1], places[:, 0]], grey)


def nifti(path):
    """(matrix to LPS mm, grey values) of a NIfTI-1 file: sform rows, in RAS, at byte 280."""
    data = path.read_bytes()
    matrix = np.eye(4)
    matrix[:3] = np.frombuffer(data, "<f4", 12, 280).reshape(3, 4)
    i, j, k = np.frombuffer(data, "<i2", 3, 42)
    kind = {4: "<i2", 512: "<u2", 16: "<f4"}[int(np.frombuffer(data, "<i2", 1, 70)[0])]
    start = int(np.frombuffer(data, "<f4", 1, 108)[0])
    slope, intercept = np.frombuffer(data, "<f4", 2, 112)
    stored = np.frombuffer(data, kind, int(i) * int(j) * int(k), start).reshape(k, j, i)
    return np.diag([-1.0, -1.0, 1.0, 1.0]) @ matrix, stored * (slope or 1.0) + intercept


def test_the_real_export_is_told_apart():
    reports = inspect(real_scan())
    usable = [report for report in reports if report.usable]
    assert [(r.shape, r.stack, r.modality) for r in usable] == [((140, 512, 512), 0, "CT")]
    assert usable[0].voxel_mm == pytest.approx((0.451171875, 0.451171875, 1.0))
    reasons = {f.code for r in reports for f in r.findings if f.severity == "refused"}
    assert "scan_localizer" in reasons
    assert all(not r.usable for r in reports if "Summary" in r.description)
    codes = {f.code for f in usable[0].findings}
    assert {"scan_directory_lists_more", "scan_voxel_large"} <= codes
