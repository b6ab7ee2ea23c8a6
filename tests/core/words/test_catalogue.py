"""A key becomes a sentence in the language that is spoken; a `.po` file is read as gettext does."""

from __future__ import annotations

import re
import threading

import pytest

from core.words import catalogue as c
from core.words.po import read_po
from core.words.pseudo import PSEUDO, pseudo
from core.words.values import within_a_line

# The form of the file: GNU gettext manual, "The Format of PO Files" and "Plural forms".
FILE = r"""
# A remark of the translator.
msgid ""
msgstr ""
"Language: xx\n"
"Plural-Forms: nplurals=3; plural=(n==1 ? 0 : n==2 ? 1 : 2);\n"

#. The English text
msgid "room.said.twice"
msgstr "Zwei "
"Teile mit \"Zeichen\" und \\ und\nneuer Zeile."

#, fuzzy
msgid "room.marks"
msgid_plural "room.marks"
msgstr[0] "{count} Marke"
msgstr[1] "beide Marken"
msgstr[2] "{count:.1f} Marken"

msgid "room.depth"
msgstr "{mm:.1f} mm, {name}, {text}"
"""


@pytest.fixture
def xx(tmp_path, monkeypatch):
    """Another language beside the English one."""
    for name in ("en", "xx"):
        (tmp_path / name).mkdir()
    (tmp_path / "xx" / "room.po").write_text(FILE, "utf-8")
    english = FILE.replace("beide Marken", "both marks")
    (tmp_path / "en" / "room.po").write_text(
        english + '\nmsgid "room.only"\nmsgstr "only {a}"\n', "utf-8"
    )
    (tmp_path / "xx" / "numbers.po").write_text(
        'msgid "numbers.decimal-sign"\nmsgstr ","\n', "utf-8"
    )
    monkeypatch.setattr(c, "LOCALE", tmp_path)
    monkeypatch.setattr(c, "_screen", "en")
    c.catalogue_of.cache_clear()
    c.languages.cache_clear()
    yield "xx"
    c.catalogue_of.cache_clear()
    c.languages.cache_clear()


def test_the_file_is_read_as_the_manual_says():
    header, entries = read_po(FILE)
    assert header["Language"] == "xx"
    twice = entries["room.said.twice"]
    assert twice.forms == ('Zwei Teile mit "Zeichen" und \\ und\nneuer Zeile.',)
    assert twice.comment == "The English text"
    assert len(entries["room.marks"].forms) == 3


@pytest.mark.parametrize(
    ("text", "line"),
    [('msgid "a"\nmsgstr "b"\nnonsense', 3), ('msgid "a"\n\nmsgstr "b', 3), ('\n"alone"', 2)],
)
def test_a_broken_file_is_refused_with_its_line(text, line):
    with pytest.raises(ValueError, match=f"line {line}"):
        read_po(text)


def test_a_key_that_stands_twice_is_refused():
    with pytest.raises(ValueError, match="twice"):
        read_po('msgid "a"\nmsgstr "b"\n\nmsgid "a"\nmsgstr "c"\n')


def test_a_language_is_spoken_within_a_block_only(xx):
    assert c.language() == "en"
    with c.speaking(xx):
        assert c.say("room.marks", count=2) == "beide Marken"
        with c.speaking("en"):
            assert c.say("room.marks", count=2) == "both marks"
        with c.speaking("none such"):
            assert c.language() == xx
    assert c.language() == "en"


def test_a_message_is_said_in_the_language_of_the_moment_it_is_shown(xx):
    inner = c.message("room.marks", count=2)
    outer = c.message("room.only", a=inner)
    assert str(outer) == "only both marks"
    assert f"{outer}!" == "only both marks!"
    with c.speaking(xx):
        assert str(outer) == "only beide Marken", "what has no translation stands in English"
    assert outer == c.message("room.only", a=c.message("room.marks", count=2))


def test_the_plural_rule_of_the_language_chooses(xx):
    with c.speaking(xx):
        assert c.say("room.marks", count=1) == "1 Marke"
        assert c.say("room.marks", count=-1) == "-1 Marke"
    with pytest.raises(TypeError, match="whole number"):
        c.say("room.marks", count="2")
    with pytest.raises(KeyError):
        c.say("room.marks")


def test_numbers_take_the_decimal_sign_and_texts_do_not(xx):
    fields = {"mm": 1.25, "name": "A. Bell", "text": "2.5"}
    assert c.say("room.depth", **fields) == "1.2 mm, A. Bell, 2.5"
    with c.speaking(xx):
        assert c.say("room.depth", **fields) == "1,2 mm, A. Bell, 2.5"


def test_a_worker_thread_speaks_as_the_screen_does(xx):
    heard = []
    c.speak(xx)
    thread = threading.Thread(target=lambda: heard.append(c.language()))
    thread.start()
    thread.join()
    assert heard == [xx]
    c.speak("none such")
    assert c.language() == "en"


def test_what_is_missing_is_a_fault_of_the_program():
    with pytest.raises(KeyError, match="no sentence"):
        c.say("guide.bar.no-such")
    with pytest.raises(KeyError):
        c.say("guide.bar.number", at=1)


def test_the_ledger_file_is_the_same_in_every_language():
    from core.measuring.ledger import Ledger

    class Said(Ledger):
        def _as_json(self) -> str:
            return c.language()

    with c.speaking("de"):
        assert c.language() == "de"
        assert Said.to_json(object.__new__(Said)) == "en"


def test_the_language_that_nobody_speaks_is_longer_keeps_fields_and_is_not_offered():
    assert PSEUDO not in c.languages()
    assert pseudo("{count:.1f} mm in <b>PDF</b>").startswith("{count:.1f} mm ")
    lengths = []
    for room in c.rooms():
        english, other = (c.catalogue_of(code, room).entries for code in ("en", PSEUDO))
        assert english.keys() == other.keys()
        for key, entry in english.items():
            for plain, drawn_out in zip(entry.forms, other[key].forms, strict=True):
                assert re.findall(r"\{[^{}]*\}", plain) == re.findall(r"\{[^{}]*\}", drawn_out)
                lengths += [(len(plain), len(drawn_out))]
    before, after = map(sum, zip(*lengths, strict=True))
    assert 1.35 < after / before < 1.5
    with c.speaking(PSEUDO):
        assert c.say("sheet.title") == pseudo("Measurement sheet") != "Measurement sheet"


def test_nouns_within_a_line_stay_large_where_the_language_writes_them_so():
    word = c.message("sheet.title")
    assert within_a_line(word) == "measurement sheet"
    with c.speaking("de"):
        assert within_a_line(word) == "Messblatt"
