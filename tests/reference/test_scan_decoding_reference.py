"""Decoded voxels against GDCM, pyjpegls and DCMTK's tools, and pydicom's own test files."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pydicom
import pytest
from pydicom.data import get_testdata_files

from core.errors import ScanError
from core.scan import decode, inspect, open_scan
from core.scan.attributes import TAGS
from core.scan.elements import Damaged
from core.scan.header import read_header
from core.scan.sources import opened

sys.path.insert(0, str(Path(__file__).parents[1] / "core" / "scan"))
import make_dicom as make

SYNTAXES = [
    make.RLELossless,
    make.JPEGLSLossless,
    make.JPEGLosslessSV1,
    make.JPEGLossless,
    make.JPEG2000Lossless,
]


def smooth(shape=(4, 40, 48)):
    k, j, i = np.indices(shape)
    return (900 * np.sin(i / 7) + 700 * np.cos(j / 9) + 20 * k + 1800).astype(np.uint16)


@pytest.mark.parametrize("syntax", SYNTAXES, ids=lambda uid: uid.keyword)
def test_gdcm_decodes_the_same_values(tmp_path, syntax):
    gdcm = pytest.importorskip("gdcm", reason="python-gdcm is not installed")
    slices = make.series(smooth(), bits=12)
    make.write_series(tmp_path, slices, syntax=syntax, names=lambda k: f"I{k}")
    volume = open_scan(tmp_path)
    for k in range(4):
        reader = gdcm.ImageReader()
        reader.SetFileName(str(tmp_path / f"I{k}"))
        assert reader.Read()
        raw = reader.GetImage().GetBuffer().encode("utf-8", "surrogateescape")
        theirs = np.frombuffer(raw, np.uint16).reshape(40, 48)
        np.testing.assert_array_equal(volume.voxels[k], theirs)


def test_pyjpegls_decodes_the_same_values(tmp_path):
    jpeg_ls = pytest.importorskip("jpeg_ls", reason="pyjpegls is not installed")
    make.write_series(tmp_path, make.series(smooth()), syntax=make.JPEGLSLossless,
                      names=lambda k: f"I{k}")  # fmt: skip
    volume = open_scan(tmp_path)
    for k in range(4):
        ds = pydicom.dcmread(tmp_path / f"I{k}")
        packed = next(pydicom.encaps.generate_frames(ds.PixelData, number_of_frames=1))
        np.testing.assert_array_equal(
            volume.voxels[k], jpeg_ls.decode(np.frombuffer(packed, np.uint8))
        )


@pytest.mark.parametrize(
    ("tool", "options"),
    [
        ("dcmcjpeg", ["+e1"]),  # lossless, process 14 SV1
        *[("dcmcjpeg", ["+el", "+sv", str(predictor)]) for predictor in (1, 4, 6, 7)],
        ("dcmcjpls", ["+el"]),
        ("dcmcrle", []),
    ],
    ids="".join,
)
@pytest.mark.parametrize("signed", [False, True], ids=["unsigned", "signed"])
def test_what_dcmtk_writes_is_read_unchanged(tmp_path, tool, options, signed):
    if shutil.which(tool) is None:
        pytest.skip(f"{tool} (DCMTK) is not installed")
    values = smooth()
    values = (values.astype(np.int16) - 1800) if signed else values
    make.write_series(tmp_path / "plain", make.series(values, bits=16 if signed else 12))
    (tmp_path / "coded").mkdir()
    for path in (tmp_path / "plain").iterdir():
        subprocess.run([tool, *options, path, tmp_path / "coded" / path.name], check=True)
    syntaxes = {
        pydicom.dcmread(path, stop_before_pixels=True).file_meta.TransferSyntaxUID
        for path in (tmp_path / "coded").iterdir()
    }
    assert all(syntax in decode.CODECS for syntax in syntaxes)
    np.testing.assert_array_equal(open_scan(tmp_path / "coded").voxels, values)


@pytest.mark.parametrize(
    ("syntax", "tool"),
    [
        (make.JPEGLSLossless, "dcmdjpls"),
        (make.JPEGLosslessSV1, "dcmdjpeg"),
        (make.JPEGLossless, "dcmdjpeg"),
        (make.RLELossless, "dcmdrle"),
        (make.DeflatedExplicitVRLittleEndian, "dcmconv"),
        (make.ExplicitVRBigEndian, "dcmconv"),
    ],
    ids=lambda value: getattr(value, "keyword", value),
)
def test_what_dcmtk_unpacks_is_what_is_read(tmp_path, syntax, tool):
    if shutil.which(tool) is None:
        pytest.skip(f"{tool} (DCMTK) is not installed")
    make.write_series(tmp_path / "coded", make.series(smooth(), bits=12), syntax=syntax)
    (tmp_path / "plain").mkdir()
    options = ["+te"] if tool == "dcmconv" else []
    for path in (tmp_path / "coded").iterdir():
        subprocess.run([tool, *options, path, tmp_path / "plain" / path.name], check=True)
    theirs = open_scan(tmp_path / "plain")
    assert open_scan(tmp_path / "coded").fingerprint() == theirs.fingerprint()


def test_lossy_jpeg_stays_within_a_grey_value_of_dcmtk(tmp_path):
    if shutil.which("dcmdjpeg") is None:
        pytest.skip("dcmdjpeg (DCMTK) is not installed")
    values = (smooth() >> 4).astype(np.uint8)
    make.write_series(tmp_path / "coded", make.series(values), syntax=make.JPEGBaseline8Bit)
    (tmp_path / "plain").mkdir()
    for path in (tmp_path / "coded").iterdir():
        subprocess.run(["dcmdjpeg", path, tmp_path / "plain" / path.name], check=True)
    ours, theirs = open_scan(tmp_path / "coded"), open_scan(tmp_path / "plain")
    assert "scan_lossy" in {f.code for f in ours.findings}
    # Two inverse cosine transforms may round differently (ITU-T T.83 allows a deviation of one).
    assert np.abs(ours.voxels.astype(int) - theirs.voxels).max() <= 1


FILES = sorted({str(path) for path in get_testdata_files() if Path(path).is_file()})


def test_every_test_file_of_pydicom_is_read_or_refused():
    assert len(FILES) > 100
    verdicts, sentences = {}, []
    for path in FILES:
        try:
            inspect(path)
            volume = open_scan(path)
        except ScanError as refusal:
            verdicts[path] = refusal.code
            sentences.append(str(refusal))
        else:
            verdicts[path] = f"{volume.shape}"
    assert all(sentences)
    by_name = {Path(path).name: verdict for path, verdict in verdicts.items()}
    assert by_name["CT_small.dcm"] == "scan_one_slice"
    assert by_name["MR_small.dcm"] == "scan_not_ct"
    assert by_name["rtplan.dcm"] == "scan_nothing_found"


def test_single_pictures_of_pydicom_decode_as_pydicom_decodes_them():
    """The same pixel words as pydicom's own decoders, whatever the object is."""
    from core.scan.pixel_encoding import unreadable_layout
    from core.scan.pixels import read_voxels
    from core.scan.stacks import Picture

    compared = 0
    for path in FILES:
        image = header_of(path)
        if image is None or unreadable_layout(image) or not image.rows or image.pixel_at < 0:
            continue
        try:
            ds = pydicom.dcmread(path, force=True)
            theirs = ds.pixel_array
        except Exception:  # noqa: BLE001  (pydicom has no decoder, or the file is cut short)
            continue
        theirs = theirs.reshape(-1, image.rows, image.cols)
        with opened(path) as export:
            ours = read_voxels(export, [Picture(image=image, frame=0)])
        if ours.lost:
            pytest.fail(f"{Path(path).name} was lost")
        np.testing.assert_array_equal(ours.array[0], theirs[0], err_msg=path)
        compared += 1
    assert compared > 30


def header_of(path):
    try:
        with opened(path) as export:
            return read_header(export, export.sources[0]) if len(export.sources) == 1 else None
    except (ScanError, Damaged):
        return None


def test_flat_attributes_are_those_that_pydicom_reads():
    compared = 0
    for path in FILES:
        image = header_of(path)
        if image is None:
            continue
        ds = pydicom.dcmread(path, force=True, stop_before_pixels=True)
        for name in ("PatientID", "SOPInstanceUID", "Modality", "StudyDate", "Rows", "BitsStored"):
            theirs = ds.get(TAGS[name])
            found = "" if theirs is None or theirs.value is None else str(theirs.value).strip()
            if "\\" not in image.value(name):
                assert image.value(name) == found, (path, name)
                compared += 1
    assert compared > 500
