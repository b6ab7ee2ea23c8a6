"""Teeth: both systems, names, neighbours, and what must be marked."""

from __future__ import annotations

import numpy as np
import pytest

from core.errors import PlanError
from core.identity import Tooth, declared_name, expected_structures, structure_words
from core.structures import Course, Floor, Foramen, PointMarks, Tapered

ALL = [Tooth(q, p) for q in (1, 2, 3, 4) for p in range(1, 9)]


def test_words_give_both_systems():
    assert str(Tooth.of("36").words()) == "36, lower left first molar (19 in 1–32)"
    assert str(Tooth.of("11").words()) == "11, upper right central incisor (8 in 1–32)"
    assert str(Tooth.of("48").words()) == "48, lower right third molar (32 in 1–32)"


@pytest.mark.parametrize("tooth", ALL, ids=lambda t: t.iso)
def test_both_systems_lead_back(tooth):
    assert Tooth.of(tooth.iso) == tooth
    assert Tooth.of_1_to_32(tooth.number_1_to_32) == tooth


@pytest.mark.parametrize(
    ("iso", "jaw", "side"),
    [
        ("18", "upper", "right"),
        ("21", "upper", "left"),
        ("36", "lower", "left"),
        ("45", "lower", "right"),
    ],
)
def test_jaw_and_side_are_the_patients(iso, jaw, side):
    assert (Tooth.of(iso).jaw, Tooth.of(iso).side) == (jaw, side)


@pytest.mark.parametrize("text", ["", "3", "36 ", "361", "09", "19", "30", "39", "49", "ab", "³⁶"])
def test_what_is_no_tooth_is_refused(text):
    with pytest.raises(PlanError) as caught:
        Tooth.of(text)
    assert caught.value.code == "tooth-unknown"
    assert "not a valid" in str(caught.value)


@pytest.mark.parametrize("text", ["51", "55", "65", "71", "85"])
def test_milk_teeth_are_refused_in_plain_words(text):
    with pytest.raises(PlanError, match=f"{text} is a deciduous tooth"):
        Tooth.of(text)


@pytest.mark.parametrize("text", ["56", "66", "50", "90"])
def test_numbers_beside_the_milk_teeth_are_no_teeth(text):
    with pytest.raises(PlanError, match="not a valid"):
        Tooth.of(text)


@pytest.mark.parametrize("number", [0, 33, -1])
def test_outside_1_to_32_is_refused(number):
    with pytest.raises(PlanError, match="1–32"):
        Tooth.of_1_to_32(number)


@pytest.mark.parametrize(
    ("iso", "neighbours"),
    [("36", ["35", "37"]), ("11", ["21", "12"]), ("41", ["31", "42"]), ("28", ["27"])],
)
def test_neighbours(iso, neighbours):
    assert [t.iso for t in Tooth.of(iso).neighbours()] == neighbours


@pytest.mark.parametrize("tooth", ALL, ids=lambda t: t.iso)
def test_neighbours_are_mutual(tooth):
    for neighbour in tooth.neighbours():
        assert tooth in neighbour.neighbours()
        assert neighbour.jaw == tooth.jaw


@pytest.mark.parametrize(
    ("iso", "names"),
    [
        ("36", ["canal", "foramen", "root of 35", "root of 37"]),
        ("38", ["canal", "foramen", "root of 37"]),
        ("35", ["canal", "foramen", "loop", "root of 34", "root of 36"]),
        ("44", ["canal", "foramen", "loop", "root of 43", "root of 45"]),
        ("33", ["loop", "root of 32", "root of 34"]),
        ("42", ["loop or foramen", "root of 41", "root of 43"]),
        ("16", ["sinus floor", "root of 15", "root of 17"]),
        ("24", ["sinus floor", "root of 23", "root of 25"]),
        ("21", ["nasal floor", "root of 11", "root of 22"]),
    ],
)
def test_what_must_be_marked(iso, names):
    assert [str(e.words()) for e in expected_structures(Tooth.of(iso))] == names


P = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 5.0]])


@pytest.mark.parametrize(
    ("structure", "name"),
    [
        (Course(id="a", kind="canal", points=P), "canal"),
        (Course(id="a", kind="loop", points=P), "loop"),
        (Course(id="a", kind="vessel", points=P), ""),
        (Foramen(id="a", mesial=P[0], distal=P[1]), "foramen"),
        (Floor(id="a", of="sinus", points=P), "sinus"),
        (Floor(id="a", of="nasal", points=P), "nasal floor"),
        (Tapered(id="a", kind="root", tooth="35", points=P, diameters_mm=(6, 2)), "root-35"),
        (Tapered(id="a", kind="existing", tooth="35", points=P, diameters_mm=(6, 2)), ""),
        (PointMarks(id="a", kind="mark", points=P), ""),
    ],
)
def test_a_structure_answers_only_for_its_kind(structure, name):
    assert declared_name(structure) == name
    expected = expected_structures(Tooth.of("36"))
    hits = [e.name for e in expected if e.is_marked_by(structure)]
    assert hits == ([name] if name in {"canal", "foramen", "root-35"} else [])


def test_either_loop_or_foramen_is_enough_for_lower_incisors():
    (either, *_) = expected_structures(Tooth.of("31"))
    assert either.is_marked_by(Foramen(id="a", mesial=P[0], distal=P[1]))
    assert either.is_marked_by(Course(id="a", kind="loop", points=P))
    assert not either.is_marked_by(Course(id="a", kind="canal", points=P))


def test_structure_words():
    assert str(structure_words("root-37")) == "root of 37"
    assert str(structure_words("canal")) == "canal"


def test_what_has_no_name_is_called_nothing():
    from core.identity import thing_words

    assert str(thing_words("")) == ""
    assert str(thing_words("canal-left")) == "canal left"
