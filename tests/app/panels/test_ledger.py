"""The ledger panel: order, folds, what waits, keys, buttons, speed."""

from dataclasses import replace

import pytest
from PySide6.QtCore import QEvent, QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from app.dialogs.answers.declare import DeclareDialog
from app.panels.ledger import HAND_MS, LedgerPanel
from app.panels.ledger_details import details
from app.panels.ledger_entries import WAITING, entries
from app.panels.ledger_list import ENTRY, LedgerDelegate
from core.identity import Tooth
from core.measurement import Note
from core.plans.limits import limit_for
from core.trust.figures import shown_at_least
from core.trust.verdict import NO_CLEARANCE
from core.words.catalogue import sentences_of
from core.words.sheet import UNCERTAINTY
from tests.app.case_at_hand import ledger, plan, row, rows
from tests.sheet_material import angle_without_meaning


def texts(found):
    return [(e.kind, e.text) for e in found]


def shown(of=None, **how):
    of = of or plan()
    known = {"current": True, "whole": True} | how
    earlier = known.pop("earlier", None)
    return entries(of, known.pop("ledger", ledger(of)), earlier, **known)


def test_order_is_danger_roots_bone_and_not_met_first():
    groups = [e.text for e in shown() if e.kind == "group"]
    assert groups == ["Vital structures", "Roots", "Bone"]
    assert [e.key for e in shown() if e.kind in ("row", "fold")] == [
        "36/clearance/foramen/True",
        "36:danger:met",
        "36/clearance/root-35",
        "36:roots:met",
        "36/wall/wall/buccal",
        "36/ridge_width/w/3.0/axis",
        "36:bone:free",
    ]


def test_the_bones_surface_stands_under_bone_and_not_under_vital_structures():
    surface = row("bone surface", 1.8, "meets limit", limit="surface-lingual", side="lingual")
    found = shown(ledger=ledger(plan(), [*rows(), surface]), opened={"36:bone:met"})
    keys = [e.key for e in found]
    assert keys.index(surface.id) > keys.index("36:bone")


def test_a_fold_of_met_limits_shows_the_least_it_can_be():
    """The smallest of them is not told without what its uncertainty leaves of it."""
    fold = next(e for e in shown() if e.key == "36:danger:met")
    met = next(r for r in rows() if "vessel" in r.target)
    assert f"3.4 mm, at least {shown_at_least(met)}" in fold.aside
    assert fold.aside.startswith("closest to its limit: "), (
        "another may be nearer, with more to spare"
    )


def test_what_is_met_folds_into_one_line_that_names_the_tightest():
    fold = next(e for e in shown() if e.key == "36:danger:met")
    assert fold.text == "2 limits met"
    assert "3.4" in fold.aside
    assert "vessel" in fold.aside
    opened = shown(opened={"36:danger:met"})
    assert "36/clearance/canal-left" in [e.key for e in opened]


def test_a_row_without_a_limit_is_never_shown_as_one_that_misses_it():
    of = plan()
    more = replace(ledger(of), measurements=(*rows(), angle_without_meaning("36")))
    found = shown(of, ledger=more, opened={"36:bone:free"})
    angle = next(e for e in found if e.key == "36/undercut_angle/level")
    assert (angle.glyph, angle.not_met) == ("", False)
    assert "not measured" in angle.spoken
    keys = [e.key for e in found]
    assert keys.index(angle.key) > keys.index("36:bone:free")
    fold = next(e for e in shown(of, ledger=more) if e.key == "36:bone:free")
    assert fold.aside == "1 not measured"


@pytest.mark.parametrize(
    ("jaw", "tooth", "named"),
    [("upper", "26", "palatal"), ("lower", "36", "lingual"), (None, "26", "palatal")],
)
def test_the_inner_side_is_called_as_in_its_jaw(jaw, tooth, named):
    """Where the jaw is not written, the tooth's number names it."""
    of = plan()
    of = plan(jaw=jaw, fixtures=(replace(of.fixtures[0], tooth=tooth),))
    held = [
        row("bone surface", 0.4, "below limit", limit="surface-lingual", side="lingual"),
        row("wall", 2.2, "meets limit", kind="wall", group="bone", limit="wall-lingual",
            side="lingual"),
    ]  # fmt: skip
    found = shown(of, ledger=ledger(of, held), opened={"36:bone:met"})
    told = {e.key: f"{e.text} {e.aside}" for e in found}
    assert f"Bone surface {named}" in told["36/clearance/bone surface/lingual"]
    assert f"Remaining bone, {named}" in told["36/wall/wall/lingual"]
    assert f"remaining bone, {named}" in told["36:bone:met"]
    other = "lingual" if named == "palatal" else "palatal"
    assert not [words for words in told.values() if other in words]


def without_a_number(note):
    """Three widths that could not be measured for one reason."""
    return [
        replace(r, reading=replace(r.reading, notes=(note,)))
        for r in (
            row("w", None, "not assessed", kind="ridge_width", group="bone", limit=None,
                at_depth_mm=depth)
            for depth in (1.0, 3.0, 5.0)
        )
    ]  # fmt: skip


def test_one_reason_of_many_rows_is_said_once_above_them_and_short_at_each():
    lost = Note("ridge_open_side")
    held = without_a_number(lost)
    held.append(row("foramen", None, "not assessed", limit=None, expected=True))
    found = shown(ledger=ledger(plan(), held), opened={"36:bone:free"})
    assert [e.text for e in found if e.kind == "reason"] == [f"(a) 3 rows: {lost.message}"]
    assert found[0].kind == "reason"
    by_key = {e.key: e for e in found}
    widths = [e for key, e in by_key.items() if "ridge_width" in key]
    assert [e.why for e in widths] == ["reason (a)"] * 3
    # Read aloud, and unfolded, each row says all of it.
    assert all(sentences_of(lost.message)[0].rstrip(".") in e.spoken for e in widths)
    assert all(lost.message in [d.text for d in details(e.row, plan(), None)] for e in widths)
    assert by_key["36/clearance/foramen/True"].why == "not marked"
    # What waits has no reason that may be shown.
    stale = shown(ledger=ledger(plan(), held), current=False)
    assert not [e for e in stale if e.kind == "reason" or "(a)" in e.why]


def test_the_sentences_of_a_row():
    by_key = {e.key: e for e in shown(opened={"36:danger:met"})}
    assert by_key["36/clearance/root-35"].why == "could be as little as 1.2 · limit 1.5"
    assert by_key["36/clearance/foramen/True"].why == "not marked"
    assert by_key["36/wall/wall/buccal"].why == "limit 2.0 · 0.8 mm short"
    assert by_key["36/clearance/canal-left"].why == "at least 6.2 · limit 2.0"
    assert by_key["36/ridge_width/w/3.0/axis"].why == "at least 7.9 · no limit"
    assert [by_key[k].glyph for k in ("36/clearance/root-35", "36/wall/wall/buccal")] == ["≈", "<"]


def test_what_is_outside_the_bone_is_short_beside_its_name_and_whole_below_it():
    of, least = plan(), row("wall", -0.78, "below limit", kind="wall", group="bone",
                            limit="wall-buccal", side="buccal")  # fmt: skip
    bound = replace(least, reading=replace(least.reading, upper_bound=True))
    (known,) = [e for e in shown(of, ledger=ledger(of, (least,))) if e.kind == "row"]
    assert known.value == "outside 0.8"
    assert known.why.startswith("part of the fixture is outside the bone · limit 2.0")
    (open_end,) = [e for e in shown(of, ledger=ledger(of, (bound,))) if e.kind == "row"]
    assert open_end.value == "outside 0.7"
    assert open_end.why.startswith("at least so much is outside the bone · limit 2.0")


def test_summary_and_uncertainty_end_the_list():
    last = shown()[-2:]
    assert last[0].text.endswith(str(NO_CLEARANCE))
    assert last[1].text == str(UNCERTAINTY)


def test_no_value_of_another_pose_is_ever_shown():
    of = plan()
    whole = ledger(of)
    stale = shown(of, ledger=whole, earlier=whole, current=False, whole=False)
    assert {e.value for e in stale if e.kind == "row"} == {WAITING}
    assert not any("limits met" in e.text or e.glyph or e.why for e in stale)
    assert not any(e.kind == "summary" for e in stale)


def test_slow_rows_wait_beside_quick_ones():
    of = plan()
    whole = ledger(of)
    quick = ledger(of, [r for r in rows() if r.group != "bone"])
    found = {
        e.key: e
        for e in shown(of, ledger=quick, earlier=whole, whole=False, opened={"36:danger:met"})
    }
    assert found["36/clearance/canal-left"].value == "6.7"
    assert found["36/wall/wall/buccal"].value == WAITING
    assert found["36/wall/wall/buccal"].waiting


def test_a_changed_limit_stands_beside_the_default():
    changed = row("canal-left", 6.7, "meets limit")
    limit = replace(changed.limit, value=3.0, changed_by="LM", changed_at="2026-11-24T10:00:00Z")
    found = shown(ledger=ledger(plan(), [replace(changed, limit=limit)]), opened={"36:danger:met"})
    line = next(e for e in found if e.key == changed.id)
    assert "limit 3.0 (default 2.0)" in line.why


@pytest.mark.parametrize(("tooth", "zone"), [("36", "teeth 6 to 8"), ("35", "teeth 1 to 5")])
def test_a_limit_is_unfolded_with_the_zone_of_its_tooth(tooth, zone):
    of = plan()
    of = replace(of, fixtures=(replace(of.fixtures[0], tooth=tooth),))
    wall = row("wall", 1.2, "below limit", kind="wall", group="bone", limit="wall-buccal")
    limit = limit_for("wall-buccal", tooth=Tooth.of(tooth))
    found = details(replace(wall, limit=limit), of, None)
    (said,) = [detail.text for detail in found if detail.head == "limit"]
    assert zone in said


def test_an_open_end_is_the_reason_not_the_remark_beside_it():
    open_end = row("canal-left", 4.0, "not assessed")
    notes = (Note("with-tip", {"tip": 1.5}), Note("traced_too_short", {"id": "canal-left"}))
    reading = replace(open_end.reading, upper_bound=True, notes=notes)
    (line,) = [e for e in shown(ledger=ledger(plan(), [replace(open_end, reading=reading)]))
               if e.kind == "row"]  # fmt: skip
    assert "traced too short" in line.why
    assert line.value == "up to 4.0"


@pytest.fixture
def panel(qtbot, session, desk):
    panel = LedgerPanel(session, desk)
    qtbot.addWidget(panel)
    panel.resize(340, 600)
    panel.show()
    return panel


def test_the_shared_reason_is_drawn_over_as_many_lines_as_it_needs(panel, session):
    lost = Note("bone-beside-field-edge", {"side": "buccal", "reach": "5"})
    held = without_a_number(lost)
    session.show_ledger(ledger(session.plan, held))
    model = panel.model
    assert model.entries[0].kind == "reason"
    assert panel.view.visualRect(model.index(0)).height() > 70


def choose(panel, key):
    panel.view.setCurrentIndex(panel.model.index(panel.model.row_of(key)))
    panel.view.setFocus()


def test_space_unfolds_by_key(panel, qtbot):
    choose(panel, "36:danger:met")
    QTest.keyClick(panel.view, Qt.Key.Key_Space)
    assert panel.model.row_of("36/clearance/canal-left") > 0
    choose(panel, "36/clearance/canal-left")
    before = panel.view.visualRect(panel.view.currentIndex()).height()
    QTest.keyClick(panel.view, Qt.Key.Key_Return)
    index = panel.model.index(panel.model.row_of("36/clearance/canal-left"))
    qtbot.waitUntil(lambda: panel.view.visualRect(index).height() > before + 80)
    assert panel.view.currentIndex() == index


def test_s_shows_the_witness_in_the_plane_that_holds_it(panel, session):
    choose(panel, "36/clearance/root-35")
    QTest.keyClick(panel.view, Qt.Key.Key_S)
    assert session.turn_deg is not None
    assert session.selected == "36"


def point_at(panel, key):
    """The mouse moves over a row; where it is."""
    view = panel.view
    at = view.visualRect(panel.model.index(panel.model.row_of(key))).center()
    QTest.mouseMove(view.viewport(), at - QPoint(3, 0))
    QTest.mouseMove(view.viewport(), at)
    return at


def under(panel, at):
    return panel.view.indexAt(at).data(ENTRY).key


def test_a_row_that_comes_late_moves_nothing_under_the_pointer(panel, session, qtbot):
    panel.resize(panel.width(), 260)  # less than its rows: it can be scrolled
    qtbot.wait(20)
    key = "36:danger:met"
    at = point_at(panel, key)
    late = row("vessel-2", 0.4, "below limit", limit="vessel")
    session.show_ledger(ledger(session.plan, (late, *rows())))
    assert panel.model.row_of(late.id) < panel.model.row_of(key)
    assert under(panel, at) == key
    QTest.mouseClick(panel.view.viewport(), Qt.MouseButton.LeftButton, pos=at)
    assert key in panel.opened
    # It is seen as soon as the pointer is elsewhere.
    QApplication.sendEvent(panel.view, QEvent(QEvent.Type.Leave))
    seen = panel.view.visualRect(panel.model.index(panel.model.row_of(late.id)))
    assert panel.view.viewport().rect().contains(seen)


def test_a_press_that_was_on_its_way_is_no_answer_to_the_row_that_slid_below_it(
    panel, session, qtbot
):
    panel.resize(panel.width(), 900)  # all rows are seen: nothing can be scrolled
    qtbot.wait(20)
    at = point_at(panel, "36/clearance/foramen/True")
    late = row("vessel-2", 0.4, "below limit", limit="vessel")
    session.show_ledger(ledger(session.plan, (late, *rows())))
    slid = under(panel, at)
    assert slid != "36/clearance/foramen/True"
    QTest.mouseClick(panel.view.viewport(), Qt.MouseButton.LeftButton, pos=at)
    assert not panel.opened
    qtbot.wait(HAND_MS + 50)
    QTest.mouseClick(panel.view.viewport(), Qt.MouseButton.LeftButton, pos=at)
    assert panel.opened == {slid}


def test_m_takes_the_tool_that_settles_it(panel, desk):
    choose(panel, "36/clearance/foramen/True")
    QTest.keyClick(panel.view, Qt.Key.Key_M)
    assert desk.tools == ["foramen"]


def test_mark_it_and_declare_are_buttons(panel, desk, qtbot):
    entry = panel.model.entries[panel.model.row_of("36/clearance/foramen/True")]
    rect = panel.view.visualRect(panel.model.index(panel.model.row_of(entry.key)))
    boxes = dict(panel.delegate.button_rects(entry, rect))
    QTest.mouseClick(panel.view.viewport(), Qt.MouseButton.LeftButton, pos=boxes["mark"].center())
    assert desk.tools == ["foramen"]
    QTest.mouseClick(
        panel.view.viewport(), Qt.MouseButton.LeftButton, pos=boxes["declare"].center()
    )
    dialog = panel.findChild(DeclareDialog)
    assert dialog.structure.currentData() == "foramen"
    dialog.close()


def test_buttons_lie_inside_the_row(panel, qtbot):
    panel.resize(300, 600)
    qtbot.wait(20)
    for number, entry in enumerate(panel.model.entries):
        rect = panel.view.visualRect(panel.model.index(number))
        for _, box in panel.delegate.button_rects(entry, rect):
            assert rect.contains(box)


def test_a_hidden_number_says_why(panel, session):
    session.plan = plan(level=None)
    session.show_ledger(None, current=False, whole=False)
    assert "until you confirm" in panel.model.entries[0].text


def test_an_empty_ledger_says_how_a_number_comes_about(panel, session):
    session.plan = plan(fixtures=())
    session.show_ledger(ledger(session.plan, []))
    said = [entry.text for entry in panel.model.entries]
    assert "place a fixture" in said[0]
    assert any("No limit was checked" in text for text in said[1:])


def test_new_values_paint_only_the_rows_that_are_seen_and_move_nothing(panel, session, monkeypatch):
    """Counted, not timed: what leaves most of the time free while twenty come in a second."""
    many = [row(f"mark-{n}", 5.0 + n, "too near to tell") for n in range(40)]
    session.show_ledger(ledger(session.plan, many))
    panel.view.viewport().repaint()
    drawn, heights, resets = [], [], []
    for name, told in (("_row", drawn), ("_height", heights)):
        real = getattr(LedgerDelegate, name)

        def counted(*args, real=real, told=told):
            told.append(args)
            return real(*args)

        monkeypatch.setattr(LedgerDelegate, name, counted)
    panel.model.modelReset.connect(lambda: resets.append(1))
    seen = panel.view.viewport().rect()
    count = len(panel.model.entries)
    places = [panel.view.visualRect(panel.model.index(n)) for n in range(count)]
    in_sight = sum(place.intersects(seen) for place in places)
    assert 0 < in_sight < 30 < count
    for n in range(1, 21):
        moved = [replace(m, reading=replace(m.reading, value=m.value + 0.01 * n)) for m in many]
        drawn.clear()
        heights.clear()
        session.show_ledger(ledger(session.plan, moved))
        panel.view.viewport().repaint()
        assert 0 < len(drawn) <= in_sight
        assert len(heights) <= 2 * count
    assert resets == []


def test_words_below_a_name_go_on_in_another_line_and_are_never_cut(qapp):
    from PySide6.QtGui import QFontMetrics

    from app.panels.ledger_entries import Entry
    from app.panels.ledger_list import GLYPH_PX, PAD, LedgerDelegate
    from app.widgets import style

    aside = "smallest: 2.1 mm, remaining bone, buccal, at the shoulder of the fixture, as measured"
    fold = Entry(kind="fold", key="f", text="3 limits met", aside=aside)
    delegate = LedgerDelegate(lambda _row: ())
    metrics = QFontMetrics(style.font(12))
    lines = {
        width: -(-metrics.horizontalAdvance(aside) // (width - 2 * PAD - GLYPH_PX))
        for width in (320, 240)
    }
    assert 2 <= lines[320] < lines[240]
    for width, count in lines.items():
        room = delegate._height(fold, width) - delegate._height(
            Entry(kind="fold", key="g", text="3 limits met"), width
        )
        assert room >= count * metrics.height(), width
