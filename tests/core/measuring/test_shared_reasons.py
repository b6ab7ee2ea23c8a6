"""Shared reasons: said once, pointed to by every row that has them, and nothing else left out."""

import pytest

from core.measurement import Measurement, Note, Reading
from core.measuring.shared_reasons import SharedReasons

LOST = Note("ridge_open_side")
MARK = Note("not-marked", {"what": "Canal"})


def row(name, *notes, value=None):
    return Measurement(
        id=name, group="bone", kind="ridge_width", target="", fixture="f",
        reading=Reading(value=value, notes=notes), verdict=None if value else "not assessed",
    )  # fmt: skip


def test_three_rows_with_one_reason_share_it_and_keep_what_is_their_own():
    rows = [row("a", LOST), row("b", MARK, LOST), row("c", LOST)]
    shared = SharedReasons.of(rows)
    assert [(r.letter, r.message, r.rows) for r in shared.all] == [("(a)", LOST.message, 3)]
    assert shared.all[0].text == f"(a) 3 rows: {LOST.message}"
    assert [shared.letters(r) for r in rows] == [("(a)",)] * 3
    assert [shared.rest(r) for r in rows] == [(), (MARK.message,), ()]


def test_two_rows_share_nothing():
    rows = [row("a", LOST), row("b", LOST)]
    shared = SharedReasons.of(rows)
    assert shared.all == ()
    assert [shared.rest(r) for r in rows] == [(LOST.message,)] * 2


def test_a_remark_on_a_value_stays_at_its_value():
    rows = [*(row(n, LOST) for n in "abc"), row("d", LOST, value=2.0)]
    shared = SharedReasons.of(rows)
    assert shared.all[0].rows == 3
    assert shared.letters(rows[3]) == ()
    assert shared.rest(rows[3]) == (LOST.message,)


@pytest.mark.parametrize("count", [2, 30])
def test_each_reason_has_a_letter_of_its_own_and_none_is_lost(count):
    """Beyond the letters of the alphabet a reason stands at its rows, as if it were not shared."""
    notes = [Note("not-marked", {"what": f"Root {n}"}) for n in range(count)]
    rows = [row(f"{n}{m}", note) for n, note in enumerate(notes) for m in range(3)]
    shared = SharedReasons.of(rows)
    letters = [r.letter for r in shared.all]
    assert len(set(letters)) == len(letters) == min(count, 26)
    said = {r.message for r in shared.all} | {text for r in rows for text in shared.rest(r)}
    assert said == {note.message for note in notes}
