"""A file of its own: what every number on the sheet rests on."""

from __future__ import annotations

from collections.abc import Mapping

from core.distances.tubes import diameter_sd_mm
from core.identity import structure_words, thing_words
from core.plans.history import done_words
from core.sheet.budget_table import budget_table
from core.sheet.case import Case
from core.sheet.ledger_table import meanings
from core.sheet.page import Pages, PaperName
from core.sheet.page_frame import BODY_TOP_MM, heading, page_frame, plain_time
from core.structures import Course, Foramen, KnownObject, StentAxis, Structure, Tapered, kind_of
from core.trust.figures import nearest, plain, up
from core.words.catalogue import say, together
from core.words.sheet import EACH_BY_ITSELF, SEVERITIES, TERMS, UNCERTAINTY
from core.words.values import STATES, against_words

_QUIET = (0.33, 0.33, 0.33)
_KEPT = ("who", "when", "what", "said", "revision", "chain", "at", "id", "point", "text")
"""What the program writes into an entry of the log or a note; a note's place says nothing here."""


def basis_pdf(case: Case, *, paper: PaperName = "A4") -> bytes:
    """Definitions, scan, plan, checks, marks, limits, uncertainty and log as a PDF.

    Parameters
    ----------
    case : Case
    paper : PaperName, optional
    """
    pages = Pages(paper, top_mm=BODY_TOP_MM)
    basis_pages(pages, case)
    title = say("sheet.basis-title")
    return pages.render(page_frame(case, title), case.facts(title))


def basis_pages(pages: Pages, case: Case) -> None:
    """Lay out scan, plan, checks, structures, limits, uncertainty and log."""
    pages.new_page()
    heading(pages, say("sheet.basis.rests-on"), size=13)
    for title, lines in _parts(case):
        pages.ensure(14.0)
        heading(pages, title, size=10)
        for name, words in lines:
            _line(pages, name, words)
        pages.y += 1.5
        if title == say("sheet.basis.uncertainty"):
            budget_table(pages, case)


def _line(pages: Pages, name: str, words: str) -> None:
    indent = 42.0 if name else 0.0
    height = pages.height_of(pages.inner - indent, words, size=8.5)
    pages.ensure(height)
    if name:
        pages.text(pages.left, pages.y + 3.0, name, size=8.5, width=indent - 3.0, colour=_QUIET)
    pages.y = 0.4 + pages.block(pages.left + indent, pages.y, pages.inner - indent, words, size=8.5)


def _parts(case: Case) -> list[tuple[str, list[tuple[str, str]]]]:
    parts = [
        (say("sheet.basis.definitions"), meanings(case.ledger.measurements)),
        (say("sheet.basis.scan"), _scan(case)),
        (say("sheet.basis.plan"), _plan(case)),
        (say("sheet.basis.checks"), _checks(case)),
        (say("sheet.basis.marked"), _structures(case)),
        (say("sheet.basis.limits-changed"), _limits(case)),
        (say("sheet.basis.uncertainty"), _uncertainty(case)),
        (say("sheet.basis.log"), _log(case)),
    ]
    return [(title, lines) for title, lines in parts if lines]


def _scan(case: Case) -> list[tuple[str, str]]:
    volume, identity = case.volume, case.volume.identity
    k, j, i = volume.shape
    voxel = " × ".join(plain(float(v)) for v in volume.voxel_mm)
    return [
        (say("sheet.basis.patient"), case.patient.line),
        (say("sheet.basis.series"), f"{identity.series_uid} {identity.description}".strip()),
        (say("sheet.basis.study"), f"{identity.study_uid} {identity.study_description}".strip()),
        (
            say("sheet.basis.frame"),
            identity.frame_of_reference_uid or say("sheet.basis.not-in-the-scan"),
        ),
        (
            say("sheet.basis.voxels"),
            say("sheet.basis.voxel-size", voxel=voxel, columns=i, rows=j, slices=k),
        ),
        (say("sheet.basis.made-up"), str(int(volume.made_up.sum()))),
        (
            say("sheet.basis.fingerprint"),
            case.ledger.scan_fingerprint or say("sheet.basis.not-computed"),
        ),
    ]


def _plan(case: Case) -> list[tuple[str, str]]:
    plan, ledger = case.plan, case.ledger
    sign = plan.sign_off
    if case.signed and sign is not None:
        signed = say(
            "sheet.basis.signed",
            name=sign.name,
            role=sign.role,
            at=sign.at,
            revision=sign.revision,
        )
    elif sign is not None:
        signed = say("sheet.basis.void", revision=sign.revision, name=sign.name, at=sign.at)
    else:
        signed = say("sheet.basis.no")
    check = plan.side_check
    side = say("sheet.basis.not-yet")
    if check is not None:
        key = "sheet.basis.side-left" if check.side == "left" else "sheet.basis.side-right"
        side = say(key, against=against_words(check.against), by=check.by, at=check.at)
    image = plan.image_check
    judged = say("sheet.basis.not-yet")
    if image is not None:
        trouble = ", ".join(f"{k}: {v}" for k, v in image.trouble.items()) or say(
            "sheet.basis.no-trouble"
        )
        judged = say("sheet.basis.judged", trouble=trouble, by=image.by, at=image.at)
    read = say("sheet.basis.not-yet")
    if plan.interpreted_by:
        read = say("sheet.basis.read", by=plan.interpreted_by, at=plan.interpreted_at)
    made = ledger.made_at
    if case.without_viewing:
        made = say("sheet.basis.made-unseen", at=made)
    return [
        (say("sheet.basis.program"), ledger.program),
        (say("sheet.basis.made"), made),
        (say("sheet.basis.revision"), str(plan.revision)),
        (say("sheet.basis.plan-fingerprint"), ledger.plan_fingerprint),
        (say("sheet.basis.signed-off"), signed),
        (say("sheet.basis.side"), side),
        (say("sheet.basis.image-judged"), judged),
        (say("sheet.basis.interpreted"), read),
    ]


def _checks(case: Case) -> list[tuple[str, str]]:
    lines = [(str(SEVERITIES[f.severity]), f.message) for f in case.findings]
    return lines or [("", say("sheet.basis.none"))]


def _structures(case: Case) -> list[tuple[str, str]]:
    lines = [(str(thing_words(s.id)), _structure_words(s)) for s in case.plan.structures]
    lines += [(str(thing_words(a.id)), _stent_words(a)) for a in case.plan.stent_axes]
    for d in case.plan.declared:
        words = say(
            "sheet.basis.declared",
            state=STATES.get(d.state, d.state),
            reason=d.reason or say("sheet.no-reason"),
            by=d.by or "–",
            at=d.at[:16],
        )
        lines.append((str(structure_words(d.structure)), words))
    return lines


def _structure_words(structure: Structure) -> str:
    if isinstance(structure, Foramen):
        key = "sheet.basis.foramen" if structure.upper is None else "sheet.basis.foramen-upper"
        words = say(key)
        return (
            say("sheet.basis.loop", words=words, loop=structure.loop) if structure.loop else words
        )
    if isinstance(structure, KnownObject):
        return say("sheet.basis.object", mm=plain(structure.size_mm))
    count = len(structure.points)
    words = say("sheet.basis.marks", kind=kind_of(structure).words, count=count)
    if isinstance(structure, Course):
        words = _with_diameter(words, structure)
    if isinstance(structure, Tapered):
        first, last = structure.diameters_mm
        words = say("sheet.basis.tapered", words=words, first=plain(first), last=plain(last))
        if structure.to_be_removed:
            words = say("sheet.basis.to-be-removed", words=words)
    seen = getattr(structure, "seen", ())
    if "faint" in seen:
        words = say("sheet.basis.faint", words=words, count=seen.count("faint"))
    if "no" in seen:
        words = say("sheet.basis.not-seen", words=words, count=seen.count("no"))
    label = getattr(structure, "label", "")
    return say("sheet.basis.labelled", words=words, label=label) if label else words


def _with_diameter(words: str, course: Course) -> str:
    if course.diameter_mm is None:
        return say("sheet.basis.diameter-not-measured", words=words)
    stated = course.diameter_sd_mm is not None
    key = "sheet.basis.diameter" if stated else "sheet.basis.diameter-not-stated"
    sd = up(diameter_sd_mm(course), 2)
    return say(key, words=words, mm=plain(course.diameter_mm), sd=sd)


def _stent_words(axis: StentAxis) -> str:
    diameter = nearest(axis.diameter_mm, 1)
    if not axis.found:
        return say("sheet.basis.stent-by-hand", mm=diameter)
    offset, turn = up(axis.offset_sd_mm, 2), up(axis.direction_sd_deg, 1)
    return say("sheet.basis.stent-found", mm=diameter, offset=offset, turn=turn)


def _limits(case: Case) -> list[tuple[str, str]]:
    return [
        (
            key,
            say(
                "sheet.basis.limit",
                mm=plain(c.value),
                by=c.by or "–",
                at=c.at,
                reason=c.reason or say("sheet.no-reason"),
            ),
        )
        for key, c in case.plan.limits.items()
    ]


def _uncertainty(case: Case) -> list[tuple[str, str]]:
    terms: dict[str, list[float]] = {}
    sources: dict[str, str] = {}
    for m in case.ledger.measurements:
        for term in () if m.budget is None or m.reading.unit == "deg" else m.budget.terms:
            terms.setdefault(term.name, []).append(term.u)
            sources.setdefault(term.name, str(term.source))
    lines = [("", str(UNCERTAINTY)), ("", str(EACH_BY_ITSELF))]
    for name, values in terms.items():
        low, high = min(values), max(values)
        lines.append(
            (str(TERMS[name]), say("sheet.basis.term", low=low, high=high, source=sources[name]))
        )
    return lines


def _log(case: Case) -> list[tuple[str, str]]:
    """What was done, when and by whom; notes; and the sum that stands for the whole log.

    How an entry is kept in the plan file is the program's own matter; fields that a person wrote
    into one by hand are printed.
    """
    history = case.plan.history
    lines = [(plain_time(str(entry.get("when", ""))), _done(entry)) for entry in history]
    for note in case.plan.notes:
        said = say("sheet.basis.note", text=note.get("text", ""))
        lines.append((plain_time(str(note.get("at", ""))), together(said, *_by_hand(note))))
    if history:
        lines.append((say("sheet.basis.log-sum"), str(history[-1].get("chain", "–"))))
    return lines


def _done(entry: Mapping[str, object]) -> str:
    what = str(done_words(entry))
    who = str(entry.get("who", "") or "") or say("sheet.basis.nobody-named")
    line = say(
        "sheet.basis.done",
        what=what[:1].upper() + what[1:],
        who=who,
        revision=entry.get("revision", "–"),
    )
    return together(line, *_by_hand(entry))


def _by_hand(entry: Mapping[str, object]) -> list[str]:
    return [f"{name}: {value}." for name, value in entry.items() if name not in _KEPT]
