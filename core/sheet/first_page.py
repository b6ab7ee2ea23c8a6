"""Page 1: who, which tooth, which size, the section at true size, and what stands against it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from core.drawing import Chart
from core.findings import Finding
from core.measurement import VerdictCode
from core.measuring.rows_drilling import counted_from, drill_rows_of, mark_words
from core.pictures.chart import View, across_arch_chart, through_axis_chart
from core.pictures.depth_window import deepest_structure_mm, depth_window
from core.pictures.ink import BLACK, GLYPHS, PALE, VERMILION
from core.plans.plan import Plan
from core.sheet.case import Case, Subject
from core.sheet.closing_part import grave_findings
from core.sheet.first_page_column import first_page_column, gap_words
from core.sheet.fonts_found import Face
from core.sheet.page import Pages
from core.sheet.page_frame import ruler, scale_check, small_arch
from core.sheet.signed_although import room_mm, signed_although
from core.trust.verdict import is_judged
from core.words.catalogue import say
from core.words.cautions import SPOKEN
from core.words.drilling import ORIGINS
from core.words.numbers import date_words
from core.words.values import against_words

_QUIET = (0.33, 0.33, 0.33)
_MOST_PLACES = 12
_MOST_CHECKS, _LEAST_CHECKS = 5, 3
_WORST_FIRST: tuple[VerdictCode, ...] = (
    "below limit", "not assessed", "too near to tell", "meets limit",
)  # fmt: skip
_LEAST_OTHERS = 3
_LINE_MM = 4.6
_LARGE, _LEAST_LARGE = 2.0, 1.2
_SITE_MM = 40.0
"""Height of a section without a fixture that shows ridge and canal."""


def first_page(pages: Pages, case: Case) -> int:
    """Lay out page 1.

    Returns
    -------
    int
        How many of `grave_findings` it had room for; the others belong at the sheet's end.
    """
    pages.new_page()
    subjects = case.subjects
    if not subjects:
        pages.y = pages.block(
            pages.left, pages.y, pages.inner,
            say("sheet.nothing-in-plan"), size=12, face="strong",
        )  # fmt: skip
        _foot(pages, case)
        return 0
    lead = subjects[0]
    _title(pages, case, lead)
    below_picture = _picture(pages, case, lead, pages.y)
    below = sum(_heights(pages, case)) + room_mm(pages, case)
    lowest = _foot_top(pages) - below - 3.0
    below_list = first_page_column(pages, case, lead, pages.left + 66.0, pages.y, lowest)
    pages.y = max(below_picture, below_list) + 2.0
    _summary(pages, case)
    signed_although(pages, case)
    _each_place(pages, case)
    told = _checks(pages, case)
    _enlarged(pages, case, lead)
    _foot(pages, case)
    return told


def _title(pages: Pages, case: Case, lead: Subject) -> None:
    marked = tuple(dict.fromkeys(s.tooth for s in case.subjects if s.tooth and _same_jaw(s, lead)))
    width = pages.inner - 40.0
    with pages.element("H1"):
        pages.text(pages.left, pages.y + 7.0, lead.words, size=19, face="strong", width=width)
    size = lead.size_words
    if lead.fixture is not None:
        size = say("sheet.first.fixture", size=size)
    pages.text(pages.left, pages.y + 15.0, size, size=16, width=width)
    plan = case.plan
    side, settled = _side_words(case)
    face: Face = "plain" if settled else "strong"
    pages.text(pages.left, pages.y + 21.5, side, size=9.5, width=width, face=face)
    if plan.interpreted_by:
        at = date_words(plan.interpreted_at[:10])
        read = say("sheet.first.interpreted", by=plan.interpreted_by, at=at)
        pages.text(pages.left, pages.y + 26.5, read, size=9.5, width=width)
    else:
        words = say("sheet.first.not-interpreted")
        pages.text(pages.left, pages.y + 26.5, words, size=9.5, face="strong", width=width)
    words, image_face = _image_words(plan)
    pages.text(pages.left, pages.y + 31.0, words, size=9.5, face=image_face, width=width)
    if marked:
        small_arch(pages, pages.right - 36.0, pages.y, marked)
    pages.y += 34.0


def _image_words(plan: Plan) -> tuple[str, Face]:
    """What a person answered about the image; in bold where nobody did, or a fault was seen."""
    image = plan.image_check
    if image is None:
        return say("sheet.first.image-not-judged"), "strong"
    clear = set(image.trouble.values()) <= {"none"}
    found = "sheet.first.image-no-problems" if clear else "sheet.first.image-away"
    found = "sheet.first.image-at-the-site" if image.at_the_site else found
    words = say("sheet.first.image-judged", by=image.by or "–", at=date_words(image.at[:10]))
    face: Face = "strong" if image.at_the_site else "plain"
    return f"{words} {say(found)}", face


def _side_words(case: Case) -> tuple[str, bool]:
    """What a person answered about the side, and whether it agrees with the tooth."""
    check = case.plan.side_check
    if case.side_is_contradicted:
        if check is None:
            return say("sheet.side-contradicted"), False
        left = check.side == "left"
        return say("sheet.first.answered-left" if left else "sheet.first.answered-right"), False
    if check is None:
        return say("sheet.first.not-compared"), False
    key = "sheet.first.left" if check.side == "left" else "sheet.first.right"
    by, at = check.by or "–", date_words(check.at[:10])
    return say(key, against=against_words(check.against), by=by, at=at), True


def _same_jaw(subject: Subject, lead: Subject) -> bool:
    upper = ("1", "2")
    return bool(lead.tooth) and (subject.tooth[:1] in upper) == (lead.tooth[:1] in upper)


def lead_chart(
    case: Case, subject: Subject, *, most_witnesses: int = 5, drawn_at: float = 1.0
) -> Chart | None:
    """The one picture that stands for a subject: bucco-lingual, true to size.

    Parameters
    ----------
    case : Case
    subject : Subject
    most_witnesses : int, optional
    drawn_at : float, optional
        Scale on the page: mm of paper to a mm.
    """
    station = case.station(subject)
    if case.arch is None or station is None:
        return None
    view = View(
        window=case.window, most_witnesses=most_witnesses, drawn_at=drawn_at, levels=case.levels
    )
    volume, plan, arch, ledger = case.volume, case.plan, case.arch, case.ledger
    if subject.fixture is not None:
        height = view.size_mm[1]
        centre, _ = depth_window(
            deepest_structure_mm(plan, arch, subject.fixture), height,
            subject.fixture.size.length_mm / 2, most_mm=height,
        )  # fmt: skip
        view = replace(view, centre_depth_mm=centre)
        return through_axis_chart(volume, plan, arch, subject.fixture, ledger, view=view)
    return across_arch_chart(volume, plan, arch, station, ledger, view=view)


def _enlarged(pages: Pages, case: Case, lead: Subject) -> None:
    """Both planes enlarged with their numerals, where the page has room left."""
    room = min(_foot_top(pages) - pages.y - 10.0, 76.0)
    gap = 6.0
    if room < 34.0:
        return
    x = pages.left
    for chart, scale in _enlarged_charts(case, lead, ((pages.inner - gap) / 2, room)):
        words = say("sheet.first.enlarged", title=chart.title, scale=scale)
        pages.text(x, pages.y + 4.4, words, size=9, face="strong", width=(pages.inner - gap) / 2)
        width, _ = pages.chart(chart, x, pages.y + 6.0, scale=scale)
        x += width + gap
    pages.y += 6.0 + room


def _enlarged_charts(
    case: Case, lead: Subject, paper_mm: tuple[float, float]
) -> list[tuple[Chart, float]]:
    """Charts with their scale: 2, or less where platform and canal would not both be shown."""
    station = case.station(lead)
    if case.arch is None or station is None:
        return []
    width, room = paper_mm
    volume, plan, arch, ledger = case.volume, case.plan, case.arch, case.ledger
    fixture = lead.fixture
    centre, height = None, max(room / _LARGE, min(_SITE_MM, room / _LEAST_LARGE))
    if fixture is not None:
        # The apex and what lies beyond it matter more than the crown's space.
        centre, height = depth_window(
            deepest_structure_mm(plan, arch, fixture), room / _LARGE,
            fixture.size.length_mm / 2 + 2.5, most_mm=room / _LEAST_LARGE,
        )  # fmt: skip
    scale = room / height
    view = View(
        size_mm=(width / scale, height), window=case.window, drawn_at=scale, levels=case.levels,
        centre_depth_mm=centre,
    )  # fmt: skip
    if fixture is None:
        return [(across_arch_chart(volume, plan, arch, station, ledger, view=view), scale)]
    return [
        (through_axis_chart(volume, plan, arch, fixture, ledger, turn_deg=turn, view=view), scale)
        for turn in (0.0, 90.0)
    ]


def _picture(pages: Pages, case: Case, lead: Subject, y: float) -> float:
    x = pages.left + 9.0
    chart = lead_chart(case, lead, most_witnesses=1)
    if chart is None:
        words = say("sheet.first.no-section")
        pages.rect(x, y + 8.0, 46.0, 60.0)
        pages.block(x + 3.0, y + 30.0, 40.0, words, size=9)
        height = 60.0
    else:
        pages.text(x - 9.0, y + 3.2, chart.title, size=9, face="strong", width=63.0)
        pages.text(x - 9.0, y + 6.8, chart.subtitle, size=7.5, width=63.0, colour=_QUIET)
        _, height = pages.chart(chart, x, y + 8.0)
    ruler(pages, x - 1.5, y + 8.0 + height - 50.0, upright=True)
    ruler(pages, x - 1.5, y + 8.0 + height + 1.5, upright=False)
    scale_check(pages, x - 9.0, y + 8.0 + height + 8.5, 62.0)
    return y + 8.0 + height + 16.0


def _heights(pages: Pages, case: Case) -> tuple[float, float, float]:
    """Room that summary, scan checks and the lines of each place take."""
    words = pages.height_of(pages.inner - 6.0, _summary_words(case), size=11, face="strong") + 6.0
    checks = _checks_mm(pages, grave_findings(case), _MOST_CHECKS)
    places = len(case.subjects)
    return words, checks, 5.8 + _LINE_MM * min(places, _MOST_PLACES) if places > 1 else 0.0


def _summary_words(case: Case) -> str:
    """The ledger's summary; without a fixture also what was measured, for no limit was checked."""
    if case.plan.fixtures:
        return case.ledger.summary
    kinds = dict.fromkeys(
        str(m.kind.row.words) for m in case.ledger.measurements if m.value is not None
    )
    if not kinds:
        return case.ledger.summary
    measured = say("sheet.measured-without-fixture", what=", ".join(kinds))
    return f"{measured} {case.ledger.summary}"


def _summary(pages: Pages, case: Case) -> None:
    words = _summary_words(case)
    height = pages.height_of(pages.inner - 6.0, words, size=11, face="strong")
    pages.rect(pages.left, pages.y, pages.inner, height + 4.0, edge=0.4)
    pages.block(pages.left + 3.0, pages.y + 2.0, pages.inner - 6.0, words, size=11, face="strong")
    pages.y += height + 6.0


def _checks(pages: Pages, case: Case) -> int:
    """What makes every number doubtful stands on page 1; how many of them it has room for."""
    grave = grave_findings(case)
    if not grave:
        return 0
    room = _foot_top(pages) - pages.y
    most = min(len(grave), _MOST_CHECKS)
    while most > 1 and _checks_mm(pages, grave, most) > room:
        most -= 1
    for finding in grave[:most]:
        words = _check_words(finding)
        pages.y = pages.block(pages.left, pages.y, pages.inner, words, size=8.5, face="strong")
    if len(grave) > most:
        more = say("sheet.first.more-checks", count=len(grave) - most)
        pages.y = pages.block(pages.left, pages.y, pages.inner, more, size=8.5, face="slant")
    pages.y += 1.0
    return most


def _checks_mm(pages: Pages, grave: Sequence[Finding], most: int) -> float:
    """Room that so many checks take, with the line that says how many follow."""
    if not grave:
        return 0.0
    lines = sum(
        pages.height_of(pages.inner, _check_words(f), size=8.5, face="strong") for f in grave[:most]
    )
    return lines + (4.0 if len(grave) > most else 0.0) + 1.0


def _check_words(finding: Finding) -> str:
    return f"! {finding.message}"


def _each_place(pages: Pages, case: Case) -> None:
    """Every fixture and site in one line, worst first; each has pages of its own."""
    subjects = case.subjects
    if len(subjects) < 2:
        return
    with pages.element("H2"):
        pages.text(pages.left, pages.y + 3.2, say("sheet.each-place"), size=9, face="strong")
    pages.y += 4.8
    # Places have pages of their own; what makes their numbers doubtful belongs here.
    doubts_mm = _checks_mm(pages, grave_findings(case), _LEAST_CHECKS)
    room = int((_foot_top(pages) - pages.y - doubts_mm) / _LINE_MM)
    most = len(subjects) if len(subjects) <= room else max(room - 1, _LEAST_OTHERS)
    with pages.element("Table"):
        for subject in subjects[:most]:
            with pages.element("TR"):
                _place(pages, case, subject)
    if len(subjects) > most:
        more = say("sheet.first.more-places", count=len(subjects) - most)
        pages.text(pages.left, pages.y + 3.0, more, size=8.5, face="slant")
        pages.y += _LINE_MM
    pages.y += 1.0


def _place(pages: Pages, case: Case, subject: Subject) -> None:
    y, left = pages.y + 3.2, pages.left
    tight = case.tightest(subject)
    face: Face = "plain" if tight is None or tight.verdict == "meets limit" else "strong"
    colour = VERMILION if tight is not None and tight.verdict == "below limit" else BLACK
    if tight is not None:
        pages.text(left + 2.0, y, GLYPHS[tight.verdict], size=11, face="strong", align="middle",
                   colour=colour)  # fmt: skip
    tooth = f"{subject.words}, {_short_size(subject)}"
    pages.text(left + 5.0, y, tooth, size=8.5, face=face, width=pages.inner * 0.41 - 6.0)
    if tight is not None:
        # Where along it, or with which tip, stands on the pages of its own.
        words = case.name(tight).split(",")[0]
        words += "" if tight.value is None else f" {gap_words(tight)}"
        pages.text(left + pages.inner * 0.41, y, words, size=8.5, face=face,
                   width=pages.inner * 0.23)  # fmt: skip
    verdicts = [m.verdict for m in case.rows(subject) if is_judged(m)]
    counts = [f"{GLYPHS[v]} {verdicts.count(v)}" for v in _WORST_FIRST if v in verdicts]
    pages.text(left + pages.inner * 0.65, y, "   ".join(counts), size=8.5,
               width=pages.inner * 0.14)  # fmt: skip
    pages.text(pages.right, y, _depth_words(case, subject), size=8, align="right",
               width=pages.inner * 0.205)  # fmt: skip
    pages.line(left, pages.y + _LINE_MM - 0.3, pages.right, pages.y + _LINE_MM - 0.3, width=0.1,
               colour=PALE)  # fmt: skip
    pages.y += _LINE_MM


def _short_size(subject: Subject) -> str:
    if subject.fixture is None:
        return say("sheet.no-fixture-short")
    return subject.size_words.removesuffix(" mm")


def _depth_words(case: Case, subject: Subject) -> str:
    """The chosen depth of one fixture; only whether there is one while nobody chose."""
    if subject.fixture is None:
        return ""
    if case.depth_rule(subject).refused:
        return say("sheet.no-depth-short")
    chosen = case.plan.depth_from
    rows = [m for m in drill_rows_of(case.rows(subject)) if counted_from(m) == chosen]
    if chosen is None or not rows or rows[0].value is None:
        return ""
    return say("sheet.depth-short", depth=mark_words(rows[0]), origin=ORIGINS[chosen])


def _foot_top(pages: Pages) -> float:
    """Where cautions and signatures begin, counted from the bottom of the page."""
    return pages.bottom - 21.0 - pages.height_of(pages.inner - 6.0, str(SPOKEN), size=8.5)


def _foot(pages: Pages, case: Case) -> None:
    """Cautions and signatures stand at the bottom of the page."""
    height = pages.height_of(pages.inner - 6.0, str(SPOKEN), size=8.5)
    top = _foot_top(pages)
    if pages.y > top:
        pages.new_page()
    pages.rect(pages.left, top, pages.inner, height + 3.0, edge=0.2)
    pages.block(pages.left + 3.0, top + 1.5, pages.inner - 6.0, str(SPOKEN), size=8.5)
    sign = case.plan.sign_off if case.signed else None
    third = pages.inner / 3
    line = pages.bottom - 6.0
    who = sign.role if sign is not None else say("sheet.first.clinician")
    for n, words in enumerate((who, say("sheet.first.date"), say("sheet.first.signature"))):
        x = pages.left + n * third
        pages.line(x, line, x + third - 5.0, line, width=0.2)
        pages.text(x, line + 3.4, words, size=8, colour=_QUIET, width=third - 6.0)
        if sign is not None and n < 2:
            filled = sign.name if n == 0 else date_words(sign.at[:10])
            pages.text(x, line - 1.2, filled, size=10, width=third - 6.0)
    pages.y = pages.bottom
