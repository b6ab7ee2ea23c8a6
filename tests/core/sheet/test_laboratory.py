"""The laboratory's page: the pose as planned, and how to tell a mirrored import."""

from __future__ import annotations

import io

import pypdf

from core.sheet.case import case_of
from core.sheet.laboratory import laboratory_pdf, pose_lines
from tests.sheet_material import fixture_at, ledger_of, on_arch, plan_with, round_jaw


def case(*fixtures):
    plan = plan_with(*fixtures)
    volume = round_jaw(voxel_mm=2.0)
    return case_of(plan, volume, ledger_of(plan), without_viewing=True, window=(0, 1))


def test_the_pose_is_the_plans():
    fixture = fixture_at(20.0, "36", length_mm=10.0)
    x, y, _ = on_arch(20.0, 0.0)
    lines = dict(pose_lines(fixture))
    assert lines["Platform, centre (x, y, z)"] == f"{x:.2f}, {y:.2f}, 20.00 mm"
    assert lines["Apex, centre (x, y, z)"] == f"{x:.2f}, {y:.2f}, 10.00 mm"
    assert lines["Axis, platform to apex"] == "0.0000, 0.0000, -1.0000"


def test_the_page_says_axes_unit_and_what_was_not_assessed():
    pdf = laboratory_pdf(case(fixture_at(20.0, "36"), fixture_at(160.0, "46")))
    text = " ".join(
        " ".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(pdf)).pages).split()
    )
    for words in ("DICOM LPS", "unit mm", "patient’s right", "not assessed", "DRAFT",
                  "36, lower left first molar", "46, lower right first molar"):  # fmt: skip
        assert words in text, words


def test_no_fixture_no_page():
    assert laboratory_pdf(case()) is None
