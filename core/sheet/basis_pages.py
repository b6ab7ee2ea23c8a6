"""A file of its own: what every number on the sheet rests on."""

from __future__ import annotations

from core.distances.tubes import diameter_sd_mm
from core.identity import structure_words, thing_words
from core.sheet.budget_table import budget_table
from core.sheet.case import Case
from core.sheet.ledger_table import meanings
from core.sheet.page import Pages, PaperName
from core.sheet.page_frame import BODY_TOP_MM, heading, page_frame
from core.structures import Course, Foramen, KnownObject, StentAxis, Structure, Tapered, kind_of
from core.trust.figures import nearest, plain, up
from core.words.sheet import BASIS_TITLE, EACH_BY_ITSELF, UNCERTAINTY

_QUIET = (0.33, 0.33, 0.33)
UNCERTAIN = "Uncertainty"


def basis_pdf(case: Case, *, paper: PaperName = "A4") -> bytes:
    """Definitions, scan, plan, checks, marks, limits, uncertainty and log as a PDF.

    Parameters
    ----------
    case : Case
    paper : PaperName, optional
    """
    pages = Pages(paper, top_mm=BODY_TOP_MM)
    basis_pages(pages, case)
    return pages.render(page_frame(case, BASIS_TITLE), case.facts(BASIS_TITLE))


def basis_pages(pages: Pages, case: Case) -> None:
    """Lay out scan, plan, checks, structures, limits, uncertainty and log."""
    pages.new_page()
    heading(pages, "What the measurement sheet rests on", size=13)
    for title, lines in _parts(case):
        pages.ensure(14.0)
        heading(pages, title, size=10)
        for name, words in lines:
            _line(pages, name, words)
        pages.y += 1.5
        if title == UNCERTAIN:
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
        ("Definitions and sources", meanings(case.ledger.measurements)),
        ("Scan", _scan(case)),
        ("Plan and program", _plan(case)),
        ("Scan checks", _checks(case)),
        ("Marked and declared", _structures(case)),
        ("Limits changed in this plan", _limits(case)),
        (UNCERTAIN, _uncertainty(case)),
        ("Log", _log(case)),
    ]
    return [(title, lines) for title, lines in parts if lines]


def _scan(case: Case) -> list[tuple[str, str]]:
    volume, identity = case.volume, case.volume.identity
    k, j, i = volume.shape
    voxel = " × ".join(plain(float(v)) for v in volume.voxel_mm)
    return [
        ("Patient", case.patient.line),
        ("Series", f"{identity.series_uid} {identity.description}".strip()),
        ("Study", f"{identity.study_uid} {identity.study_description}".strip()),
        ("Frame of reference", identity.frame_of_reference_uid or "not in the scan"),
        ("Voxels", f"{voxel} mm (column, row, slice); {i} × {j} × {k}"),
        ("Slices made up", str(int(volume.made_up.sum()))),
        ("Fingerprint", case.ledger.scan_fingerprint or "not computed"),
    ]


def _plan(case: Case) -> list[tuple[str, str]]:
    plan, ledger = case.plan, case.ledger
    sign = plan.sign_off
    if case.signed and sign is not None:
        signed = f"by {sign.name} {sign.role} {sign.at}, rev {sign.revision}"
    elif sign is not None:
        signed = f"void: rev {sign.revision} was signed by {sign.name} {sign.at}, changed since"
    else:
        signed = "no"
    check = plan.side_check
    side = "NOT YET"
    if check is not None:
        side = f"{check.side}, compared with {check.against or '–'} by {check.by} {check.at}"
    image = plan.image_check
    judged = "NOT YET"
    if image is not None:
        trouble = ", ".join(f"{k}: {v}" for k, v in image.trouble.items()) or "no trouble named"
        judged = f"{trouble}; by {image.by} {image.at}"
    read = "NOT YET"
    if plan.interpreted_by:
        read = f"by {plan.interpreted_by} {plan.interpreted_at}"
    return [
        ("Program", ledger.program),
        ("Made", ledger.made_at + (", without viewing the pictures" * case.without_viewing)),
        ("Plan revision", str(plan.revision)),
        ("Plan fingerprint", ledger.plan_fingerprint),
        ("Signed off", signed),
        ("Side", side),
        ("Image judged", judged),
        ("Whole volume interpreted", read),
    ]


def _checks(case: Case) -> list[tuple[str, str]]:
    lines = [(str(f.severity), f.message) for f in case.findings]
    return lines or [("", "None.")]


def _structures(case: Case) -> list[tuple[str, str]]:
    lines = [(str(thing_words(s.id)), _structure_words(s)) for s in case.plan.structures]
    lines += [(str(thing_words(a.id)), _stent_words(a)) for a in case.plan.stent_axes]
    for d in case.plan.declared:
        words = f"declared {d.state}: {d.reason or 'no reason given'} ({d.by or '–'} {d.at[:16]})"
        lines.append((str(structure_words(d.structure)), words))
    return lines


def _structure_words(structure: Structure) -> str:
    if isinstance(structure, Foramen):
        upper = "" if structure.upper is None else ", upper"
        loop = f"; loop {structure.loop}" if structure.loop else ""
        return f"foramen: mesial, distal{upper} edge{loop}"
    if isinstance(structure, KnownObject):
        return f"scale object, {plain(structure.size_mm)} mm"
    count = len(structure.points)
    words = f"{kind_of(structure).words}, {count} mark{'' if count == 1 else 's'}"
    if isinstance(structure, Course):
        diameter = structure.diameter_mm
        words += ", Ø not measured" if diameter is None else f", Ø {plain(diameter)} mm"
        if diameter is not None:
            taken = ", not stated" if structure.diameter_sd_mm is None else ""
            words += f" (SD {up(diameter_sd_mm(structure), 2)} mm{taken})"
    if isinstance(structure, Tapered):
        first, last = structure.diameters_mm
        words += f", Ø {plain(first)} to {plain(last)} mm"
        words += ", to be removed" if structure.to_be_removed else ""
    seen = getattr(structure, "seen", ())
    unclear = {s: seen.count(s) for s in ("faint", "no") if s in seen}
    names = {"faint": "faint", "no": "not seen"}
    words += "".join(f", {count} {names[s]}" for s, count in unclear.items())
    label = getattr(structure, "label", "")
    return f"{words}: {label}" if label else words


def _stent_words(axis: StentAxis) -> str:
    words = f"stent axis, filling Ø {nearest(axis.diameter_mm, 1)} mm"
    if not axis.found:
        return f"{words}; both ends set by hand"
    offset, turn = up(axis.offset_sd_mm, 2), up(axis.direction_sd_deg, 1)
    return f"{words}; found in the image: SD {offset} mm in its middle, {turn}° in direction"


def _limits(case: Case) -> list[tuple[str, str]]:
    return [
        (key, f"{plain(c.value)} mm by {c.by or '–'} {c.at}: {c.reason or 'no reason given'}")
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
        lines.append((name, f"u from {low:.2f} to {high:.2f} mm; {sources[name]}"))
    return lines


def _log(case: Case) -> list[tuple[str, str]]:
    lines: list[tuple[str, str]] = []
    for entry in (*case.plan.history, *case.plan.notes):
        when = str(entry.get("at", ""))[:16]
        left_out = ("at", "id", "point")  # the place of a note says nothing on paper
        words = "; ".join(f"{k}: {v}" for k, v in entry.items() if k not in left_out)
        lines.append((when, words))
    return lines
