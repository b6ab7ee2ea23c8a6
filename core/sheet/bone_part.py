"""Part of a fixture's pages: the picture of the remaining bone, and how deep each drill goes."""

from __future__ import annotations

from dataclasses import dataclass

from core.arch import fixture_frame
from core.bone.remaining_bone import RemainingBoneMap, remaining_bone_map
from core.distances.drilling import ORIGINS, UNKNOWN_TIP_MM
from core.fixture import Fixture
from core.identity import inner_side
from core.measurement import Measurement
from core.measurement_kinds import MeasurementKind
from core.measuring.bone_lacking import as_told, lacking_notes
from core.measuring.rows_drilling import counted_from, drill_rows_of, mark_words
from core.measuring.shared_reasons import SharedReasons
from core.pictures.ink import BLACK, VERMILION, Colour
from core.pictures.plot_chart import plot_chart
from core.pictures.remaining_bone_picture import remaining_bone_picture
from core.pictures.remaining_bone_plot import remaining_bone_plot
from core.sheet.case import Case, Subject
from core.sheet.fonts_found import Face
from core.sheet.page import Pages
from core.sheet.page_frame import heading
from core.trust.figures import plain, shown, up
from core.words.catalogue import say
from core.words.drilling import ORIGINS as ORIGIN_WORDS
from core.words.values import SIDES

_QUIET = (0.33, 0.33, 0.33)

PLOT_MM = (106.0, 48.0)
"""Of the plot of remaining bone, its axes and their words included."""

PART_MM = PLOT_MM[1] + 28.0
"""Room that the part takes, but for long notes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Words:
    """A sentence below the picture or the drilling depths."""

    text: str
    size: float = 8.0
    face: Face = "plain"
    colour: Colour = BLACK


def bone_part(pages: Pages, case: Case, subject: Subject, shared: SharedReasons) -> None:
    """Remaining bone on the left, drilling on the right; each only where the ledger has it.

    Parameters
    ----------
    pages : Pages
    case : Case
    subject : Subject
    shared : SharedReasons
    """
    fixture, rows = subject.fixture, case.rows(subject)
    if fixture is None:
        return
    drills = drill_rows_of(rows)
    has_remaining_bone = case.basis is not None and any(
        m.kind is MeasurementKind.REMAINING_BONE for m in rows
    )
    if not drills and not has_remaining_bone:
        return
    pages.ensure(PART_MM)
    parts = (
        (say("sheet.bone.remaining"), has_remaining_bone),
        (say("sheet.bone.drilling"), bool(drills)),
    )
    heading(pages, " · ".join(name for name, wanted in parts if wanted))
    top = pages.y
    below = top
    x = pages.left
    rest: list[_Words] = []
    if has_remaining_bone:
        below, words = _remaining_bone(pages, case, fixture, top)
        below, left_over = _beside(pages, words, pages.left, below, PLOT_MM[0])
        rest += left_over
        x = pages.left + PLOT_MM[0] + 8.0
    if drills:
        end, words = _drilling(pages, case, subject, x, top, shared=shared)
        end, left_over = _beside(pages, words, x, end, pages.right - x)
        below = max(below, end)
        rest += left_over
    pages.y = below + 2.0
    for each in rest:
        pages.ensure(pages.height_of(pages.inner, each.text, size=each.size, face=each.face))
        pages.y = 0.8 + pages.block(
            pages.left, pages.y, pages.inner, each.text, size=each.size, face=each.face,
            colour=each.colour,
        )  # fmt: skip


def _beside(
    pages: Pages, words: list[_Words], x: float, y: float, width: float
) -> tuple[float, list[_Words]]:
    """Set what fits above the foot of the page; the rest, in its order, is for the next one."""
    for number, each in enumerate(words):
        height = pages.height_of(width, each.text, size=each.size, face=each.face)
        if y + 0.8 + height > pages.bottom:
            return y, words[number:]
        y = pages.block(
            x, y + 0.8, width, each.text, size=each.size, face=each.face, colour=each.colour
        )
    return y, []


def remaining_bone_of(case: Case, fixture: Fixture) -> RemainingBoneMap | None:
    """The remaining bone of a fixture, as the ledger's rows tell it."""
    if case.basis is None:
        return None
    basis = case.basis
    frame = fixture_frame(fixture, basis.arch)
    remaining = remaining_bone_map(
        basis.volume, fixture, frame, basis.levels, basis.finder, case.plan.structures
    )
    return as_told(remaining, basis.volume, fixture, frame)


def _remaining_bone(
    pages: Pages, case: Case, fixture: Fixture, top: float
) -> tuple[float, list[_Words]]:
    remaining = remaining_bone_of(case, fixture)
    if remaining is None:
        return top, []
    x, width = pages.left, PLOT_MM[0]
    if remaining.trouble is not None:
        return pages.block(x, top, width, remaining.trouble.message, size=9), []
    plot = remaining_bone_plot(
        remaining_bone_picture(remaining, case.plan, fixture),
        jaw=case.plan.known_jaw,
        named=bool(fixture.tooth),
    )
    with pages.element("Figure", alt=say("sheet.bone-alt")):
        pages.chart(plot_chart(plot, size_mm=PLOT_MM), x, top + 1.0)
    y = top + PLOT_MM[1] + 1.6
    y = pages.block(x, y, width, say("sheet.bone.caption"), size=7.5, colour=_QUIET)
    notes = lacking_notes(remaining, case.plan, fixture)
    return y, [
        _Words(text=note.message, size=8.5, face="strong", colour=VERMILION) for note in notes
    ]


def _drilling(
    pages: Pages,
    case: Case,
    subject: Subject,
    x: float,
    top: float,
    *,
    shared: SharedReasons,
) -> tuple[float, list[_Words]]:
    rows, rule = case.rows(subject), case.depth_rule(subject)
    right, y = pages.right, top + 1.0
    if rule.refused:
        y = pages.block(x, y, right - x, rule.reason(case.plan.known_jaw).message, size=9,
                        face="strong")  # fmt: skip
        return _rims(pages, case, rows, x, y + 1.0), []
    c_mark, c_exact = right - 27.0, right - 12.0
    with pages.element("P"):
        to_mark = say("sheet.bone.to-mark")
        room = c_mark - x - pages.width_of(to_mark, size=7.5) - 1.5
        pages.text(x, y + 3.0, say("sheet.bone.mm-along-from"), size=7.5, colour=_QUIET, width=room)
        for at, words in (
            (c_mark, to_mark),
            (c_exact, say("sheet.bone.exact")),
            (right, "± U"),
        ):
            pages.text(at, y + 3.0, words, size=7.5, align="right", colour=_QUIET)
    pages.line(x, y + 4.2, right, y + 4.2, width=0.2)
    y += 5.0
    found = {counted_from(m): m for m in drill_rows_of(rows)}
    notes: list[str] = []
    chosen = case.plan.depth_from
    for name in ORIGINS:
        m = found.get(name)
        face: Face = "strong" if name == chosen else "plain"
        large = name == chosen
        pages.text(x, y + 3.8, str(ORIGIN_WORDS[name]), size=9.5, face=face,
                   width=c_mark - x - 12.0)  # fmt: skip
        if m is None or m.value is None:
            words = say("drilling.no-mark-there" if m is None else "sheet.bone.not-assessed")
            pages.text(right, y + 3.8, words, size=9, align="right", face="strong")
            if m is not None:
                notes += [
                    say("sheet.bone.no-depth-reason", letter=letter) for letter in shared.letters(m)
                ]
                notes += shared.rest(m)
        else:
            pages.text(c_mark, y + 3.9, mark_words(m), size=13 if large else 9.5, face=face,
                       align="right")  # fmt: skip
            pages.text(c_exact, y + 3.8, shown(m, decimals=2), size=9, align="right")
            if m.budget is not None:
                pages.text(right, y + 3.8, up(m.budget.expanded, 2), size=9, align="right")
        y += 5.4
    pages.line(x, y, right, y, width=0.1, colour=_QUIET)
    y = _rims(pages, case, rows, x, y)
    if chosen is None:
        notes.insert(0, say("drilling.choose"))
    notes.append(say("sheet.bone.to-mark-means", mm=plain(UNKNOWN_TIP_MM)))
    return y, [_Words(text=note) for note in dict.fromkeys(notes)]


def _rims(pages: Pages, case: Case, rows: tuple[Measurement, ...], x: float, y: float) -> float:
    """Where the platform stands in the bone; a measurement, not a depth to drill to."""
    rims = [
        m for m in rows if m.kind is MeasurementKind.DEPTH and m.details.of == "platform below bone"
    ]
    if rims:
        inner = inner_side(case.plan.known_jaw)
        parts = "; ".join(_rim_words(m, inner) for m in rims)
        words = say("sheet.bone.platform-below", rims=parts)
        y = pages.block(x, y + 0.8, pages.right - x, words, size=8)
    return y


def _rim_words(m: Measurement, inner: str) -> str:
    side = SIDES.get(m.details.side.replace("lingual", inner), m.details.side)
    if m.value is None:
        return say("sheet.bone.rim-not-assessed", side=side)
    doubt = "" if m.budget is None else f" ± {up(m.budget.expanded, 2)}"
    return f"{side} {shown(m, decimals=2)}{doubt}"
