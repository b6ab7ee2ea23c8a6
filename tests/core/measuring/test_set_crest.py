"""Rows that count from a crest set beside a tooth: assessed again, and as sure as a hand is."""

from core.measuring.basis import Basis, RowMaker
from core.measuring.rows_bone import site_bone_rows
from core.plans.plan import Plan, Site
from tests.core.bone.test_teeth import STATION, canal, crest_mark, root, scene


def rows(*structures):
    volume, arch, levels, finder = scene()
    basis = Basis(volume=volume, arch=arch, jaw="lower", levels=levels, finder=finder)
    site = Site(id="36", tooth="36", station_mm=STATION)
    plan = Plan(jaw="lower", sites=(site,), structures=(canal(), *structures))
    maker = RowMaker(
        plan=plan, volume=volume, subject="36", is_fixture=False, tooth=None, hindrances=()
    )
    return {m.id: m for m in site_bone_rows(plan, basis, site, maker)}


def test_rows_at_a_tooth_are_not_assessed_until_the_crest_is_set():
    before, after = rows(root(gone=False)), rows(root(gone=False), crest_mark())
    assert all(m.verdict == "not assessed" for m in before.values())
    told = [m for m in after.values() if m.value is not None]
    assert {m.kind for m in told} >= {"ridge_height", "ridge_width"}
    height = after["36/ridge_height/canal-left/up"]
    terms = {t.name: t.u for t in height.budget.terms}
    # 0.25 mm for the crest's mark, and the canal's marks beside it; a voxel for each end.
    assert terms["placement"] > 0.25
    assert terms["voxel"] > 0.25 / 12**0.5
    assert "a person set" in height.reading.notes[-1].message


def test_plates_before_a_root_stay_not_assessed_with_the_reason():
    plates = [m for m in rows(crest_mark()).values() if m.kind == "plate_thickness"]
    assert plates
    assert all(m.verdict == "not assessed" for m in plates)
    assert any("Mark the root" in n.message for m in plates for n in m.reading.notes)
