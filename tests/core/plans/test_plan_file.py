"""Plan files: what is read comes back, what is unknown stays, what is broken is refused."""

from __future__ import annotations

import copy
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.direction import SideAnswers
from core.errors import OutputError, PlanError
from core.image.volume import ScanIdentity
from core.plans import plan_json
from core.plans.history import sign_off_state
from core.plans.plan import ImageCheck, ScanTie
from core.plans.plan_dump import OUTSIDE_FINGERPRINT, document_of, fingerprint_of, text_of
from core.plans.plan_file import check_scan, load_plan, plan_fingerprint, save_plan, tied_to
from core.plans.plan_parse import parse
from core.plans.plan_versions import present
from core.structures import Course, Floor, Foramen, KnownObject, PointMarks, Tapered

# One of every kind, as the description of the file format shows it.
FULL = {
    "format": "sounding-plan",
    "version": 2,
    "scan": {
        "series_uid": "1.2.3",
        "frame_of_reference_uid": "1.2.4",
        "fingerprint": "sha256:abc",
    },
    "jaw": "lower",
    "level": {"origin": [0, 0, 0], "up": [0, 0, 1]},
    "arch": {"points": [[0, 0, 0], [1, 2, 0], [4, 5, 0]], "starts": "first"},
    "sites": [{"id": "36", "tooth": "36", "station_mm": 52.0}],
    "structures": [
        {
            "id": "canal-left",
            "kind": "canal",
            "points": [[0, 0, 0], [5, 1, 0]],
            "diameter_mm": 3.0,
            "seen": ["yes", "faint"],
        },
        {
            "id": "foramen-left",
            "kind": "foramen",
            "mesial": [0, 0, 0],
            "distal": [3, 0, 0],
            "upper": [1, 0, 2],
            "loop": "not seen",
        },
        {
            "id": "root-35",
            "kind": "root",
            "tooth": "35",
            "points": [[0, 0, 0], [0, 0, -12]],
            "diameters_mm": [6.0, 2.5],
            "to_be_removed": False,
        },
        {
            "id": "sinus-right",
            "kind": "floor",
            "of": "sinus",
            "points": [[0, 0, 0], [4, 0, 0], [0, 4, 0], [4, 4, 0]],
        },
        {
            "id": "vessel-1",
            "kind": "vessel",
            "points": [[0, 0, 0], [1, 0, 0]],
            "diameter_mm": 1.0,
        },
        {
            "id": "existing-46",
            "kind": "existing",
            "points": [[0, 0, 0], [0, 0, -10]],
            "diameters_mm": [4.0, 4.0],
        },
        {"id": "mark-1", "kind": "mark", "points": [[0, 0, 0]], "label": "free text"},
        {"id": "loop-left", "kind": "loop", "points": [[0, 0, 0], [1, 0, 0]], "diameter_mm": 2},
        {"id": "border", "kind": "border", "points": [[0, 0, 0], [1, 0, 0]]},
        {"id": "gum", "kind": "gum", "points": [[0, 0, 0]]},
        {"id": "stent-top", "kind": "stent_top", "points": [[0, 0, 9]]},
        {"id": "cusp", "kind": "cusp", "points": [[0, 0, 9]], "tooth": "35"},
        {"id": "contact", "kind": "contact", "points": [[0, 0, 9]]},
        {"id": "opponent", "kind": "opponent", "points": [[0, 0, 9]]},
        {"id": "rods", "kind": "object", "points": [[0, 0, 0], [20, 0, 0]], "size_mm": 20.0},
        {
            "id": "canal-right",
            "kind": "canal",
            "points": [[0, 0, 0], [5, 1, 0]],
            "course": [[0, 0, 0], [2, 1, 0], [5, 1, 0]],
            "course_by": "LM",
        },
        {"id": "crest", "kind": "crest", "points": [[0, 0, 9]], "tooth": "35"},
    ],
    "stent_axes": [
        {"id": "channel-36", "occlusal": [0, 0, 8], "gingival": [0, 0, 2], "diameter_mm": 3.0}
    ],
    "fixtures": [
        {
            "id": "36",
            "tooth": "36",
            "platform": [0, 0, 0],
            "towards_apex": [0, 0, -1],
            "size": {
                "diameter_mm": 4.5,
                "length_mm": 8.0,
                "platform_diameter_mm": 4.2,
                "apical_diameter_mm": 3.2,
                "taper_from_mm": 4.0,
                "bone_level_mm": 0.0,
            },
        }
    ],
    "declared": [
        {
            "structure": "foramen-left",
            "state": "not near this site",
            "reason": "18 mm mesial of it",
            "by": "LM",
            "at": "2026-03-02T10:42:00+01:00",
        }
    ],
    "midline": [0, 0, 0],
    "tissue_points": [
        {"tissue": "soft tissue", "at": [1, 2, 3]},
        {"tissue": "cortex", "at": [4, 5, 6]},
        {"tissue": "marrow", "at": [7, 8, 9]},
    ],
    "side_check": {"side": "left", "against": "chart", "by": "LM", "at": "2026-03-02"},
    "image_check": {"trouble": {"streaks": "away from the site"}, "by": "LM", "at": "2026-03-02"},
    "interpreted": {"by": "a radiologist", "at": "2026-03-01"},
    "limits": {"canal": {"value": 2.5, "by": "LM", "at": "2026-03-02", "reason": "short roots"}},
    "revision": 3,
    "sign_off": None,
    "notes": ["a bare text", {"text": "with more", "by": "LM"}],
    "history": [{"who": "LM", "when": "2026-03-02", "what": "made"}],
}

SMALL = {"format": "sounding-plan", "version": 2}


def full() -> dict:
    return copy.deepcopy(FULL)


def written(tmp_path, text: str | bytes) -> Path:
    path = tmp_path / "case.plan.json"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return path


def load(tmp_path, document) -> object:
    return load_plan(written(tmp_path, json.dumps(document)))


def refused(tmp_path, document) -> PlanError:
    with pytest.raises(PlanError) as caught:
        load(tmp_path, document)
    assert "{" not in str(caught.value).replace("{...}", "")
    return caught.value


def objects_in(value, place=()):
    """Every JSON object inside a value with its place."""
    if isinstance(value, dict):
        yield place
        for key, item in value.items():
            yield from objects_in(item, (*place, key))
    if isinstance(value, list):
        for i, item in enumerate(value):
            yield from objects_in(item, (*place, i))


def at(document, place):
    for step in place:
        document = document[step]
    return document


def test_every_kind_is_read(tmp_path):
    plan = load(tmp_path, FULL)
    kinds = {type(s) for s in plan.structures}
    assert kinds == {Course, Foramen, Tapered, Floor, PointMarks, KnownObject}
    canal, foramen, root = plan.structures[:3]
    assert canal.seen == ("yes", "faint")
    assert canal.diameter_mm == 3.0
    assert foramen.loop == "not seen"
    assert (root.tooth, root.diameters_mm, root.to_be_removed) == ("35", (6.0, 2.5), False)
    assert plan.structures[4].seen == ("yes", "yes")
    assert plan.structures[-2].course.shape == (3, 3)
    assert (plan.structures[-1].kind, plan.structures[-1].tooth) == ("crest", "35")
    assert plan.side_answers.right_end == (0.0, 0.0, 0.0)
    assert plan.fixtures[0].size.taper == 4.0
    assert plan.stent_axes[0].occlusal[2] == 8.0
    assert plan.side_check.side == "left"
    assert not plan.image_check.at_the_site
    assert plan.interpreted_by == "a radiologist"
    assert plan.limits["canal"].value == 2.5
    assert plan.revision == 3
    assert plan.notes[0] == {"text": "a bare text"}


def test_only_format_and_version_are_required(tmp_path):
    plan = load(tmp_path, SMALL)
    assert plan.scan is None
    assert plan.level is None
    assert plan.structures == ()


def test_size_needs_only_diameter_and_length(tmp_path):
    document = full()
    document["fixtures"][0]["size"] = {"diameter_mm": 4.0, "length_mm": 10.0}
    size = load(tmp_path, document).fixtures[0].size
    assert (size.platform, size.apical, size.taper, size.bone_level_mm) == (4.0, 4.0, 0.5, 0.0)


@pytest.mark.parametrize("document", [FULL, SMALL], ids=["full", "small"])
def test_saved_is_what_was_read(tmp_path, document):
    plan = load(tmp_path, document)
    save_plan(plan, tmp_path / "again.plan.json")
    again = json.loads((tmp_path / "again.plan.json").read_text("utf-8"))
    for key, value in document.items():
        if key not in {"structures", "sign_off"}:
            assert again[key] == value, key
    for before, after in zip(
        document.get("structures", []), again.get("structures", []), strict=True
    ):
        # `to_be_removed: false` may stand in the file; it is kept.
        assert before == {k: v for k, v in after.items() if k in before}
    reloaded = load_plan(tmp_path / "again.plan.json")
    assert plan_fingerprint(reloaded) == plan_fingerprint(plan)
    assert document_of(reloaded) | {"history_head": None} == document_of(plan) | {
        "history_head": None
    }


@pytest.mark.parametrize("place", list(objects_in(FULL)), ids=str)
def test_an_unknown_key_stays_at_every_level(tmp_path, place):
    document = full()
    extra = {"deep": [1, {"a": None}], "text": "\N{GREEK SMALL LETTER MU}"}
    at(document, place)["x_of_another_program"] = extra
    save_plan(load(tmp_path, document), tmp_path / "again.plan.json")
    again = json.loads((tmp_path / "again.plan.json").read_text("utf-8"))
    assert at(again, place)["x_of_another_program"] == extra


def test_unknown_keys_follow_their_element_when_one_before_it_is_removed(tmp_path):
    document = full()
    document["structures"][2]["colour_of_mine"] = 7
    plan = load(tmp_path, document)
    shorter = replace(plan, structures=plan.structures[1:])
    saved = document_of(shorter)["structures"]
    assert [s["id"] for s in saved if "colour_of_mine" in s] == ["root-35"]


def test_an_edit_changes_the_file_and_the_fingerprint(tmp_path):
    plan = load(tmp_path, FULL)
    moved = replace(plan.fixtures[0], platform=np.array([0.0, 0.0, -0.1]))
    edited = replace(plan, fixtures=(moved,), image_check=ImageCheck(trouble={"noise": "none"}))
    save_plan(edited, tmp_path / "edited.plan.json")
    again = load_plan(tmp_path / "edited.plan.json")
    assert again.fixtures[0].platform.tolist() == [0.0, 0.0, -0.1]
    assert again.image_check.trouble["noise"] == "none"
    assert plan_fingerprint(again) == plan_fingerprint(edited) != plan_fingerprint(plan)


def test_what_was_taken_away_is_gone(tmp_path):
    plan = load(tmp_path, FULL)
    bare = replace(
        plan,
        midline=None,
        jaw=None,
        side_answers=SideAnswers(),
        limits={},
        structures=(),
        level=None,
    )
    saved = document_of(bare)
    assert not {"midline", "jaw", "level"} & set(saved)
    assert saved["arch"] == {"points": FULL["arch"]["points"]}
    assert saved["limits"] == {}
    assert saved["structures"] == []


def test_fingerprint_ignores_layout_sign_off_and_history():
    plan = parse(FULL)
    shuffled = parse(dict(reversed(list(full().items()))))
    assert plan_fingerprint(shuffled) == plan_fingerprint(plan)
    signed = parse(full() | {"sign_off": {"name": "LM"}, "history": []})
    assert plan_fingerprint(signed) == plan_fingerprint(plan)
    as_float = full()
    as_float["midline"] = [0.0, -0.0, 0]
    assert plan_fingerprint(parse(as_float)) == plan_fingerprint(plan)


@settings(max_examples=40)
@given(
    st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda v: sum(x * x for x in v) > 1e-6),
    st.tuples(*[st.floats(-200, 200)] * 3),
)
def test_fingerprint_survives_saving_a_direction_of_any_digits(direction, platform):
    document = full()
    document["fixtures"][0] |= {"towards_apex": list(direction), "platform": list(platform)}
    document["level"]["up"] = list(direction)
    plan = parse(document)
    # Rebuilt as an edit does, so that the direction is made unit once more.
    edited = replace(plan, fixtures=(replace(plan.fixtures[0], tooth="35"),))
    for each in (plan, edited):
        again = parse(json.loads(text_of(document_of(each))))
        assert plan_fingerprint(again) == plan_fingerprint(each)
        twice = parse(json.loads(text_of(document_of(again))))
        assert plan_fingerprint(twice) == plan_fingerprint(each)


@given(
    st.lists(st.tuples(*[st.floats(-9999, 9999)] * 3).map(list), min_size=1, max_size=6),
    st.one_of(st.none(), st.floats(0.01, 20)),
    st.text(max_size=20),
)
def test_round_trip_keeps_every_digit(points, diameter, label):
    try:
        label.encode("utf-8")
    except UnicodeEncodeError:
        label = ""
    document = SMALL | {
        "structures": [
            {"id": "c", "kind": "canal", "points": points, "diameter_mm": diameter},
            {"id": "m", "kind": "mark", "points": points, "label": label},
        ]
    }
    plan = parse(document)
    again = parse(plan_json.read_json(text_of(document_of(plan)).encode("utf-8")))
    for before, after in zip(plan.structures, again.structures, strict=True):
        assert np.array_equal(before.points, after.points)
    assert again.structures[0].diameter_mm == diameter
    assert again.structures[1].label == label


JSON = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(),
        st.floats(allow_nan=True),
        st.text(max_size=8),
        st.sampled_from(["36", "canal", "left", "yes", "99"]),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4), st.dictionaries(st.text(max_size=5), inner, max_size=3)
    ),
    max_leaves=8,
)


def places_in(value, place=()):
    yield place
    steps = value.items() if isinstance(value, dict) else ()
    steps = enumerate(value) if isinstance(value, list) else steps
    for step, item in steps:
        yield from places_in(item, (*place, step))


PLACES = [p for p in places_in(FULL) if p]


def read_or_refuse(data: bytes):
    """The plan, or None when it was refused in plain words; anything else is raised."""
    try:
        return parse(present(plan_json.read_json(data)))
    except PlanError as error:
        if not str(error):
            raise
        return None


@given(st.sampled_from(PLACES), JSON)
def test_a_mutated_plan_is_read_or_refused_in_plain_words(place, value):
    document = full()
    at(document, place[:-1])[place[-1]] = value
    plan = read_or_refuse(json.dumps(document).encode("utf-8"))
    if plan is not None:
        again = read_or_refuse(text_of(document_of(plan)).encode("utf-8"))
        assert again is not None
        assert plan_fingerprint(again) == plan_fingerprint(plan)


@given(st.integers(0, 4000), st.binary(min_size=1, max_size=3))
def test_mutated_bytes_are_read_or_refused_in_plain_words(position, junk):
    data = bytearray(json.dumps(FULL, ensure_ascii=False).encode("utf-8"))
    data[position : position + len(junk)] = junk
    plan = read_or_refuse(bytes(data))
    assert plan is None or plan_fingerprint(plan).startswith("sha256:")


def test_broken_json_is_refused_with_line_and_column_and_left_alone(tmp_path):
    path = written(tmp_path, '{\n  "format": "sounding-plan",\n  "version": 1,,\n}')
    with pytest.raises(PlanError, match="line 3, column 16") as caught:
        load_plan(path)
    assert caught.value.code == "plan-broken-json"
    assert path.read_text().endswith("1,,\n}")


def test_nothing_replaces_a_file_that_is_no_plan(tmp_path):
    path = written(tmp_path, "{broken")
    with pytest.raises(OutputError) as caught:
        save_plan(parse(SMALL), path)
    assert caught.value.code == "output-not-a-plan"
    assert path.read_text() == "{broken"


@pytest.mark.parametrize(
    ("text", "code", "place"),
    [
        ('{"format": 1,\n "format": 2}', "plan-duplicate-key", (2, 2)),
        ('{"a": {"b": 1}, "b": 2, "c": [{"d": 1,\n  "d": 1}]}', "plan-duplicate-key", (2, 3)),
        ('{"a": "NaN",\n "b": NaN}', "plan-not-a-number", (2, 7)),
        ('{"a": [1, -Infinity]}', "plan-not-a-number", (1, 11)),
        ('{"a": 1e999}', "plan-not-a-number", (1, 7)),
        ('{"a": ' + "9" * 5000 + "}", "plan-not-a-number", (1, 7)),
    ],
)
def test_faults_of_numbers_and_keys_are_named_with_their_place(tmp_path, text, code, place):
    with pytest.raises(PlanError) as caught:
        load_plan(written(tmp_path, text))
    assert caught.value.code == code
    assert (caught.value.fields["line"], caught.value.fields["column"]) == place
    assert str(caught.value)


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "plan-broken-json"),
        (b"[]", "plan-not-an-object"),
        (b'{"format": "sounding-plan"}', "plan-no-version"),
        (b'{"format": "sounding-plan", "version": true}', "plan-no-version"),
        (b'{"format": "sounding-plan", "version": 0}', "plan-no-version"),
        (b'{"format": "sounding-ledger", "version": 1}', "plan-not-a-plan"),
        (b'{"version": 1}', "plan-not-a-plan"),
        (b'{"a":\n"\xff\xfe"}', "plan-not-utf8"),
        (b"[" * 100_000, "plan-nested-too-deep"),
        (b'{"a": "\\ud800"}', "plan-half-character"),
        (b" " * (plan_json.MAX_BYTES + 1), "plan-too-large"),
    ],
)
def test_what_is_no_plan_is_refused(tmp_path, data, code):
    with pytest.raises(PlanError) as caught:
        load_plan(written(tmp_path, data))
    assert caught.value.code == code
    assert str(caught.value)


def test_a_byte_order_mark_does_no_harm(tmp_path):
    assert load_plan(written(tmp_path, b"\xef\xbb\xbf" + json.dumps(FULL).encode())).revision == 3


def test_missing_file_and_folder_are_said(tmp_path):
    with pytest.raises(PlanError, match="no plan file"):
        load_plan(tmp_path / "none.plan.json")
    with pytest.raises(PlanError) as caught:
        load_plan(tmp_path)
    assert caught.value.code == "plan-unreadable"


def test_a_newer_version_is_refused_with_that_reason(tmp_path):
    error = refused(tmp_path, FULL | {"version": 3})
    assert error.code == "plan-newer"
    assert "newer program (version 3; this one knows 2)" in str(error)


def of_version_1(document):
    """The same plan as version 1 wrote it."""
    keys = {"stent_axes": "channels"}
    return {keys.get(key, key): value for key, value in document.items()} | {"version": 1}


def test_an_older_version_is_migrated_and_the_original_kept(tmp_path):
    path = written(tmp_path, json.dumps(of_version_1(FULL)))
    original = path.read_bytes()
    plan = load_plan(path)
    assert document_of(plan) == document_of(parse(FULL))
    assert path.read_bytes() == original
    save_plan(plan, path)
    saved = json.loads(path.read_text())
    assert saved["version"] == 2
    assert "channels" not in saved
    assert (tmp_path / "case.plan.v1.json").read_bytes() == original
    save_plan(load_plan(path), path)
    assert (tmp_path / "case.plan.v1.json").read_bytes() == original


@pytest.mark.parametrize("edited", [False, True])
def test_a_signature_means_the_same_after_the_migration(tmp_path, edited):
    old = of_version_1(document_of(replace(parse(FULL), sign_off=None)))
    fingerprint = fingerprint_of(old, without=OUTSIDE_FINGERPRINT)
    old["sign_off"] = {
        "name": "A", "role": "", "at": "", "plan_fingerprint": fingerprint, "revision": 3,
    }  # fmt: skip
    if edited:
        old["midline"] = [9, 9, 9]
    plan = load_plan(written(tmp_path, json.dumps(old)))
    assert sign_off_state(plan) == ("void" if edited else "signed")
    save_plan(plan, tmp_path / "case.plan.json")
    assert sign_off_state(load_plan(tmp_path / "case.plan.json")) == sign_off_state(plan)


@pytest.mark.parametrize(
    ("place", "value", "where", "found"),
    [
        (("structures", 2, "points", 0, 1), "x", "structures[2].points[0][1]", "the text 'x'"),
        (("structures", 0, "points", 1), [1, 2], "structures[0].points[1]", "a list of 2"),
        (("structures", 0, "kind"), "tumour", "structures[0].kind", "'tumour'"),
        (("structures", 0, "seen"), ["yes"], "structures[0].seen", "a list of 1"),
        (("structures", 0, "seen", 0), "maybe", "structures[0].seen[0]", "'maybe'"),
        (("structures", 0, "diameter_mm"), -3, "structures[0].diameter_mm", "number -3"),
        (("structures", 0, "id"), "Canal Left", "structures[0].id", "'Canal Left'"),
        (("structures", 3, "of"), "ear", "structures[3].of", "'ear'"),
        (("jaw",), "middle", "jaw", "'middle'"),
        (("arch", "points"), [[0, 0, 0]], "arch.points", "a list of 1"),
        (("arch", "starts"), "left", "arch.starts", "'left'"),
        (("fixtures", 0, "platform", 0), 1e6, "fixtures[0].platform[0]", "1000000"),
        (("fixtures", 0, "platform", 0), True, "fixtures[0].platform[0]", "true"),
        (("fixtures", 0, "tooth"), 36, "fixtures[0].tooth", "the number 36"),
        (("side_check", "side"), "Left", "side_check.side", "'Left'"),
        (("image_check", "trouble", "streaks"), "some", "trouble.streaks", "'some'"),
        (("limits", "canal", "value"), -1, "limits.canal.value", "-1"),
        (("declared", 0, "state"), "gone", "declared[0].state", "'gone'"),
        (("revision",), 1.5, "revision", "1.5"),
        (("sites",), {}, "sites", "an object"),
        (("scan", "series_uid"), 7, "scan.series_uid", "the number 7"),
    ],
)
def test_a_wrong_value_names_its_place_and_what_was_found(tmp_path, place, value, where, found):
    document = full()
    at(document, place[:-1])[place[-1]] = value
    error = refused(tmp_path, document)
    assert error.code == "plan-invalid"
    assert where in str(error)
    assert found in str(error)


@pytest.mark.parametrize(
    ("place", "key"),
    [
        (("fixtures", 0), "platform"),
        (("fixtures", 0), "towards_apex"),
        (("fixtures", 0), "size"),
        (("fixtures", 0, "size"), "length_mm"),
        (("structures", 0), "points"),
        (("structures", 1), "distal"),
        (("structures", 2), "diameters_mm"),
        (("structures", 14), "size_mm"),
        (("level",), "up"),
        (("sites", 0), "station_mm"),
        (("stent_axes", 0), "gingival"),
        (("limits", "canal"), "value"),
    ],
)
def test_a_missing_key_names_its_place(tmp_path, place, key):
    document = full()
    del at(document, place)[key]
    error = refused(tmp_path, document)
    assert error.code == "plan-missing-key"
    assert error.fields["key"] == key


@pytest.mark.parametrize(
    ("place", "value", "part"),
    [
        (("fixtures", 0, "size", "apical_diameter_mm"), 6.0, "fixtures[0].size"),
        (("fixtures", 0, "size", "taper_from_mm"), 9.0, "fixtures[0].size"),
        (("fixtures", 0, "towards_apex"), [0, 0, 0], "fixtures[0].towards_apex"),
        (("level", "up"), [0, 0, 0], "level.up"),
        (("stent_axes", 0, "gingival"), [0, 0, 8], "stent_axes[0]"),
    ],
)
def test_what_cannot_be_built_names_its_place(tmp_path, place, value, part):
    document = full()
    at(document, place[:-1])[place[-1]] = value
    error = refused(tmp_path, document)
    assert error.code == "plan-invalid-value"
    assert part in str(error)


def test_milk_teeth_are_refused_with_the_place(tmp_path):
    document = full()
    document["fixtures"][0]["tooth"] = "75"
    assert "fixtures[0].tooth: 75 is a deciduous tooth" in str(refused(tmp_path, document))


@pytest.mark.parametrize("into", ["structures", "fixtures"])
def test_the_same_id_twice_is_refused(tmp_path, into):
    document = full()
    twin = copy.deepcopy(document[into][0])
    twin["id"] = "root-35"
    document[into].append(twin)
    assert refused(tmp_path, document).code == "plan-same-id"


def test_not_near_this_site_needs_a_reason(tmp_path):
    document = full()
    document["declared"][0]["reason"] = "  "
    assert refused(tmp_path, document).code == "plan-reason-missing"
    document["declared"][0] |= {"state": "looked for, not visible"}
    assert load(tmp_path, document).declared[0].state == "looked for, not visible"


IDENTITY = ScanIdentity(series_uid="1.2.3", frame_of_reference_uid="1.2.4")


@pytest.mark.parametrize(
    ("identity", "fingerprint"),
    [
        (ScanIdentity(series_uid="9", frame_of_reference_uid="1.2.4"), ""),
        (ScanIdentity(series_uid="1.2.3", frame_of_reference_uid="9"), ""),
        (ScanIdentity(series_uid="1.2.3"), ""),
    ],
)
def test_another_scan_is_refused(identity, fingerprint):
    with pytest.raises(PlanError) as caught:
        check_scan(parse(FULL), identity, fingerprint=fingerprint)
    assert caught.value.code == "plan-other-scan"
    assert "another scan" in str(caught.value)


def test_a_scan_that_changed_under_the_same_identifiers_is_refused():
    with pytest.raises(PlanError) as caught:
        check_scan(parse(FULL), IDENTITY, fingerprint="sha256:other")
    assert caught.value.code == "plan-scan-changed"
    assert "no number is given" in str(caught.value)


def test_its_own_scan_is_taken_and_none_is_said():
    assert check_scan(parse(FULL), IDENTITY, fingerprint="sha256:abc") == ()
    assert check_scan(parse(FULL), IDENTITY) == ()
    (finding,) = check_scan(parse(SMALL), IDENTITY)
    assert finding.code == "plan-not-tied"


def test_a_plan_is_tied_at_its_first_save_and_checked_ever_after(tmp_path):
    tied = tied_to(parse(SMALL), IDENTITY, fingerprint="sha256:abc")
    assert tied.scan == ScanTie(
        series_uid="1.2.3", frame_of_reference_uid="1.2.4", fingerprint="sha256:abc"
    )
    save_plan(tied, tmp_path / "tied.plan.json")
    with pytest.raises(PlanError, match="another scan"):
        check_scan(load_plan(tmp_path / "tied.plan.json"), ScanIdentity(series_uid="9"))
    with pytest.raises(PlanError, match="not the one that the plan was made on"):
        tied_to(tied, IDENTITY, fingerprint="sha256:other")


def test_the_file_is_for_people(tmp_path):
    save_plan(parse(FULL), tmp_path / "p.plan.json")
    text = (tmp_path / "p.plan.json").read_text("utf-8")
    assert all(len(line) <= 101 for line in text.splitlines())
    assert '"points": [[0, 0, 0], [5, 1, 0]]' in text
