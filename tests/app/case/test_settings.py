"""Settings: there and back, broken files, practice limits; and a log without names."""

import json
import logging

import pytest

from app.background.log_setup import start_logging
from app.case.settings import SettingsStore, with_practice_limits
from app.case.settings_text import settings_of_document, to_text
from app.case.settings_value import Settings
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
