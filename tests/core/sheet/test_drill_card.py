"""The drill card: what stands on it, how large, and that nothing leaves the paper."""

from __future__ import annotations

import io
from dataclasses import replace

import pypdf
import pytest

from core.measurement import Measurement, Reading
from core.measurement_kinds import ClearanceDetails, DepthDetails
from core.measuring.drill_table import Drill
from core.plans.limits import limit_for
from core.sheet.case import case_of
from core.sheet.day import Day
from core.sheet.drill_card import DEPTH_PT, LEAST_PT, OTHER_PT, drill_card
from core.structures import PointMarks
from tests.sheet_material import IDENTITY, fixture_at, ledger_of, named, plan_with, round_jaw

DRILLS = (
    Drill(name="pilot", diameter_mm=2.0, marks_mm=(6, 8, 10, 12), marks_include_tip="no",
          tip_mm=0.6),
    Drill(name="second", diameter_mm=2.8),
)  # fmt: skip


def rims(fixture, **depths):
    return tuple(
        Measurement(
            id=f"{fixture}/depth/platform/{side}", group="information", fixture=fixture,
            kind="depth", reading=Reading(value=value), details=DepthDetails(side=side),
        )
        for side, value in depths.items()
    )  # fmt: skip


def case(*fixtures, volume=None, marks=(), drills=DRILLS, depth_from="buccal rim", unmarked=False):
    """Nothing is left unmarked but where it is asked for: beside that no depth is given."""
    plan = plan_with(*fixtures, depth_from=depth_from)
    volume = volume or round_jaw(voxel_mm=2.0)
    ledger = ledger_of(plan, identity=volume.identity, unmarked=unmarked)
    plan = replace(plan, structures=(*plan.structures, *marks))
    more = [r for f in fixtures for r in rims(f.id, buccal=0.3, lingual=-0.4, mesial=1.2,
                                              distal=0.0)]  # fmt: skip
    ledger = replace(ledger, measurements=(*ledger.measurements, *more))
    return case_of(
        plan, volume, ledger, without_viewing=True, window=(0, 1), day=Day(drills=drills)
    )


def sizes_of(pdf):
    """Words of the first page with the size they are set in, points."""
    found = []

    def note(text, cm, tm, font, size):
        if text.strip():
            found.append((text.strip(), abs(tm[3]) * size if abs(tm[3]) > 0 else size))

    pypdf.PdfReader(io.BytesIO(pdf)).pages[0].extract_text(visitor_text=note)
    return found


def text_of(pdf):
    return "\n".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(pdf)).pages)


def test_depths_are_rounded_down_and_the_exact_ones_beside_them():
    gum = PointMarks(id="gum-36", kind="gum", tooth="36",
                     points=[fixture_at(20.0, "36").on_axis(-2.2)])  # fmt: skip
    text = text_of(drill_card(case(fixture_at(20.0, "36", length_mm=10.0), marks=(gum,))))
    for words in ("10.0", "(10.30)", "(11.20)", "11.0", "12.0", "(12.20)", "not marked",
                  "The tip reaches 0.6 mm beyond the mark.",
                  "Drill tip length unknown; 1.5 mm assumed."):  # fmt: skip
        assert words in text, words


def test_a_drill_whose_tip_misses_a_limit_has_no_depth():
    text = flat(drill_card(case(fixture_at(20.0, "36", length_mm=10.5))))
    assert (
        "The tip of this drill comes too close: Canal left 1.5 mm, limit 2.0 mm, below limit."
    ) in text
    assert "second Ø 2.8 mm No depth for this drill" in text
    assert text.count("(10.80)") == 1  # the pilot's tip of 0.6 mm is borderline: it has one


def test_the_chosen_origin_is_large_and_the_others_small():
    for origin, depth in (("buccal rim", "8.0"), ("highest rim", "9.0")):
        sizes = sizes_of(
            drill_card(case(fixture_at(20.0, "36"), depth_from=origin, drills=DRILLS[1:]))
        )
        assert {w for w, size in sizes if size >= DEPTH_PT * 0.99} == {"36", depth}
        assert ("9.0" if depth == "8.0" else "8.0") in {w for w, size in sizes if size < 16}
    unmarked = drill_card(case(fixture_at(20.0, "36"), depth_from="gum"))
    assert "Counted from the gum." in flat(unmarked)
    assert {w for w, size in sizes_of(unmarked) if size > OTHER_PT * 1.2} == {"36", "–"}


def test_no_depth_is_large_until_somebody_chose_where_it_is_counted_from():
    card = drill_card(case(fixture_at(20.0, "36"), depth_from=None))
    assert "Nobody has chosen yet where the depth is counted from" in flat(card)
    assert {w for w, size in sizes_of(card) if size > OTHER_PT * 1.2} == {"36"}


@pytest.mark.parametrize("chosen", [None, "highest rim"])
def test_where_a_depth_is_counted_from_is_told_in_plain_words_and_never_small(chosen):
    """In an upper jaw the highest edge is not the one nearest to the crowns: so it is not said."""
    card = drill_card(case(fixture_at(20.0, "36"), depth_from=chosen))
    assert "most coronal bone edge" in flat(card)
    assert "rim" not in flat(card).split()
    heads = [size for words, size in sizes_of(card) if "coronal" in words or "buccal" in words]
    assert min(heads) == pytest.approx(LEAST_PT)


def test_no_birth_date_but_two_identifiers_and_draft():
    text = text_of(drill_card(case(fixture_at(20.0, "36"))))
    assert IDENTITY.birth_date not in text
    assert "born" not in text
    for words in ("QUARRY, Sample", "S-0107", IDENTITY.study_date, "DRAFT", "LEFT"):
        assert words in text, words


def flat(pdf):
    return " ".join(text_of(pdf).split())


def test_the_side_is_the_tooths():
    assert "patient’s LEFT" in flat(drill_card(case(fixture_at(20.0, "36"))))


def test_a_tooth_on_the_wrong_side_is_never_silent():
    """46 placed at the patient's left, and a right tooth while the answer says left."""
    for where in (20.0, 160.0):
        assert drill_card(case(fixture_at(where, "46"))) is None
    assert "SWAPPED" not in flat(drill_card(case(fixture_at(20.0, "36"))))


def test_no_card_where_the_fixture_misses_a_limit_or_something_is_not_assessed():
    assert drill_card(case(fixture_at(20.0, "36", length_mm=13.0))) is None
    assert drill_card(case(fixture_at(20.0, "36"), unmarked=True)) is None


def test_beside_another_fixture_the_one_that_is_not_met_has_no_depth():
    deep = fixture_at(20.0, "36", length_mm=13.0)
    text = flat(drill_card(case(deep, fixture_at(60.0, "33"))))
    refused, given = text.split("NO DRILLING DEPTH")[1], text.split("NO DRILLING DEPTH")[0]
    if "(8.30)" not in given:
        refused, given = given, refused
    assert "(13.30)" not in text
    assert "these limits are not met: canal left" in text
    assert "(8.30)" in given


def test_twelve_fixtures_and_twenty_drills_stay_on_the_paper():
    fixtures = [fixture_at(a, "36") for a in range(0, 24, 2)]
    fixtures = [replace(f, id=f"{f.tooth}-{n}") for n, f in enumerate(fixtures)]
    many = tuple(replace(DRILLS[0], name=f"a drill with a long name {n}") for n in range(20))
    volume = named(round_jaw(voxel_mm=2.0), patient_name="Sesquipedalian" * 6 + "^Wordy Wordy")
    reader = pypdf.PdfReader(io.BytesIO(drill_card(case(*fixtures, volume=volume, drills=many))))
    assert len(reader.pages) >= 24
    for page in reader.pages:
        width, height = (float(v) for v in page.mediabox[2:])
        assert (width, height) == pytest.approx((148 / 25.4 * 72, 210 / 25.4 * 72), abs=0.1)
        places = []
        page.extract_text(visitor_text=lambda t, cm, tm, f, s, p=places: p.append((t, tm[4:])))
        assert all(0 < x < width and 0 < y < height for t, (x, y) in places if t.strip())


def test_nothing_that_is_needed_is_smaller_than_arms_length_allows():
    """12 pt: capitals of 2.8 mm, 16 minutes of arc at 60 cm (ISO 9241-303, from memory)."""
    card = drill_card(case(fixture_at(20.0, "36")))
    sizes = [size for words, size in sizes_of(card) if "Sounding" not in words]
    assert min(sizes) >= LEAST_PT * 0.99
    assert max(sizes) >= DEPTH_PT


@pytest.mark.parametrize("includes", ["yes", "don't know"])
def test_card_and_page_1_name_the_same_closest_thing(includes):
    """Nearer to its limit lies a root, nearer in mm the bone's surface: the canal is closest."""
    drill = replace(DRILLS[0], marks_include_tip=includes)
    made = case(fixture_at(20.0, "36"), drills=(drill,))
    rows = tuple(
        row if row.target != "root-35" else replace(row, reading=replace(row.reading, value=1.9))
        for row in made.ledger.measurements
    )
    made = replace(made, ledger=replace(made.ledger, measurements=(*rows, surface(1.8))))
    first = made.tightest(made.subjects[0])
    assert (first.target, first.verdict) == ("canal-left", "meets limit")
    text = flat(drill_card(made))
    assert text.count("Closest vital structure: Canal left, ") == 1
    assert "Root" not in text
    assert "Bone surface" not in text


def surface(value):
    """A row of the bone's outer surface that is guarded by a limit."""
    limit = limit_for("surface-lingual", plan_with())
    return Measurement(
        id="36/clearance/bone surface/lingual", group="danger", fixture="36", kind="clearance",
        target="bone surface", reading=Reading(value=value), limit=limit, verdict="meets limit",
        details=ClearanceDetails(side="lingual"),
    )  # fmt: skip


def test_no_fixture_no_card():
    assert drill_card(case()) is None
