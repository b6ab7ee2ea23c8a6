"""Attributes that headers are read for, against the standard's dictionary in pydicom (PS3.6)."""

from __future__ import annotations

import pytest
from pydicom.datadict import dictionary_VR, tag_for_keyword

from core.scan.attributes import IN_CHARACTER_SET, LONG_WORDS, PERSONS, TAGS, WORDS

TEXT_IN_CHARACTER_SET = {"LO", "LT", "PN", "SH", "ST", "UC", "UT"}
"""Value representations that Specific Character Set applies to (PS3.5 section 6.1.2.3)."""


@pytest.mark.parametrize("name", sorted(TAGS))
def test_each_has_the_standards_tag(name):
    if name == "OverlayBitPosition":
        assert TAGS[name] == 0x60000102, "a repeating group: its first"
        return
    assert TAGS[name] == tag_for_keyword(name)


def kinds(names):
    return {dictionary_VR(TAGS[name]) for name in names}


def test_words_of_two_and_four_bytes():
    assert kinds(WORDS) == {"US", "US or SS"}
    assert kinds(LONG_WORDS) == {"UL"}
    others = set(TAGS) - WORDS - LONG_WORDS
    assert kinds(others).isdisjoint({"US", "US or SS", "UL", "SS", "SL"})


def test_text_in_the_files_character_set():
    wanted = {name for name in TAGS if dictionary_VR(TAGS[name]) in TEXT_IN_CHARACTER_SET}
    assert wanted == set(IN_CHARACTER_SET)
    assert {name for name in TAGS if dictionary_VR(TAGS[name]) == "PN"} == set(PERSONS)
