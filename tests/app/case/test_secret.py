"""The practice's secret: made once, the same again, only its owner's, refused when unusable."""

import os
import stat

import pytest

from app.case.secret import practice_secret
from core.errors import OutputError


def test_made_once_and_the_same_again(tmp_path):
    path = tmp_path / "settings" / "pseudonym.key"
    first = practice_secret(path)
    assert len(first) == 32
    assert practice_secret(path) == first
    assert practice_secret(tmp_path / "other.key") != first


@pytest.mark.skipif(os.name != "posix", reason="file modes are POSIX")
def test_only_its_owner_may_read_it(tmp_path):
    practice_secret(tmp_path / "a.key")
    assert stat.S_IMODE((tmp_path / "a.key").stat().st_mode) == 0o600


@pytest.mark.parametrize("text", ["", "no hexadecimal", "ab" * 8])
def test_a_short_or_broken_secret_is_never_used(tmp_path, text):
    path = tmp_path / "a.key"
    path.write_text(text)
    with pytest.raises(OutputError, match="could be guessed"):
        practice_secret(path)
    assert path.read_text() == text, "it may be the only way to earlier pseudonyms"


def test_a_place_that_cannot_be_used_is_refused(tmp_path):
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(OutputError):
        practice_secret(tmp_path / "file" / "a.key")
