"""One description of the plan document: what is written is read back, and the schema says it."""

from __future__ import annotations

import copy
import dataclasses
import json

import jsonschema
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import sample_volumes
from core.direction import REGIONS, CheekAnswer, SideAnswers
from core.distances.drilling import ORIGINS
from core.errors import PlanError
from core.fixture import Fixture, FixtureSize
from core.kinds import KIND
from core.level import Level
from core.plans.limits import KEYS
from core.plans.plan import (
    TISSUES,
    TROUBLE_PLACES,
    TROUBLES,
    ChangedLimit,
    Declaration,
    ImageCheck,
    OwnHand,
    Plan,
    ScanTie,
    SideCheck,
    SignOff,
    Site,
    TissuePoint,
)
from core.plans.plan_dump import document_of
from core.plans.plan_parse import parse
from core.plans.plan_table import STATES, plan_schema
from core.structures import (
    AngleMark,
    Course,
    Floor,
    Foramen,
    KnownObject,
    PointMarks,
    Ruler,
    StentAxis,
    Tapered,
)
from tests.core.plans.test_plan_file import FULL, at, objects_in

SCHEMA = jsonschema.Draft202012Validator(plan_schema())

MM = st.floats(-200, 200).map(lambda v: round(v, 4))
POINT = st.tuples(MM, MM, MM)
LENGTH = st.floats(0.1, 20).map(lambda v: round(v, 4))
DIRECTION = POINT.filter(lambda p: np.linalg.norm(p) > 1.0)
TEXT = st.text(max_size=8)
TOOTH = st.sampled_from(["", "11", "25", "36", "48"])
SEEN = st.sampled_from(["yes", "faint", "no"])
MAYBE = st.none() | LENGTH


def marks(least):
    return st.lists(POINT, min_size=least, max_size=5)


def apart(least):
    steps = st.lists(LENGTH, min_size=least, max_size=least)
    return st.tuples(POINT, steps).map(
        lambda drawn: [np.add(drawn[0], (sum(drawn[1][:n]), n % 2, 0)) for n in range(least)]
    )


@st.composite
def structures(draw, kind_id, name):
    shape = KIND[kind_id].shape
    places = draw(marks(2 if shape == "tapered" else 1))
    seen = tuple(draw(st.lists(SEEN, min_size=len(places), max_size=len(places))))
    match shape:
        case "course":
            course = draw(st.none() | marks(2))
            return Course(
                id=name, kind=kind_id, points=places, seen=seen, diameter_mm=draw(MAYBE),
                diameter_sd_mm=draw(MAYBE), course=course, course_by=draw(TEXT),
            )  # fmt: skip
        case "foramen":
            upper = draw(st.none() | POINT)
            return Foramen(id=name, kind=kind_id, mesial=draw(POINT), distal=draw(POINT),
                           upper=upper, loop=draw(TEXT))  # fmt: skip
        case "tapered":
            return Tapered(id=name, kind=kind_id, tooth=draw(TOOTH), points=places, seen=seen,
                           diameters_mm=(draw(LENGTH), draw(LENGTH)),
                           to_be_removed=draw(st.booleans()))  # fmt: skip
        case "floor":
            return Floor(id=name, of=kind_id, points=places, seen=seen,
                         elevation_intended=draw(st.booleans()))  # fmt: skip
        case "points":
            return PointMarks(id=name, kind=kind_id, points=places, label=draw(TEXT),
                              tooth=draw(TOOTH))  # fmt: skip
        case "object":
            return KnownObject(id=name, points=draw(apart(2)), size_mm=draw(LENGTH))


@st.composite
def plans(draw):
    kinds = draw(st.lists(st.sampled_from(sorted(KIND)), max_size=3))
    told = st.builds(lambda by, at: {"by": by, "at": at}, TEXT, TEXT)
    cheek = st.none() | st.builds(CheekAnswer, at=POINT, towards=DIRECTION)
    answers = st.builds(
        SideAnswers, region=st.none() | st.sampled_from(REGIONS), cheek=cheek,
        front_end=st.none() | POINT, right_end=st.none() | POINT,
    )  # fmt: skip
    arch = draw(st.none() | marks(2))
    size = FixtureSize(
        diameter_mm=4.0, length_mm=10.0, apical_diameter_mm=draw(st.none() | st.just(3.0))
    )
    fixture = st.builds(
        lambda tooth, platform, way: Fixture(
            id="36", tooth=tooth, platform=platform, towards_apex=way, size=size
        ), TOOTH, POINT, DIRECTION,
    )  # fmt: skip
    declared = st.builds(
        lambda state, reason, who: Declaration(
            structure="root-35", state=state, reason=f"r{reason}", **who
        ), st.sampled_from(STATES), TEXT, told,
    )  # fmt: skip
    limit = st.builds(
        lambda value, reason, who: ChangedLimit(value=value, reason=reason, **who),
        st.floats(0, 50), TEXT, told,
    )  # fmt: skip
    return Plan(
        scan=draw(st.none() | st.builds(ScanTie, series_uid=st.just("1.2"), fingerprint=TEXT)),
        jaw=draw(st.sampled_from([None, "lower", "upper"])),
        level=draw(st.none() | st.builds(Level, origin=POINT, up=DIRECTION)),
        arch_points=arch,
        side_answers=SideAnswers() if arch is None else draw(answers),
        sites=draw(st.just(()) | st.tuples(
            st.builds(Site, id=st.just("site-1"), tooth=TOOTH, station_mm=MM))),
        structures=tuple(
            draw(structures(kind, f"{kind.replace('_', '-')}-{n}")) for n, kind in enumerate(kinds)
        ),
        stent_axes=draw(st.just(()) | st.tuples(st.builds(
            lambda a, b, sd: StentAxis(id="channel", occlusal=a, gingival=np.add(a, b),
                                       offset_sd_mm=sd),
            POINT, DIRECTION, st.sampled_from([0.0, 0.2])))),
        fixtures=draw(st.just(()) | st.tuples(fixture)),
        rulers=draw(st.just(()) | st.tuples(
            st.builds(Ruler, id=st.just("r"), points=apart(2), label=TEXT))),
        angles=draw(st.just(()) | st.tuples(
            st.builds(AngleMark, id=st.just("a"), points=apart(3), label=TEXT))),
        locked=draw(st.sampled_from([(), ("36",)])),
        declared=draw(st.just(()) | st.tuples(declared)),
        midline=draw(st.none() | POINT),
        tissue_points=draw(st.just(()) | st.tuples(
            st.builds(TissuePoint, tissue=st.sampled_from(TISSUES), at=POINT))),
        side_check=draw(st.none() | st.builds(SideCheck, side=st.just("left"), against=TEXT)),
        # An answer with nothing in it is none, and nobody signs without a name.
        image_check=draw(st.none() | st.builds(ImageCheck, trouble=st.dictionaries(
            st.sampled_from(TROUBLES), st.sampled_from(TROUBLE_PLACES)), by=st.just("LM"))),
        depth_from=draw(st.none() | st.sampled_from(ORIGINS)),
        own_hand=draw(st.none() | st.builds(OwnHand, person=st.just("LM"), sd_mm=st.floats(0, 5),
                                            marks=st.integers(0, 9), studied=TEXT)),
        interpreted_by=draw(TEXT),
        interpreted_at=draw(TEXT),
        limits=draw(st.dictionaries(st.sampled_from(KEYS), limit, max_size=2)),
        reasons=draw(st.dictionaries(st.just("36"), TEXT)),
        sign_off=draw(st.none() | st.builds(SignOff, name=st.just("LM"), role=TEXT,
                                            revision=st.integers(0, 9))),
        revision=draw(st.integers(1, 99)),
        notes=draw(st.sampled_from([(), ({"text": "here", "by": "LM"},)])),
        history=draw(st.sampled_from([(), ({"who": "LM", "what": "made"},)])),
    )  # fmt: skip


def values(item):
    """Everything in a value, arrays as lists; the document as read left out."""
    if dataclasses.is_dataclass(item):
        fields = [f.name for f in dataclasses.fields(item) if f.name != "document"]
        return type(item).__name__, {name: values(getattr(item, name)) for name in fields}
    if isinstance(item, np.ndarray):
        return item.tolist()
    if isinstance(item, tuple | list):
        return [values(x) for x in item]
    if hasattr(item, "items"):
        return {key: values(x) for key, x in item.items()}
    return item


@settings(max_examples=25)
@given(plans())
def test_what_is_written_is_read_back_and_fits_the_schema(plan):
    document = json.loads(json.dumps(document_of(plan)))
    again = parse(document)
    # A direction is made unit again when it is read, which may move its last digit.
    assert rounded(values(again)) == rounded(values(plan))
    assert document_of(again) == document
    assert [e.message for e in SCHEMA.iter_errors(document)] == []


def rounded(item):
    if isinstance(item, float):
        return round(item, 12) + 0.0
    if isinstance(item, list | tuple):
        return [rounded(x) for x in item]
    return {k: rounded(x) for k, x in item.items()} if isinstance(item, dict) else item


def test_the_schema_is_one_and_the_samples_fit_it():
    jsonschema.Draft202012Validator.check_schema(plan_schema())
    json.dumps(plan_schema())
    assert SCHEMA.is_valid(FULL)
    for name in ("lower_left_36", "lower_left_36_wrong", "upper_right_15", "upper_right_15_wrong"):
        text = sample_volumes.path(f"{name}.plan.json").read_text("utf-8")
        assert SCHEMA.is_valid(json.loads(text)), name


def places(value, place=()):
    yield place
    if isinstance(value, dict):
        for key, item in value.items():
            yield from places(item, (*place, key))
    if isinstance(value, list):
        for i, item in enumerate(value[:1]):
            yield from places(item, (*place, i))


def small_documents():
    """The whole, a key at a time, and of structures one of each shape at a time."""
    shapes = {}
    for structure in FULL["structures"]:
        kind = {"floor": "sinus"}.get(structure["kind"], structure["kind"])
        shapes.setdefault(KIND[kind].shape, structure)
    assert len(shapes) == 6
    for key, value in FULL.items():
        if key not in ("format", "version", "structures"):
            yield {key: value}
    for structure in shapes.values():
        yield {"structures": [structure]}


@pytest.mark.parametrize("wrong", ["x", -1, [], {}, None], ids=repr)
def test_schema_and_reader_refuse_the_same(wrong):
    """Apart from what no schema tells: what a value's own checks and counts refuse."""
    refused = 0
    for small in small_documents():
        for place in places(small):
            if not place:
                continue
            document = {"format": "sounding-plan", "version": 2} | copy.deepcopy(small)
            at(document, place[:-1])[place[-1]] = wrong
            try:
                parse(document)
                reads = True
            except PlanError as error:
                reads = error.code in ("plan-invalid-value", "plan-reason-missing")
                # There must be as many answers as there are marks.
                reads |= place[-1] == "seen" and wrong == []
            assert SCHEMA.is_valid(document) == reads, (place, wrong)
            refused += not reads
    assert refused > 40


def test_keys_that_are_not_known_stay_wherever_they_stand():
    document = copy.deepcopy(FULL)
    document["arch"] |= {"cheek": {"at": [0, 0, 0], "towards": [1, 0, 0]}}
    everywhere = list(objects_in(document))
    for place in everywhere:
        at(document, place)["from another program"] = {"kept": [1, 2.0]}
    written = document_of(parse(document))
    for place in everywhere:
        assert at(written, place)["from another program"] == {"kept": [1, 2.0]}, place
