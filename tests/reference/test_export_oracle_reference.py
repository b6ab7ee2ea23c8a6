"""The oracle's own files before other readers: what it calls the truth, they read as well.

SimpleITK (GDCM within) reads grey values and places; DCMTK's tools turn every transfer syntax into
plain words; highdicom makes volumes of objects of many frames. Exports that only say the truth in
an unusual way are compared, where they read them.
"""

from __future__ import annotations

import random
import shutil
import subprocess

import numpy as np
import pydicom
import pytest
from highdicom import imread

from tests.hostile import dicom_bytes as wire
from tests.hostile.lies import KINDS
from tests.hostile.oracle import GREY

SITK = pytest.importorskip("SimpleITK", reason="SimpleITK is not installed")
SINGLE = (
    "every slice in another transfer syntax",
    "every slice with other words and a scale of its own",
    "every slice with a slope of its own",
    "twelve-bit words with and without sign extension",
    "odd number of pixels and a padding byte",
    "tilted gantry, step stated along the table",
    "files in any order, the stack upside down",
    "compressed without loss, some slices not",
    "padding value around the field",
)
TOOLS = {
    wire.JPEG_LS: "dcmdjpls",
    wire.JPEG_LOSSLESS: "dcmdjpeg",
    wire.RLE: "dcmdrle",
    wire.IMPLICIT: "dcmconv",
    wire.BIG: "dcmconv",
    wire.DEFLATED: "dcmconv",
    wire.EXPLICIT: "dcmconv",
}


def drawn(name, seed=0):
    return KINDS[name].make(random.Random(f"{name} outside {seed}"))


@pytest.mark.parametrize("name", SINGLE)
def test_simpleitk_reads_the_truth_from_the_oracles_files(tmp_path, name):
    scan = drawn(name)
    truth = scan.truth
    back = np.linalg.inv(truth.mm_from_ijk)
    seen = set()
    for number, file in enumerate(scan.files):
        path = tmp_path / f"{number}.dcm"
        path.write_bytes(file.packed())
        image = SITK.ReadImage(str(path))
        i, j, k = (back @ [*image.GetOrigin(), 1.0])[:3]
        assert (i, j, k) == pytest.approx((0, 0, round(k)), abs=1e-4)
        theirs = SITK.GetArrayFromImage(image)[0].astype(float)
        grey = truth.grey[round(k)]
        known = np.isfinite(grey)
        np.testing.assert_allclose(theirs[known], grey[known], atol=GREY)
        spacing = np.linalg.norm(truth.mm_from_ijk[:3, :2], axis=0)
        np.testing.assert_allclose(image.GetSpacing()[:2], spacing, rtol=1e-6)
        seen.add(round(k))
    assert seen == set(range(len(truth.grey)))


@pytest.mark.parametrize("name", SINGLE)
def test_dcmtk_unpacks_the_oracles_words(tmp_path, name):
    if any(shutil.which(tool) is None for tool in TOOLS.values()):
        pytest.skip("DCMTK is not installed")
    compared = 0
    for number, file in enumerate(drawn(name).files):
        tool = TOOLS.get(file.syntax)
        if tool is None:
            continue  # JPEG 2000: no tool of DCMTK reads it
        path, plain = tmp_path / f"{number}.dcm", tmp_path / f"{number}.plain"
        path.write_bytes(file.packed())
        options = ["+te"] if tool == "dcmconv" else []
        subprocess.run([tool, *options, path, plain], check=True)
        words = np.frombuffer(pydicom.dcmread(plain).PixelData, f"<u{file.words.dtype.itemsize}")
        np.testing.assert_array_equal(words[: file.words.size], file.words.reshape(-1))
        compared += 1
    assert compared


@pytest.mark.parametrize("name", ["one object of many frames", "a scan in several parts"])
def test_highdicom_reads_the_truth_from_the_oracles_frames(tmp_path, name):
    compared = 0
    for seed in range(6):
        scan = drawn(name, seed)
        truth = scan.truth
        across = truth.mm_from_ijk[:3, :2].T @ truth.mm_from_ijk[:3, 2]
        if np.abs(across).max() > 1e-6:
            continue  # its volumes have no tilt: small ones it takes as none, others it refuses
        for file in scan.files:
            if file.syntax == wire.BIG:
                continue  # this it does not read
            path = tmp_path / "frames.dcm"
            path.write_bytes(file.packed())
            theirs = imread(path).get_volume(
                apply_real_world_transform=False, apply_modality_transform=True
            )
            places = np.indices(theirs.array.shape).reshape(3, -1)
            points = theirs.affine @ np.vstack([places, np.ones(places.shape[1])])
            ijk = (np.linalg.inv(truth.mm_from_ijk) @ points)[:3]
            nearest = np.rint(ijk).astype(int)
            np.testing.assert_allclose(ijk, nearest, atol=1e-4)
            i, j, k = nearest
            grey = theirs.array.reshape(-1).astype(float)
            np.testing.assert_allclose(grey, truth.grey[k, j, i], atol=GREY)
            compared += grey.size
    assert compared >= 2 * truth.grey.size
