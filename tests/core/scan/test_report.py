"""What is said of a stack before it is opened."""

from __future__ import annotations

from dataclasses import replace

import pytest
from headers import header, picture

from core.findings import Finding
from core.scan.report import SeriesReport, date_text, identity_of, scan_date


def report(**other):
    made = SeriesReport(
        uid="1.2.3", stack=2, modality="CT", description="lower jaw", date="2026-01-02",
        shape=(30, 20, 10), voxel_mm=(0.25, 0.5, 0.1234567), usable=True,
        findings=(Finding("scan_lossy", "caution", {"ratio": "10"}),),
        identity=identity_of(header()),
    )  # fmt: skip
    return replace(made, **other)


def test_its_extent_goes_from_edge_to_edge():
    assert report().field_mm == pytest.approx((2.5, 10.0, 30 * 0.1234567))
    assert report(voxel_mm=None).field_mm is None


def test_its_key_is_what_the_command_takes():
    assert report().key == "1.2.3:2"


def test_in_a_file_lengths_have_six_decimals():
    told = report().to_json()
    assert told["voxel_mm"] == [0.25, 0.5, 0.123457]
    assert told["shape"] == [30, 20, 10]
    assert [f["code"] for f in told["findings"]] == ["scan_lossy"]
    assert told["findings"][0]["severity"] == "caution"
    assert report(voxel_mm=None).to_json()["voxel_mm"] is None


@pytest.mark.parametrize(
    ("written", "shown"),
    [("20260102", "2026-01-02"), ("2026.01.02", "2026-01-02"), (" 20260102 ", "2026-01-02"),
     ("2026010", "2026010"), ("202601021", "202601021"), ("2026Jan2", "2026Jan2"), (" x ", "x"),
     ("", "")],
)  # fmt: skip
def test_dates_as_the_standard_writes_them(written, shown):
    assert date_text(written) == shown


def test_the_date_is_the_acquisitions_before_the_series_before_the_studys():
    text = {
        "AcquisitionDate": "20260101", "AcquisitionDateTime": "20260102101500.0",
        "SeriesDate": "20260103", "StudyDate": "20260104",
    }  # fmt: skip
    for shown in ("2026-01-01", "2026-01-02", "2026-01-03", "2026-01-04"):
        assert scan_date(header(text=text)) == shown
        del text[next(iter(text))]
    assert scan_date(header()) == ""


def test_whose_it_is_with_each_instance_once():
    a = picture(0, text={"SOPInstanceUID": "1.1"})
    b = picture(1, text={"SOPInstanceUID": "1.2", "ConvolutionKernel": "H\\60"})
    found = identity_of(b.image, (a, None, b, a))
    assert [uid for _, uid in found.sop_instances] == ["1.1", "1.2"]
    assert found.kernel == "H, 60"
    assert (found.patient_name, found.birth_date) == ("Doe^Jane", "1970-01-01")
    assert found.header["ConvolutionKernel"] == "H\\60"
    assert "KVP" not in found.header
