"""Settings: there and back, broken files, practice limits; and a log without names."""

import copy
import json
import logging

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from app.background.log_setup import start_logging
from app.case.settings import SettingsStore, with_practice_limits
from app.case.settings_table import SETTINGS, settings_of_document, settings_schema, to_text
from app.case.settings_value import WINDOWS, Settings
from core.image.radiograph import Tube
from core.measuring.control_film import FilmResult
from core.measuring.drill_table import Drill
from core.plans.plan import ChangedLimit, Plan
from core.sheet.day import Pin


def test_there_and_back():
    settings = Settings(
        numbering="1-32",
        paper="Letter",
        window="bone",
        names_hidden=True,
        initials="LM",
        limits={"canal": 2.5},
        drills=(
            Drill(name="pilot", diameter_mm=2.0, marks_include_tip="no", tip_mm=0.8),
            Drill(name="second", marks_mm=(6.0, 8.0), step_mm=1.0),
        ),
        risks_file="risks.txt",
        tube=Tube(source_to_film_mm=250.0, object_to_film_mm=12.5),
        pin=Pin(above_mm=4.0, diameter_mm=2.5),
        control_films=(
            FilmResult(
                by="LM", at="2026-11-24", case="ab12", what="apex to canal", difference_mm=-0.4
            ),
        ),
    )
    assert settings_of_document(json.loads(to_text(settings))) == (settings, ())


@pytest.mark.parametrize(
    "text",
    [
        "{",
        "[]",
        '{"format": "sounding-settings", "paper": "A5"}',
        '{"format": "sounding-settings", "limits": {"canal": 0.5}}',
        '{"format": "sounding-settings", "limits": {"nothing": 2}}',
        '{"format": "sounding-settings", "drills": [{"name": "a", "marks_mm": [8, 6]}]}',
        '{"format": "sounding-settings", "drills": [{"name": "a", "diameter_mm": 0}]}',
        '{"format": "sounding-settings", "control_films": [{"by": "LM"}]}',
        '{"format": "sounding-settings", "tube": {"source_to_film_mm": 20}}',
        '{"format": "sounding-settings", "tube": {"object_to_film_mm": -1}}',
        '{"format": "sounding-settings", "tube": {"source_to_film_mm": NaN}}',
        '{"format": "sounding-settings", "tube": 300}',
        '{"format": "sounding-settings", "pin": {"diameter_mm": 60}}',
        '{"format": "sounding-settings", "pin": {"above_mm": NaN}}',
        (
            '{"format": "sounding-settings", "control_films": [{"by": "LM", "at": "", "case": "",'
            ' "what": "apex to canal", "difference_mm": NaN}]}'
        ),
        '{"format": "sounding-settings", "sizes": ["diameter_mm,length_mm", "4,x"]}',
    ],
)
def test_a_broken_file_stops_nothing_and_is_kept(qtbot, tmp_path, text):
    path = tmp_path / "settings.json"
    path.write_text(text, encoding="utf-8")
    store = SettingsStore(path=path)
    assert store.value == Settings()
    assert "settings could not be read" in store.trouble
    assert path.with_suffix(".unread.json").read_text(encoding="utf-8") == text


def test_practice_limits_are_seen_as_changes_and_never_replace_a_plans_own():
    settings = Settings(limits={"canal": 2.5, "root": 2.0, "floor": 1.0})
    plan = Plan(limits={"root": ChangedLimit(value=1.8, by="LM", at="", reason="")})
    changed = with_practice_limits(plan, settings, at="2026-11-24T10:00:00Z").limits
    assert changed["canal"].value == 2.5
    assert changed["canal"].by == "practice settings"
    assert changed["root"].value == 1.8
    assert "floor" not in changed, "it is the shipped value"


def test_the_log_holds_places_and_no_words_of_errors(tmp_path):
    path = start_logging(tmp_path / "bench.log")
    log = logging.getLogger("sounding.test")
    try:
        int("QUARRY^Sample in scans/QUARRY")
    except ValueError:
        log.exception("work failed")
    text = path.read_text(encoding="utf-8")
    assert "ValueError" in text
    assert "test_settings.py" in text
    assert "QUARRY" not in text


def test_without_a_place_for_a_log_the_program_goes_on(tmp_path):
    (tmp_path / "logs").write_text("in the way", encoding="utf-8")
    assert start_logging(tmp_path / "logs" / "bench.log") is None


SCHEMA = Draft202012Validator(settings_schema())
NUMBERS = st.floats(0.1, 5.0).map(lambda value: round(value, 3))


@given(
    st.builds(
        Settings,
        numbering=st.sampled_from(["iso", "1-32"]),
        window=st.sampled_from(WINDOWS),
        names_hidden=st.booleans(),
        name=st.text(max_size=8),
        limits=st.dictionaries(st.sampled_from(["canal", "root", "floor"]), st.floats(2.0, 20.0)),
        tube=st.builds(
            Tube, source_to_film_mm=st.floats(100, 1000), object_to_film_mm=st.floats(0, 50)
        ),
        pin=st.builds(Pin, above_mm=st.floats(0, 30), diameter_mm=st.floats(0.5, 6)),
        drills=st.lists(
            st.builds(
                Drill,
                name=st.text(max_size=5),
                diameter_mm=st.none() | NUMBERS,
                marks_mm=st.lists(NUMBERS, unique=True).map(sorted).map(tuple),
                step_mm=NUMBERS,
                tip_mm=st.none() | NUMBERS,
            ),
            max_size=3,
        ).map(tuple),
    )
)
def test_what_is_written_is_what_the_schema_tells_and_what_is_read(settings):
    document = json.loads(to_text(settings))
    SCHEMA.validate(document)
    assert settings_of_document(document) == (settings, ())


DRILLED = {"name": "a", "diameter_mm": 2.0, "marks_mm": [6.0, 8.0], "mark_step_mm": 0.5,
           "marks_include_tip": "no", "tip_mm": 0.4}  # fmt: skip
FILMED = {"by": "LM", "at": "", "case": "a", "what": "apex to canal", "difference_mm": 0.1}


@pytest.mark.parametrize("wrong", ["x", -1, True, 1e9, None, [], {}, ["x"], [1e9]], ids=repr)
def test_schema_and_reader_of_settings_refuse_the_same(wrong):
    """Apart from a key that may be left out of an object: no schema asks for it, no reader does."""
    full = json.loads(to_text(Settings(
        limits={"canal": 2.5}, drills=settings_of_document({"drills": [DRILLED]})[0].drills,
        control_films=settings_of_document({"control_films": [FILMED]})[0].control_films,
    )))  # fmt: skip
    places = [(one.name,) for one in SETTINGS]
    places += [("tube", key) for key in full["tube"]] + [("pin", key) for key in full["pin"]]
    places += [("limits", "canal"), ("limits", "nothing")]
    places += [("drills", 0, key) for key in DRILLED] + [("control_films", 0, k) for k in FILMED]
    refused = 0
    for place in places:
        document = copy.deepcopy(full)
        part = document
        for step in place[:-1]:
            part = part[step]
        part[place[-1]] = wrong
        _, unread = settings_of_document(document)
        assert SCHEMA.is_valid(document) == (not unread), (place, unread)
        refused += bool(unread)
    assert refused > 20
